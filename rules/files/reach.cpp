#include "rules/files/reach.hpp"

#include <algorithm>
#include <cmath>

#include "rules/base/limits.hpp"
#include "rules/language/check.hpp"

namespace underwing {
namespace {

using Kind = Expression::Kind;
using Function = Expression::Function;

constexpr double kEndless = std::numeric_limits<double>::infinity();

/// Numbers that differ by less than 1e-9, or one part in 1e9, are equal in every comparison.
bool clearly_less(double a, double b) {
  if (std::isinf(a) || std::isinf(b)) return a < b;
  return b - a > 1e-9 * std::max({1.0, std::fabs(a), std::fabs(b)});
}

/// Ends that came from endless numbers say nothing.
Reach tidy(double low, double high, bool can_be_known) {
  return {std::isnan(low) ? -kEndless : low, std::isnan(high) ? kEndless : high, can_be_known};
}

double product(double a, double b) {
  return a == 0 || b == 0 ? 0 : a * b;
}

Reach multiplied(const Reach& a, const Reach& b) {
  const auto ends = {product(a.low, b.low), product(a.low, b.high), product(a.high, b.low),
                     product(a.high, b.high)};
  return tidy(std::min(ends), std::max(ends), a.can_be_known && b.can_be_known);
}

Reach divided(const Reach& a, const Reach& b) {
  const bool known = a.can_be_known && b.can_be_known;
  if (b.low < 0 && b.high > 0) return {-kEndless, kEndless, known};
  if (b.low == 0 && b.high == 0) return {-kEndless, kEndless, false};
  // One over a divisor that begins or ends at nothing is endless to that side.
  const double least = b.high == 0 ? -kEndless : 1 / b.high;
  const double most = b.low == 0 ? kEndless : 1 / b.low;
  return multiplied(a, {least, most, known});
}

/// The plausible readings of a measure's probes in the house.
Reach believed(std::size_t measure, const ReachPlace& place) {
  const auto range = [](const Measure& it) {
    return Reach{it.unit.to_canonical(it.plausible_low), it.unit.to_canonical(it.plausible_high)};
  };
  Reach all{kEndless, -kEndless};
  const auto& probes = place.set.houses[place.house].probes;
  if (const auto found = probes.find(measure); found != probes.end()) {
    for (const std::size_t probe : found->second) {
      const Reach one = range(place.set.probes[probe].quality);
      all = {std::min(all.low, one.low), std::max(all.high, one.high)};
    }
  }
  const Measure& itself = place.set.measures[measure];
  if (all.low > all.high) all = range(itself);
  // What adds up is not bounded by what a single reading may be.
  if (itself.kind == MeasureKind::tally) return {0, kEndless};
  return all;
}

Reach of_window(const Expression& it, const ReachPlace& place) {
  const Reach level = believed(it.measure, place);
  const double width = level.high - level.low;
  switch (it.function) {
    case Function::total:
      return {0, kEndless};
    case Function::spread:
      return {0, width};
    case Function::change:
      return {-width, width};
    case Function::slope:
      return {};
    default:
      return level;
  }
}

Reach of_across(const Expression& it, const ReachPlace& place) {
  const Reach each = reach_of(*it.children[0], place);
  if (it.function != Function::spread) return each;
  return tidy(0, each.high - each.low, each.can_be_known);
}

Reach of_count(const Expression& it, const ReachPlace& place) {
  const auto& probes = place.set.houses[place.house].probes;
  const auto found = probes.find(it.children[0]->measure);
  return {0, found == probes.end() ? 0 : static_cast<double>(found->second.size())};
}

Reach of_curve(const Curve& curve, double first_h, double last_h) {
  Reach all{value_of(curve, first_h), value_of(curve, first_h)};
  const auto take = [&all](double value) {
    all.low = std::min(all.low, value);
    all.high = std::max(all.high, value);
  };
  take(value_of(curve, last_h));
  for (const auto& [age, value] : curve.points) {
    if (hours_of(age) > first_h && hours_of(age) < last_h) take(value);
  }
  return all;
}

Reach of_fact(Expression::Fact fact, const ReachPlace& place) {
  using enum Expression::Fact;
  const Flock* flock = place.flock;
  switch (fact) {
    case age:
      return {hours_of(place.youngest), hours_of(place.oldest)};
    case birds:
      return flock == nullptr ? Reach{0, kEndless} : Reach{0, flock->birds};
    case mortality:
      return {0, kEndless};
    case birds_placed:
      return flock == nullptr ? Reach{0, kEndless} : Reach{flock->birds, flock->birds};
    case chick_weight:
      return flock == nullptr ? Reach{0, kEndless} : Reach{flock->chick_weight_g, flock->chick_weight_g};
    case goal_day_7:
      if (flock == nullptr) return {0, kEndless};
      return flock->goal_day_7_g ? Reach{*flock->goal_day_7_g, *flock->goal_day_7_g} : Reach{0, kEndless, false};
    case hour_of_day:
      return {0, 24};
    case lights:
      return {0, 1, flock == nullptr || !flock->lights.empty()};
  }
  return {};
}

Reach of_several(const Expression& it, const ReachPlace& place) {
  Reach all = reach_of(*it.children[0], place);
  for (std::size_t i = 1; i < it.children.size(); ++i) {
    const Reach next = reach_of(*it.children[i], place);
    const bool least = it.kind == Kind::plain_min;
    all = {least ? std::min(all.low, next.low) : std::max(all.low, next.low),
           least ? std::min(all.high, next.high) : std::max(all.high, next.high),
           all.can_be_known && next.can_be_known};
  }
  return all;
}

Reach magnitude(const Reach& of) {
  const double most = std::max(std::fabs(of.low), std::fabs(of.high));
  const double least = of.low <= 0 && of.high >= 0 ? 0 : std::min(std::fabs(of.low), std::fabs(of.high));
  return {least, most, of.can_be_known};
}

Outcome compared(Kind kind, const Reach& a, const Reach& b) {
  if (!a.can_be_known || !b.can_be_known) return {false, false};
  switch (kind) {
    case Kind::less:
      return {clearly_less(a.low, b.high), !clearly_less(a.high, b.low)};
    case Kind::less_equal:
      return {!clearly_less(b.high, a.low), clearly_less(b.low, a.high)};
    case Kind::greater:
      return compared(Kind::less, b, a);
    case Kind::greater_equal:
      return compared(Kind::less_equal, b, a);
    default:
      break;
  }
  const bool apart = clearly_less(a.high, b.low) || clearly_less(b.high, a.low);
  const bool one_number = !clearly_less(a.low, a.high) && !clearly_less(b.low, b.high);
  const Outcome same{!apart, apart || !one_number};
  return kind == Kind::is ? same : Outcome{same.can_be_false, same.can_be_true};
}

}  // namespace

Reach reach_of(const Expression& it, const ReachPlace& place) {
  const auto child = [&](std::size_t i) { return reach_of(*it.children[i], place); };
  switch (it.kind) {
    case Kind::number:
    case Kind::state:
      return {it.number, it.number};
    case Kind::measure:
      return believed(it.measure, place);
    case Kind::window:
      return of_window(it, place);
    case Kind::across:
      return of_across(it, place);
    case Kind::count:
      return of_count(it, place);
    case Kind::curve:
      return of_curve(*place.curves[it.index], hours_of(place.youngest), hours_of(place.oldest));
    case Kind::curve_at: {
      const Reach ages = child(0);
      Reach all = of_curve(*place.curves[it.index], ages.low, ages.high);
      all.can_be_known = ages.can_be_known;
      return all;
    }
    case Kind::curve_age_at: {
      const auto& points = place.curves[it.index]->points;
      return {hours_of(points.front().first), hours_of(points.back().first), child(0).can_be_known};
    }
    case Kind::fact:
      return of_fact(it.fact, place);
    case Kind::negate: {
      const Reach of = child(0);
      return {-of.high, -of.low, of.can_be_known};
    }
    case Kind::add: {
      const Reach a = child(0), b = child(1);
      return tidy(a.low + b.low, a.high + b.high, a.can_be_known && b.can_be_known);
    }
    case Kind::subtract: {
      const Reach a = child(0), b = child(1);
      return tidy(a.low - b.high, a.high - b.low, a.can_be_known && b.can_be_known);
    }
    case Kind::multiply:
      return multiplied(child(0), child(1));
    case Kind::divide:
      return divided(child(0), child(1));
    case Kind::plain_abs:
      return magnitude(child(0));
    case Kind::plain_min:
    case Kind::plain_max:
      return of_several(it, place);
    default:
      return {};  // functions of the trade are not looked into
  }
}

namespace {

/// The same thing read in the same way, wherever the two stand in a rule.
bool same_reading(const Expression& a, const Expression& b) {
  return a.kind == b.kind && a.function == b.function && a.fact == b.fact && a.trade == b.trade && a.number == b.number && a.measure == b.measure &&
         a.index == b.index && a.span == b.span &&
         std::equal(a.children.begin(), a.children.end(), b.children.begin(), b.children.end(),
                    [](const ExpressionPtr& x, const ExpressionPtr& y) { return same_reading(*x, *y); });
}

/// Where a comparison wants something to lie.
struct Wanted {
  const Expression* of = nullptr;
  double low = -std::numeric_limits<double>::infinity(), high = std::numeric_limits<double>::infinity();
  bool ends_included = true;
};

std::optional<Wanted> wanted_by(const Expression& it, const ReachPlace& place) {
  if (it.children.size() != 2 || it.children[0]->type.kind == Type::Kind::logic) return std::nullopt;
  const bool turned = it.children[0]->kind == Kind::number || it.children[0]->kind == Kind::state;
  const Reach bound = reach_of(*it.children[turned ? 0 : 1], place);
  Wanted wanted{it.children[turned ? 1 : 0].get()};
  switch (it.kind) {
    case Kind::less:
    case Kind::less_equal:
      turned ? wanted.low = bound.low : wanted.high = bound.high;
      break;
    case Kind::greater:
    case Kind::greater_equal:
      turned ? wanted.high = bound.high : wanted.low = bound.low;
      break;
    case Kind::is:
      wanted.low = bound.low;
      wanted.high = bound.high;
      break;
    case Kind::is_not:
      if (wanted.of->type.kind != Type::Kind::state || bound.low != bound.high) return std::nullopt;
      wanted.low = wanted.high = 1 - bound.low;
      break;
    default:
      return std::nullopt;
  }
  wanted.ends_included = it.kind != Kind::less && it.kind != Kind::greater;
  return wanted;
}

void collect_wanted(const Expression& it, const ReachPlace& place, std::vector<Wanted>& all) {
  if (it.kind == Kind::logic_and) {
    for (const ExpressionPtr& child : it.children) collect_wanted(*child, place, all);
  } else if (const auto wanted = wanted_by(it, place)) {
    all.push_back(*wanted);
  }
}

/// Whether two parts of an `and` want one thing to be in two places.
bool contradicts_itself(const Expression& all_of, const ReachPlace& place) {
  std::vector<Wanted> all;
  collect_wanted(all_of, place, all);
  for (std::size_t i = 0; i < all.size(); ++i) {
    for (std::size_t k = i + 1; k < all.size(); ++k) {
      const double low = std::max(all[i].low, all[k].low), high = std::min(all[i].high, all[k].high);
      const bool apart = low > high || (low == high && !(all[i].ends_included && all[k].ends_included));
      if (apart && same_reading(*all[i].of, *all[k].of)) return true;
    }
  }
  return false;
}

}  // namespace

Outcome outcome_of(const Expression& it, const ReachPlace& place) {
  const auto child = [&](std::size_t i) { return outcome_of(*it.children[i], place); };
  switch (it.kind) {
    case Kind::logic_and: {
      const Outcome a = child(0), b = child(1);
      const bool both = a.can_be_true && b.can_be_true && !contradicts_itself(it, place);
      return {both, a.can_be_false || b.can_be_false || !both};
    }
    case Kind::logic_or: {
      const Outcome a = child(0), b = child(1);
      return {a.can_be_true || b.can_be_true, a.can_be_false && b.can_be_false};
    }
    case Kind::logic_not: {
      const Outcome of = child(0);
      return {of.can_be_false, of.can_be_true};
    }
    case Kind::less:
    case Kind::less_equal:
    case Kind::greater:
    case Kind::greater_equal:
    case Kind::is:
    case Kind::is_not: {
      // Conditions can be compared with one another as well; that is not looked into.
      if (it.children[0]->type.kind == Type::Kind::logic) return {};
      return compared(it.kind, reach_of(*it.children[0], place), reach_of(*it.children[1], place));
    }
    default:
      return {};
  }
}

std::optional<Level> level_of(const Expression& it) {
  const bool level = it.function == Function::median || it.function == Function::mean ||
                     it.function == Function::lowest || it.function == Function::highest;
  // What a rule falls back on is what it watches.
  if (it.kind == Kind::first_known) return level_of(*it.children.back());
  if (it.kind == Kind::measure) return Level{it.measure, Function::none};
  if (it.kind == Kind::window && level) return Level{it.measure, it.function};
  if (it.kind != Kind::across || !level) return std::nullopt;
  const auto inner = level_of(*it.children[0]);
  return inner ? std::optional(Level{inner->measure, it.function}) : std::nullopt;
}

bool asks_for_lights(const Expression& it) {
  return (it.kind == Kind::fact && it.fact == Expression::Fact::lights) ||
         std::any_of(it.children.begin(), it.children.end(),
                     [](const ExpressionPtr& child) { return asks_for_lights(*child); });
}

std::set<Duration> ages_judged(const WatchedRule& rule, Duration step) {
  const Duration begin = rule.from.value_or(std::chrono::hours(-24));
  const Duration end =
      rule.until.value_or(std::max<Duration>(limits::kCrossingCheck, begin + std::chrono::hours(24)));
  std::set<Duration> ages{begin};
  // Whole steps count from placement, so that people read round numbers.
  for (Duration age = begin / step * step; age < end; age += step) {
    if (age >= begin) ages.insert(age);
  }
  for (const auto& curve : rule.curves) {
    for (const auto& point : curve->points) {
      if (point.first >= begin && point.first < end) ages.insert(point.first);
    }
  }
  return ages;
}

const Curve* weight_curve_of(const RuleSet& set, std::size_t flock) {
  const auto weight = set.find_measure("bird_weight");
  for (const WatchedRule& rule : set.rules) {
    if (rule.flock != flock || !weight || !reads(rule.watch, *weight)) continue;
    for (const auto& curve : rule.curves) {
      if (curve->unit.dimension == set.measures[*weight].unit.dimension) return curve.get();
    }
  }
  return nullptr;
}

}  // namespace underwing
