#pragma once

#include <optional>
#include <string>
#include <utility>
#include <vector>

#include "rules/model.hpp"

/// A rule's limits as numbers by flock age.
namespace underwing {

/// Ages from `first` (included) to `second` (not included) at which a rule is in force and that are worth
/// showing. A rule without an end is shown for a week, or until a day after the last bend of its curves. A
/// rule of the farm has no ages: it is given one day.
[[nodiscard]] std::pair<Duration, Duration> ages_shown(const WatchedRule& rule);

/// True where the rule is in force at this age, so far as its ages say.
[[nodiscard]] bool in_force_at(const WatchedRule& rule, Duration age);

/// The value of a limit at an age, canonical; NaN where it depends on readings or on the clock, or is a
/// condition.
[[nodiscard]] double limit_at(const WatchedRule& rule, const Limit& limit, const Flock* flock, Duration age);

struct LimitRow {
  Duration age{};
  std::vector<double> values;  ///< one for each limit of the rule, as limit_at
};

struct LimitTable {
  std::vector<LimitRow> rows;  ///< by age: the first one, each whole day, each bend of a curve
  bool changes = false;        ///< false: every row says the same
};

/// The rule's limits by day over ages_shown. `flock` may be null where no limit needs it.
[[nodiscard]] LimitTable limits_by_day(const WatchedRule& rule, const Flock* flock);

/// "low", "high"; of the list `limits` with the priority: "high, soon".
[[nodiscard]] std::string name_of_limit(const WatchedRule& rule, const Limit& limit);

}  // namespace underwing
