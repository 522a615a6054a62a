#pragma once

#include <cstdint>
#include <functional>
#include <string>
#include <string_view>

namespace underwing {

/// Cuts a stream of bytes into lines. A line longer than the limit is counted and passed over up to its
/// newline, and the stream goes on after it.
class LineBuffer {
 public:
  explicit LineBuffer(std::size_t line_bytes_max) : line_bytes_max_(line_bytes_max) {}

  /// Takes bytes and gives each whole line, without "\n" or "\r\n". Lines are good during the call.
  void feed(std::string_view bytes, const std::function<void(std::string_view)>& on_line);
  /// The stream ended: a last line without a newline is given too.
  void finish(const std::function<void(std::string_view)>& on_line);

  [[nodiscard]] std::uint64_t too_long() const { return too_long_; }

 private:
  void give(std::string_view line, const std::function<void(std::string_view)>& on_line);
  std::size_t line_bytes_max_;
  std::string held_;
  bool skipping_ = false;
  std::uint64_t too_long_ = 0;
};

/// At most `bytes_max` bytes of text that is safe to log and to show: control characters, and all beyond ASCII
/// in what is not UTF-8, become '?'. Cuts between characters.
[[nodiscard]] std::string printable(std::string_view text, std::size_t bytes_max);

}  // namespace underwing
