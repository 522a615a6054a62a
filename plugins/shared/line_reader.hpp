#pragma once

#include <cstddef>
#include <string>
#include <string_view>

namespace underwing {

/// The longest line that the protocol allows, in bytes, without its end.
inline constexpr std::size_t kLineBytesMax = std::size_t{1} << 20;

/// Cuts a stream of bytes into lines. A line longer than `kLineBytesMax` is dropped whole and counted.
/// Holds no descriptor: bytes are handed in. Not safe for use by several threads.
class LineReader {
 public:
  void feed(std::string_view bytes);

  /// The next whole line, without its end (LF or CR LF). False: more bytes are needed.
  /// `line` stays valid until the next call of `feed`.
  [[nodiscard]] bool next(std::string_view& line);

  /// What stands after the last line end; for streams whose last line may lack one.
  [[nodiscard]] std::string_view rest() const { return std::string_view(bytes_).substr(begin_); }

  [[nodiscard]] std::size_t too_long() const { return too_long_; }

 private:
  std::string bytes_;
  std::size_t begin_ = 0;   ///< first byte not handed out
  std::size_t looked_ = 0;  ///< up to here no line end was found
  bool skipping_ = false;   ///< inside a line that is too long
  std::size_t too_long_ = 0;
};

}  // namespace underwing
