#pragma once

#include <optional>
#include <string>
#include <vector>

#include "daemon/watch.hpp"

namespace underwing::tool {

/// One alarm as a replay saw it.
struct Stood {
  std::string house, rule, probe;
  Priority priority = Priority::note;  ///< the worst that it reached
  Instant raised{};
  std::optional<Instant> returned;     ///< none: it stood to the end of the tape
};

/// Gathers alarms from the effects of a replay.
class StoodList {
 public:
  void hear(const Effect& effect);
  [[nodiscard]] const std::vector<Stood>& alarms() const { return alarms_; }
  [[nodiscard]] std::size_t urgent() const;

 private:
  std::vector<Stood> alarms_;
};

/// What differs for one alarm between two sets of rules on the same tapes.
struct Difference {
  enum class Kind : std::uint8_t { falls_away, comes_in, earlier, later, other_priority, missed };
  Kind kind = Kind::falls_away;
  Stood alarm;                         ///< of `comes_in`, `earlier`, `later`, `other_priority`: as it is now
  Duration apart{0};                   ///< of `earlier` and `later`
  Priority before = Priority::note;    ///< of `other_priority`
};

[[nodiscard]] const char* to_string(Difference::Kind kind);

/// Pairs the alarms of both replays (same house, rule and probe, standing at overlapping times or raised within an
/// hour of one another) and says what differs, in time order. `missed` is said of an urgent alarm that falls away
/// while nothing urgent stands in that house at any time between its raising and its return.
[[nodiscard]] std::vector<Difference> compare(const std::vector<Stood>& before, const std::vector<Stood>& after);

}  // namespace underwing::tool
