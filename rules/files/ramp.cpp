#include "rules/files/ramp.hpp"

#include <algorithm>
#include <cmath>
#include <limits>

#include "rules/language/check.hpp"

namespace underwing {
namespace {

using Kind = Expression::Kind;
using Function = Expression::Function;

constexpr double kUnknown = std::numeric_limits<double>::quiet_NaN();

double minutes_in(Duration span) { return hours_of(span) * 60; }

/// A window over air that all probes read alike.
double window_on(const Ramp& ramp, const Expression& it, double minute) {
  if (it.measure != ramp.measure) return kUnknown;
  const double span = minutes_in(it.span);
  const double now = ramp.at(minute);
  const double before = ramp.at(minute - span);
  double sum = 0;
  double low = now, high = now;
  constexpr int kParts = 60;
  for (int i = 0; i < kParts; ++i) {
    const double value = ramp.at(minute - span * (i + 0.5) / kParts);
    sum += value / kParts;
    low = std::min(low, value);
    high = std::max(high, value);
  }
  switch (it.function) {
    case Function::mean: return sum;
    case Function::lowest: return low;
    case Function::highest: return high;
    case Function::spread: return high - low;
    case Function::change: return now - before;
    default: return kUnknown;  // a slope is a median of pairs; nothing is told of it here
  }
}

double logic_of(double a, double b, Kind kind) {
  if (std::isnan(a) || std::isnan(b)) return kUnknown;
  switch (kind) {
    case Kind::less: return a < b ? 1 : 0;
    case Kind::less_equal: return a <= b ? 1 : 0;
    case Kind::greater: return a > b ? 1 : 0;
    default: return a >= b ? 1 : 0;
  }
}

double both(double a, double b) {
  if (a == 0 || b == 0) return 0;
  return std::isnan(a) || std::isnan(b) ? kUnknown : 1;
}

}  // namespace

double Ramp::at(double minute) const {
  if (minute <= 0) return air.front();
  const auto whole = static_cast<std::size_t>(minute);
  if (whole + 1 >= air.size()) return air.back();
  return air[whole] + (air[whole + 1] - air[whole]) * (minute - static_cast<double>(whole));
}

double value_on(const Ramp& ramp, const Expression& it, double minute) {
  const auto child = [&](std::size_t i) { return value_on(ramp, *it.children[i], minute); };
  switch (it.kind) {
    case Kind::measure: return it.measure == ramp.measure ? ramp.at(minute) : kUnknown;
    case Kind::window: return window_on(ramp, it, minute);
    case Kind::across: return it.function == Function::spread ? 0 : child(0);
    case Kind::negate: return -child(0);
    case Kind::add: return child(0) + child(1);
    case Kind::subtract: return child(0) - child(1);
    case Kind::multiply: return child(0) * child(1);
    case Kind::divide: return child(0) / child(1);
    case Kind::plain_abs: return std::fabs(child(0));
    case Kind::plain_min:
    case Kind::plain_max: {
      double best = child(0);
      for (std::size_t i = 1; i < it.children.size(); ++i) {
        const double next = child(i);
        if (std::isnan(best) || std::isnan(next)) return kUnknown;
        best = it.kind == Kind::plain_min ? std::min(best, next) : std::max(best, next);
      }
      return best;
    }
    case Kind::first_known:
      for (std::size_t i = 0; i < it.children.size(); ++i) {
        if (const double value = child(i); !std::isnan(value)) return value;
      }
      return kUnknown;
    case Kind::less:
    case Kind::less_equal:
    case Kind::greater:
    case Kind::greater_equal: return logic_of(child(0), child(1), it.kind);
    case Kind::logic_and: return both(child(0), child(1));
    case Kind::logic_or: return 1 - both(1 - child(0), 1 - child(1));
    case Kind::logic_not: return 1 - child(0);
    default:
      return value_at_age(it, *ramp.curves, ramp.age_h, facts_of(ramp.flock));
  }
}

std::optional<double> raised_on(Ramp ramp, const WatchedRule& rule) {
  constexpr double kStep = 0.25;
  ramp.curves = &rule.curves;
  std::optional<double> first;
  for (const Limit& limit : rule.limits) {
    if (limit.priority != Priority::urgent) continue;
    double held_since = -1;
    for (double minute = 0; minute < static_cast<double>(ramp.air.size()); minute += kStep) {
      const double border = value_on(ramp, *limit.expression, minute);
      const double value = rule.watch ? value_on(ramp, *rule.watch, minute) : kUnknown;
      const bool broken = limit.side == Limit::Side::when   ? border == 1
                          : limit.side == Limit::Side::high ? value > border + 1e-9
                                                            : value < border - 1e-9;
      if (!broken) held_since = -1;
      else if (held_since < 0) held_since = minute;
      if (held_since < 0 || minute - held_since < minutes_in(rule.on_delay)) continue;
      first = std::min(first.value_or(minute), minute);
      break;
    }
  }
  return first;
}

}  // namespace underwing
