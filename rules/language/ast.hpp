#pragma once

#include <cstdint>
#include <memory>
#include <string>
#include <vector>

#include "rules/base/time.hpp"
#include "rules/base/units.hpp"

namespace underwing {

/// What an expression yields. Logic is three-valued; so are numbers, in that they can be unknown.
struct Type {
  enum class Kind : std::uint8_t { number, state, logic };
  Kind kind = Kind::number;
  Dimension dimension;  ///< of a number
  bool point = false;   ///< of a number: a temperature on a scale
  friend bool operator==(const Type&, const Type&) = default;
};

/// A node of a checked expression: names are resolved, types are known, every number is canonical
/// (see Unit). Built by the loader, read by the engine's compiler and by the brute-force evaluator of the
/// tests. Immutable after loading.
struct Expression {
  enum class Kind : std::uint8_t {
    number,    ///< `number`, canonical
    state,     ///< `number`, 1 for on, 0 for off
    measure,   ///< bare name: the one probe of the house, or the rule's own under `each: probe`
    across,    ///< `function` over the probes of a measure, now, or over the numbers of a window: children[0]
    count,     ///< how many probes of measure children[0] are usable; never unknown
    window,    ///< `function`(measure over span): one number a probe, to be combined by `across`, or alone
    curve,     ///< `index` of the curve in WatchedRule::curves, at the flock's age
    curve_at,  ///< at(curve, children[0] = age)
    curve_age_at,  ///< age_at(curve, children[0] = value)
    fact,          ///< of flock or clock, see `Fact`
    negate,
    add,
    subtract,
    multiply,
    divide,
    less,
    less_equal,
    greater,
    greater_equal,
    is,
    is_not,
    logic_and,
    logic_or,
    logic_not,
    plain_min,
    plain_max,
    plain_abs,
    trade,        ///< function of the trade, see `Trade`, of its children; the optional ones are filled in
    first_known,  ///< the first of its children that is known
    share,        ///< weighings in window children[0] as a share of curve `index`: `mean`, or how sure that is: `spread`
    since         ///< time since the newest good reading of measure children[0]
  };
  enum class Function : std::uint8_t { none, median, mean, lowest, highest, spread, change, slope, total };
  enum class Trade : std::uint8_t { wet_bulb, dew_point, felt_temperature };
  enum class Fact : std::uint8_t { age, birds, birds_placed, chick_weight, goal_day_7, mortality, hour_of_day, lights };

  Kind kind = Kind::number;
  Function function = Function::none;  ///< of across, window and share
  Fact fact = Fact::age;
  Trade trade = Trade::wet_bulb;
  double number = 0;
  std::size_t measure = 0;  ///< of measure and window: index into RuleSet::measures
  std::size_t index = 0;    ///< of curves and share: index into WatchedRule::curves
  Duration span{0};         ///< of window: D
  Type type;
  std::vector<std::shared_ptr<const Expression>> children;

  /// How the pack speaks of the value that it stands for, where it has words for it; for explaining.
  std::string words;

  /// Where it stands in the source text of the expression, in bytes; for explaining.
  std::size_t offset = 0;
  std::size_t length = 0;
};

using ExpressionPtr = std::shared_ptr<const Expression>;

}  // namespace underwing
