#pragma once

#include <functional>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "daemon/watch.hpp"
#include "rules/base/time.hpp"

namespace underwing {

/// Stands before a watch and writes each input that the engine's events depend on to a tape, just as the watch
/// takes it, so that `TapePlayer` leads another watch to the same events at the same times. Where timers moved
/// the engine past what the tape says so far, a clock line comes first.
class Recorder {
 public:
  /// `write` gets each line, without its newline, and the engine time.
  using Write = std::function<void(std::string_view line, Instant now)>;
  Recorder(Watch& watch, Write write);

  void begin(Instant now, Duration wall_ahead);
  void resume(Instant now, Duration wall_ahead);
  void advance(Instant now) { watch_.advance(now); }
  /// A value that is not finite is no reading and goes nowhere.
  void reading(std::size_t probe, Instant time, double value);
  void clock(Duration wall_ahead);
  /// Writes what a person's message has put in; the watch has taken it already.
  void entry(const Effect::Entry& entry);
  /// Writes how far the engine has come, if the tape does not say so yet: before a block is closed, and at the end.
  void mark_time();

 private:
  void write(std::string_view line);
  bool write_reading(std::size_t probe, Instant time, double value);
  void learn_names();

  struct Named {
    std::string name;
    std::optional<std::string> unit;
  };

  Watch& watch_;
  Write write_;
  Instant taped_{Duration::min()};  ///< engine time as the tape tells it so far
  std::string line_;
  std::vector<Named> names_;        ///< by probe, as lines name them
  std::string names_of_;            ///< hash of the rules that they belong to
};

}  // namespace underwing
