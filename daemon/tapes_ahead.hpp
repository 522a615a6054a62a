#pragma once

#include <condition_variable>
#include <deque>
#include <filesystem>
#include <memory>
#include <mutex>
#include <optional>
#include <string>
#include <string_view>
#include <thread>
#include <vector>

#include "daemon/senml.hpp"
#include "rules/base/result.hpp"

namespace underwing {

/// A line of a tape, without its newline, and its one reading where it is in the form that append_senml() writes, as nearly
/// all are.
struct TapeLine {
  std::string_view text;
  std::optional<SenmlRecord> reading;  ///< its views point into `text`
};

/// The lines of several tapes, one tape after another. A thread of its own reads, unpacks and parses them a few MiB ahead,
/// while whoever asks works on what is there.
class TapesAhead {
 public:
  explicit TapesAhead(std::vector<std::filesystem::path> tapes);
  ~TapesAhead();
  TapesAhead(const TapesAhead&) = delete;
  TapesAhead& operator=(const TapesAhead&) = delete;

  /// The next line; null at the end of the last tape, or where one cannot be opened. Good until the next call.
  [[nodiscard]] const TapeLine* next();

  /// Of the line given last: which tape it stands on, counted from 0.
  [[nodiscard]] std::size_t tape() const { return piece_ ? piece_->tape : 0; }

  /// After the end: why a tape could not be opened, if so, and for each that lost something a sentence.
  [[nodiscard]] const std::optional<Failure>& failure() const { return failure_; }
  [[nodiscard]] const std::vector<std::string>& losses() const { return losses_; }

 private:
  struct Piece {
    std::size_t tape = 0;
    std::string text;  ///< whole lines, each with its newline
    std::vector<TapeLine> lines;
  };

  void read();
  void read_tape(std::size_t number);
  /// False: nobody wants it any more.
  bool hand_over(std::size_t number, std::string& text);

  const std::vector<std::filesystem::path> tapes_;
  std::unique_ptr<Piece> piece_;  ///< at hand
  std::size_t line_ = 0;          ///< of it

  std::mutex mutex_;             ///< over all that follows
  std::condition_variable changed_;
  std::deque<std::unique_ptr<Piece>> waiting_;
  bool ended_ = false;           ///< nothing comes any more
  bool unwanted_ = false;
  std::optional<Failure> failure_;
  std::vector<std::string> losses_;
  std::thread thread_;           ///< last: it uses the others
};

}  // namespace underwing
