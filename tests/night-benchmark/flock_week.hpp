#pragma once

#include <memory>
#include <optional>
#include <string>
#include <vector>

#include "plugins/model-house/farm_model.hpp"
#include "rules/model.hpp"

namespace underwing {

/// One flock of one house for a week, made up from a seed: age, weather, heater, probes, and perhaps a fault.
struct FlockWeek {
  std::uint64_t seed = 0;
  int week = 0;  ///< 0: from placement on
  HouseSetup house;
  Outside outside;
  std::optional<Fault> fault;  ///< of heater, fans, inlets, house computer or mains; one that can kill
  std::vector<Fault> sensor_faults;
  Instant placed{}, begin{}, end{};
};

[[nodiscard]] FlockWeek flock_week(std::uint64_t seed);

/// What came of a week under one set of rules.
struct WeekResult {
  std::optional<double> call_min;  ///< from the fault to the first call
  std::optional<double>
      harm_min;      ///< from the fault to the moment at which the air does harm; none: not within its time
  int needless = 0;  ///< wake-ups that had no fault behind them
  std::vector<std::string> needless_rules;
};

/// The shipped packs.
[[nodiscard]] std::shared_ptr<const RuleSet> shipped_rules(const FlockWeek& week);
/// A rival: one low and one high limit on the mean of the probes, moved with the target every day: 2.5 K
/// under and 3 K over it, after 5 min. As tight as the saw-tooth of the widest thermostat here bears.
[[nodiscard]] std::shared_ptr<const RuleSet> daily_rules(const FlockWeek& week);
/// A rival: the same that stand still for the week, 3 K under its last target and 4 K over its first, after
/// 10 min.
[[nodiscard]] std::shared_ptr<const RuleSet> fixed_rules(const FlockWeek& week);

/// Plays the same week under several sets of rules; nobody answers, and the fault lasts three hours.
[[nodiscard]] std::vector<WeekResult> play(const FlockWeek& week,
                                           const std::vector<std::shared_ptr<const RuleSet>>& rules);

}  // namespace underwing
