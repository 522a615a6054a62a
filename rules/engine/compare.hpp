#pragma once

#include <algorithm>
#include <cmath>
#include <limits>

namespace underwing {

/// Unknown, as a number: everything that is not finite. Logic uses the same: 1 yes, 0 no, NaN unknown.
inline constexpr double kUnknown = std::numeric_limits<double>::quiet_NaN();

[[nodiscard]] inline bool known(double value) { return std::isfinite(value); }

/// Equal for every comparison of the engine: closer than 1e-9, or than one part in 1e9 where that is more.
[[nodiscard]] inline bool same(double a, double b) {
  const double apart = std::fabs(a - b);
  return apart < 1e-9 || apart < 1e-9 * std::max(std::fabs(a), std::fabs(b));
}

[[nodiscard]] inline bool below(double a, double b) { return a < b && !same(a, b); }

/// Kleene's three-valued logic on 1, 0 and unknown.
namespace logic {
[[nodiscard]] inline double of(bool value) { return value ? 1.0 : 0.0; }
[[nodiscard]] inline double negate(double a) { return known(a) ? 1.0 - a : kUnknown; }
[[nodiscard]] inline double both(double a, double b) {
  if (a == 0.0 || b == 0.0) return 0.0;
  return known(a) && known(b) ? 1.0 : kUnknown;
}
[[nodiscard]] inline double either(double a, double b) {
  if (a == 1.0 || b == 1.0) return 1.0;
  return known(a) && known(b) ? 0.0 : kUnknown;
}
/// a < b, unknown where one of them is.
[[nodiscard]] inline double below(double a, double b) {
  return known(a) && known(b) ? of(underwing::below(a, b)) : kUnknown;
}
}  // namespace logic

}  // namespace underwing
