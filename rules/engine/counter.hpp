#pragma once

namespace underwing {

/// How much a meter that counts up grew from one reading to the next. One that falls to less than half began anew from
/// zero; one that falls by less ran back, which is no growth.
[[nodiscard]] inline double counter_growth(double last, double value) {
  if (value >= last) return value - last;
  return value < last / 2 ? value : 0;
}

}  // namespace underwing
