#pragma once

#include <algorithm>
#include <cmath>
#include <cstdint>
#include <limits>

#include "rules/base/time.hpp"
#include "rules/engine/compare.hpp"

namespace underwing {

/// The time from now to some whole minute. What a rule cannot come to see in it, whatever readings come inside the bands
/// that are expected of them while no probe falls silent, need not be judged at each reading, nor at the whole minutes
/// between.
struct Outlook {
  Instant now{}, until{};    ///< engine time, both included
  Instant wall{};            ///< wall time now
  std::uint64_t serial = 0;  ///< tells one outlook from the next
  [[nodiscard]] Duration length() const { return until - now; }
  /// Whether what is worked out at each whole `step` is so before it ends.
  [[nodiscard]] bool has_within(Duration step) const { return until - Duration(1) - (until - Duration(1)).time_since_epoch() % step > now; }
};

/// All that a number can be within an outlook. Logic is a number, too: 1, 0. Without a value of its own to
/// begin with, so that a stack of them costs nothing.
struct Range {
  enum class Known : std::uint8_t { no, perhaps, yes };  ///< throughout
  double low, high;
  Known is_known;

  static constexpr double kFar = std::numeric_limits<double>::infinity();

  /// Anything, or unknown.
  static Range open() { return {-kFar, kFar, Known::perhaps}; }
  static Range unknown() { return {-kFar, kFar, Known::no}; }
  /// Exactly this throughout, or unknown throughout.
  static Range point(double value) { return known(value) ? Range{value, value, Known::yes} : unknown(); }
  static Range between(double low, double high) { return {low, high, Known::yes}; }
  static Range of_logic(bool can_be_no, bool can_be_yes) {
    return between(can_be_no ? 0 : 1, can_be_yes ? 1 : 0);
  }

  [[nodiscard]] bool sure() const { return is_known == Known::yes; }
  [[nodiscard]] bool is_point() const { return sure() && low == high; }
  [[nodiscard]] bool is_no() const { return sure() && high == 0.0; }
  [[nodiscard]] bool is_yes() const { return sure() && low == 1.0; }
};

namespace ranges {

inline Range::Known worse(Range::Known a, Range::Known b) {
  if (a == Range::Known::no || b == Range::Known::no) return Range::Known::no;
  return a == Range::Known::yes ? b : a;
}

/// What is known where both must be: nothing where one is surely unknown, everything where one only may be.
template <typename Apply>
Range both_known(const Range& a, const Range& b, Apply apply) {
  const Range::Known is_known = worse(a.is_known, b.is_known);
  if (is_known == Range::Known::no) return Range::unknown();
  if (is_known == Range::Known::perhaps) return Range::open();
  const Range found = apply();
  return std::isfinite(found.low) && std::isfinite(found.high) ? found : Range::open();
}

inline Range add(const Range& a, const Range& b) {
  return both_known(a, b, [&] { return Range::between(a.low + b.low, a.high + b.high); });
}
inline Range subtract(const Range& a, const Range& b) {
  return both_known(a, b, [&] { return Range::between(a.low - b.high, a.high - b.low); });
}
inline Range hull(std::initializer_list<double> values) {
  return Range::between(std::min(values), std::max(values));
}
inline Range multiply(const Range& a, const Range& b) {
  return both_known(a, b, [&] {
    return hull({a.low * b.low, a.low * b.high, a.high * b.low, a.high * b.high});
  });
}
inline Range divide(const Range& a, const Range& b) {
  return both_known(a, b, [&] {
    if (b.is_point() && b.low == 0) return Range::open();
    if (b.low <= 0 && b.high >= 0) return Range::open();
    return hull({a.low / b.low, a.low / b.high, a.high / b.low, a.high / b.high});
  });
}
inline Range negate(const Range& a) {
  return {-a.high, -a.low, a.is_known};
}
inline Range least(const Range& a, const Range& b) {
  return both_known(a, b, [&] { return Range::between(std::min(a.low, b.low), std::min(a.high, b.high)); });
}
inline Range most(const Range& a, const Range& b) {
  return both_known(a, b, [&] { return Range::between(std::max(a.low, b.low), std::max(a.high, b.high)); });
}
inline Range size(const Range& a) {
  if (a.low >= 0) return a;
  if (a.high <= 0) return negate(a);
  return {0, std::max(-a.low, a.high), a.is_known};
}
inline Range first_known(const Range& a, const Range& b) {
  if (a.sure()) return a;
  if (a.is_known == Range::Known::no) return b;
  return {std::min(a.low, b.low), std::max(a.high, b.high),
          b.sure() ? Range::Known::yes : Range::Known::perhaps};
}

/// Ends that are closer than this are not told apart: far more than rounding moves them, and than what counts
/// as equal.
inline double slack(double a, double b) {
  return 1e-6 * std::max({1.0, std::fabs(a), std::fabs(b)});
}

/// a < b.
inline Range below(const Range& a, const Range& b) {
  return both_known(a, b, [&] {
    if (a.is_point() && b.is_point()) return Range::point(logic::below(a.low, b.low));
    const bool surely = a.high + slack(a.high, b.low) < b.low;
    const bool never = a.low > b.high + slack(a.low, b.high);
    return Range::of_logic(!surely, !never);
  });
}
/// Number or state equal to another.
inline Range equal(const Range& a, const Range& b, bool states) {
  return both_known(a, b, [&] {
    if (a.is_point() && b.is_point())
      return Range::point(logic::of(states ? (a.low >= 0.5) == (b.low >= 0.5) : same(a.low, b.low)));
    return Range::of_logic(true, true);
  });
}

inline Range logic_not(const Range& a) {
  return a.is_known == Range::Known::no
             ? a
             : Range{1 - std::min(a.high, 1.0), 1 - std::max(a.low, 0.0), a.is_known};
}
inline Range logic_and(const Range& a, const Range& b) {
  if (a.is_no() || b.is_no()) return Range::point(0);
  if (a.is_yes()) return b;
  if (b.is_yes()) return a;
  if (a.is_known == Range::Known::no && b.is_known == Range::Known::no) return Range::unknown();
  return {0, 1, a.sure() && b.sure() ? Range::Known::yes : Range::Known::perhaps};
}
inline Range logic_or(const Range& a, const Range& b) {
  return logic_not(logic_and(logic_not(a), logic_not(b)));
}

}  // namespace ranges

}  // namespace underwing
