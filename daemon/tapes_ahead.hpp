#pragma once

#include <condition_variable>
#include <deque>
#include <filesystem>
#include <mutex>
#include <optional>
#include <string>
#include <string_view>
#include <thread>
#include <vector>

#include "rules/base/result.hpp"

namespace underwing {

/// The lines of several tapes, one tape after another. A thread of its own reads and unpacks them a few MiB ahead, while
/// whoever asks works on what is there.
class TapesAhead {
 public:
  explicit TapesAhead(std::vector<std::filesystem::path> tapes);
  ~TapesAhead();
  TapesAhead(const TapesAhead&) = delete;
  TapesAhead& operator=(const TapesAhead&) = delete;

  /// The next line, without its newline; nullopt at the end of the last tape, or where one cannot be opened. Good until
  /// the next call.
  [[nodiscard]] std::optional<std::string_view> next();

  /// After the end: why a tape could not be opened, if so, and for each that lost something a sentence.
  [[nodiscard]] const std::optional<Failure>& failure() const { return failure_; }
  [[nodiscard]] const std::vector<std::string>& losses() const { return losses_; }

 private:
  void read();
  void read_tape(const std::filesystem::path& path);
  /// False: nobody wants it any more.
  bool hand_over(std::string& lines);

  const std::vector<std::filesystem::path> tapes_;
  std::string lines_;            ///< at hand: whole lines, each with its newline
  std::size_t begin_ = 0;

  std::mutex mutex_;             ///< over all that follows
  std::condition_variable changed_;
  std::deque<std::string> waiting_;
  bool ended_ = false;           ///< nothing comes any more
  bool unwanted_ = false;
  std::optional<Failure> failure_;
  std::vector<std::string> losses_;
  std::thread thread_;           ///< last: it uses the others
};

}  // namespace underwing
