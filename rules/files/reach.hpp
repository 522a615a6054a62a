#pragma once

#include <limits>
#include <memory>
#include <optional>
#include <set>
#include <vector>

#include "rules/model.hpp"

/// What an expression can yield at all, told without a single reading: from numbers, curves and the plausible
/// range of each measure. Never too narrow; wider than the truth where one thing stands in it twice.
namespace underwing {

/// Where an expression is judged.
struct ReachPlace {
  const RuleSet& set;
  std::size_t house = 0;
  const Flock* flock = nullptr;  ///< null: a pack of the farm
  const std::vector<std::shared_ptr<const Curve>>& curves;
  Duration youngest{}, oldest{};  ///< ages of the flock
};

/// Numbers (canonical) from `low` to `high`; a state is 0 or 1.
struct Reach {
  double low = -std::numeric_limits<double>::infinity();
  double high = std::numeric_limits<double>::infinity();
  bool can_be_known = true;
};

struct Outcome {
  bool can_be_true = true;
  bool can_be_false = true;
};

[[nodiscard]] Reach reach_of(const Expression& number, const ReachPlace& place);
[[nodiscard]] Outcome outcome_of(const Expression& condition, const ReachPlace& place);

/// The measure whose level is watched, where an expression is nothing else: its probe, or the median, mean,
/// lowest or highest of its probes or over a time.
struct Level {
  std::size_t measure = 0;
  Expression::Function function = Expression::Function::none;  ///< across the probes, else over the time
};
[[nodiscard]] std::optional<Level> level_of(const Expression& expression);

/// Whether an expression asks for the flock's plan of light.
[[nodiscard]] bool asks_for_lights(const Expression& expression);

/// Ages of a rule at which something may turn: its first one, each whole `step`, each bend of its curves,
/// and, for a rule without an end, up to limits::kCrossingCheck. In force at all of them.
[[nodiscard]] std::set<Duration> ages_judged(const WatchedRule& rule, Duration step);

/// The curve of weight that a flock's rules on bird_weight name; null: none does.
[[nodiscard]] const Curve* weight_curve_of(const RuleSet& set, std::size_t flock);

}  // namespace underwing
