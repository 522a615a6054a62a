#pragma once

#include <memory>
#include <span>
#include <vector>

#include "rules/files/reach.hpp"

namespace underwing {

/// Air that changes from one moment on, minute by minute, and was level before: what rules would say of it.
struct Ramp {
  std::size_t measure = 0;            ///< air temperature
  std::vector<double> air;            ///< canonical, at minutes 0, 1, 2 … after the change began
  double age_h = 0;                   ///< of the flock, then
  const Flock* flock = nullptr;
  const std::vector<std::shared_ptr<const Curve>>* curves = nullptr;  ///< of the rule
  [[nodiscard]] double at(double minute) const;
};

/// The value of an expression at a minute of the ramp, all probes of the air alike; logic as 1 and 0. Unknown
/// (NaN) where it asks for anything but the air, age, curves and numbers; first_known goes on past that.
[[nodiscard]] double value_on(const Ramp& ramp, const Expression& expression, double minute);

/// The minute at which the rule raises an alarm of urgent priority: the limit broken for `on_delay`. nullopt:
/// not on this ramp.
[[nodiscard]] std::optional<double> raised_on(Ramp ramp, const WatchedRule& rule);

}  // namespace underwing
