#include "tests/reference/plain_values.hpp"

#include <algorithm>
#include <cmath>

#include "tests/reference/plain_psychrometrics.hpp"

namespace underwing::reference {
namespace {

using Kind = Expression::Kind;
using Function = Expression::Function;
using Fact = Expression::Fact;

std::optional<double> finite(double value) {
  if (!std::isfinite(value)) return std::nullopt;
  return value;
}

double between(double x, double x0, double y0, double x1, double y1) {
  return y0 + (y1 - y0) * (x - x0) / (x1 - x0);
}

void collect(const Expression& it, std::vector<const Expression*>& parts) {
  parts.push_back(&it);
  for (const ExpressionPtr& child : it.children) collect(*child, parts);
}

/// Less than half of the numbers are known: the combination is unknown.
std::optional<double> combined(Function function, const std::vector<double>& known, std::size_t all) {
  if (known.empty() || 2 * known.size() < all) return std::nullopt;
  const auto [lowest, highest] = std::minmax_element(known.begin(), known.end());
  switch (function) {
    case Function::median:
      return median_of(known);
    case Function::lowest:
      return *lowest;
    case Function::highest:
      return *highest;
    case Function::spread:
      return *highest - *lowest;
    default:
      break;
  }
  double sum = 0;
  for (const double value : known) sum += value;
  return sum / static_cast<double>(known.size());
}

}  // namespace

Known::Known(const RuleSet& farm) : rules(farm) {
  for (const Probe& probe : farm.probes) series.emplace_back(probe.quality);
  work_until.assign(farm.houses.size(), Instant(Duration::min()));
}

double curve_value(const Curve& curve, double age_h) {
  const auto& points = curve.points;
  if (age_h <= hours_of(points.front().first)) return points.front().second;
  for (std::size_t i = 1; i < points.size(); ++i) {
    const double end_h = hours_of(points[i].first);
    if (age_h > end_h) continue;
    return between(age_h, hours_of(points[i - 1].first), points[i - 1].second, end_h, points[i].second);
  }
  return points.back().second;
}

std::optional<double> curve_age_h(const Curve& curve, double value) {
  const auto& points = curve.points;
  const bool rises = points.back().second > points.front().second;
  const auto before = [&](double left, double right) {
    return rises ? below(left, right) : below(right, left);
  };
  if (before(value, points.front().second) || before(points.back().second, value)) return std::nullopt;
  for (std::size_t i = 1; i < points.size(); ++i) {
    if (before(points[i].second, value)) continue;
    return between(value, points[i - 1].second, hours_of(points[i - 1].first), points[i].second,
                   hours_of(points[i].first));
  }
  return std::nullopt;
}

std::vector<const Expression*> all_parts(const WatchedRule& rule) {
  std::vector<const Expression*> parts;
  if (rule.watch) collect(*rule.watch, parts);
  if (rule.only_if) collect(*rule.only_if, parts);
  for (const Limit& limit : rule.limits) collect(*limit.expression, parts);
  return parts;
}

std::set<std::size_t> measures_needed(const RuleSet& rules, const WatchedRule& rule) {
  std::set<std::size_t> measures;
  for (const Expression* part : all_parts(rule)) {
    if (part->kind == Kind::measure || part->kind == Kind::window) measures.insert(part->measure);
    if (part->kind != Kind::fact || (part->fact != Fact::birds && part->fact != Fact::mortality)) continue;
    for (const char* name : {"dead_birds", "culled_birds"}) {
      if (const auto measure = rules.find_measure(name)) measures.insert(*measure);
    }
  }
  return measures;
}

std::set<std::size_t> probes_needed(const RuleSet& rules, const WatchedRule& rule) {
  std::set<std::size_t> probes;
  for (const std::size_t measure : measures_needed(rules, rule)) {
    if (rule.probe && rules.probes[*rule.probe].measure == measure) {
      probes.insert(*rule.probe);
      continue;
    }
    const auto listed = rules.houses[rule.house].probes.find(measure);
    if (listed == rules.houses[rule.house].probes.end()) continue;
    probes.insert(listed->second.begin(), listed->second.end());
  }
  return probes;
}

std::vector<std::size_t> PlainEvaluator::probes_of(std::size_t measure) const {
  const auto& listed = known_.rules.houses[rule_.house].probes;
  const auto found = listed.find(measure);
  return found == listed.end() ? std::vector<std::size_t>{} : found->second;
}

bool old_enough(const Flock& flock, std::size_t probe, Instant now) {
  for (const auto& [later, age] : flock.counts_from) {
    if (later == probe) return now - flock.placed >= age;
  }
  return true;
}

/// Those of the probes that count for the rule's flock.
std::vector<std::size_t> PlainEvaluator::counting(std::size_t measure) const {
  std::vector<std::size_t> probes = probes_of(measure);
  if (!rule_.flock) return probes;
  std::erase_if(probes, [&](std::size_t probe) { return !old_enough(known_.rules.flocks[*rule_.flock], probe, known_.now); });
  return probes;
}

std::vector<std::size_t> PlainEvaluator::own_or_all(std::size_t measure) const {
  if (rule_.probe && known_.rules.probes[*rule_.probe].measure == measure) return {*rule_.probe};
  return counting(measure);
}

PlainEvaluator::Number PlainEvaluator::number(const Expression& it) const {
  const auto child = [&](std::size_t i) { return number(*it.children[i]); };
  switch (it.kind) {
    case Kind::number:
    case Kind::state:
      return it.number;
    case Kind::measure:
      return measure(it);
    case Kind::across:
      return across(it);
    case Kind::window:
      return window(it);
    case Kind::fact:
      return fact(it);
    case Kind::plain_min:
    case Kind::plain_max:
      return smallest_or_largest(it);
    case Kind::count: {
      double usable = 0;
      for (const std::size_t probe : counting(it.children[0]->measure)) {
        if (known_.series[probe].usable(known_.now)) usable += 1;
      }
      return usable;
    }
    case Kind::first_known:
      for (const ExpressionPtr& part : it.children) {
        if (const Number value = number(*part)) return value;
      }
      return std::nullopt;
    case Kind::since: {
      std::optional<Instant> newest;
      for (const std::size_t probe : counting(it.children[0]->measure)) {
        const auto last = known_.series[probe].last_good();
        if (last && (!newest || *last > *newest)) newest = last;
      }
      if (!newest) return std::nullopt;
      return *newest > known_.now ? 0 : hours_of(known_.now - *newest);
    }
    case Kind::trade:
      return trade(it);
    case Kind::share:
      return kept_share(it);
    case Kind::curve: {
      if (!rule_.flock) return std::nullopt;
      return curve_value(*rule_.curves[it.index],
                         hours_of(known_.now - known_.rules.flocks[*rule_.flock].placed));
    }
    default:
      break;
  }
  const Number left = child(0);
  if (!left) return std::nullopt;
  switch (it.kind) {
    case Kind::curve_at:
      return finite(curve_value(*rule_.curves[it.index], *left));
    case Kind::curve_age_at:
      return curve_age_h(*rule_.curves[it.index], *left);
    case Kind::negate:
      return -*left;
    case Kind::plain_abs:
      return std::abs(*left);
    default:
      break;
  }
  const Number right = child(1);
  if (!right) return std::nullopt;
  switch (it.kind) {
    case Kind::add:
      return finite(*left + *right);
    case Kind::subtract:
      return finite(*left - *right);
    case Kind::multiply:
      return finite(*left * *right);
    case Kind::divide:
      return finite(*left / *right);
    default:
      return std::nullopt;
  }
}

PlainEvaluator::Number PlainEvaluator::kept_share(const Expression& it) const {
  const auto found = known_.shares.find({&rule_, &it});
  return found == known_.shares.end() ? std::nullopt : found->second;
}

/// Of every scale each weighing over the curve at its own age; less than half or more than 1.6 times the middle one is
/// left out; at least 30 have to stay.
PlainEvaluator::Number PlainEvaluator::share(const Expression& it) const {
  const Expression& window = *it.children[0];
  const Instant placed = known_.rules.flocks[*rule_.flock].placed;
  std::vector<double> all;
  for (const std::size_t probe : counting(window.measure)) {
    for (const Point& reading : known_.series[probe].readings(known_.now - window.span, known_.now)) {
      const double wanted = curve_value(*rule_.curves[it.index], hours_of(reading.time - placed));
      if (wanted > 0) all.push_back(reading.value / wanted);
    }
  }
  if (all.empty()) return std::nullopt;
  std::vector<double> sorted = all;
  std::sort(sorted.begin(), sorted.end());
  const double middle = sorted[sorted.size() / 2];
  std::erase_if(all, [middle](double one) { return one < 0.5 * middle || one > 1.6 * middle; });
  if (all.size() < 30) return std::nullopt;
  const double count = static_cast<double>(all.size());
  double mean = 0;
  for (const double one : all) mean += one / count;
  if (it.function == Function::mean) return mean;
  double squares = 0;
  for (const double one : all) squares += (one - mean) * (one - mean);
  return 1.959963985 * std::sqrt(squares / (count - 1) / count);
}

/// Each day of 24 h from placement: what was lost over what was there when it began, added up.
PlainEvaluator::Number PlainEvaluator::mortality() const {
  const Flock& flock = known_.rules.flocks[*rule_.flock];
  double present = flock.birds;
  double percent = 0;
  for (Instant day = flock.placed; day <= known_.now; day += std::chrono::hours(24)) {
    double lost = 0;
    for (const char* measure : {"dead_birds", "culled_birds"}) {
      const auto index = known_.rules.find_measure(measure);
      for (const std::size_t probe : index ? probes_of(*index) : std::vector<std::size_t>{}) {
        lost += known_.series[probe].sum(day - Duration(1), std::min(known_.now, day + std::chrono::hours(24) - Duration(1)));
      }
    }
    lost = std::max(lost, 0.0);
    if (!(present > 0) || lost > present) return std::nullopt;
    percent += 100 * lost / present;
    present -= lost;
  }
  return percent;
}

PlainEvaluator::Number PlainEvaluator::trade(const Expression& it) const {
  std::vector<double> given;
  for (const ExpressionPtr& child : it.children) {
    const Number value = number(*child);
    if (!value) return std::nullopt;
    given.push_back(*value);
  }
  const double air_pa = plain_pressure_pa(known_.rules.farm.altitude_m);
  switch (it.trade) {
    case Expression::Trade::wet_bulb:
      return plain_wet_bulb_c(given[0], given[1], air_pa);
    case Expression::Trade::dew_point:
      return plain_dew_point_c(given[0], given[1]);
    case Expression::Trade::felt_temperature:
      return plain_felt_temperature_c(given[0], given[1], given[2], given[3], air_pa);
  }
  return std::nullopt;
}

PlainEvaluator::Number PlainEvaluator::smallest_or_largest(const Expression& it) const {
  Number best;
  for (const ExpressionPtr& child : it.children) {
    const Number next = number(*child);
    if (!next) return std::nullopt;
    if (!best || (it.kind == Kind::plain_min ? *next < *best : *next > *best)) best = next;
  }
  return best;
}

std::optional<bool> PlainEvaluator::logic(const Expression& it) const {
  switch (it.kind) {
    case Kind::logic_not: {
      const auto inner = logic(*it.children[0]);
      if (!inner) return std::nullopt;
      return !*inner;
    }
    case Kind::logic_and:
    case Kind::logic_or: {
      const bool decisive = it.kind == Kind::logic_or;
      bool all_known = true;
      for (const ExpressionPtr& child : it.children) {
        const auto value = logic(*child);
        if (value && *value == decisive) return decisive;
        all_known = all_known && value.has_value();
      }
      if (!all_known) return std::nullopt;
      return !decisive;
    }
    default:
      return comparison(it);
  }
}

std::optional<bool> PlainEvaluator::comparison(const Expression& it) const {
  const Number left = number(*it.children[0]);
  const Number right = number(*it.children[1]);
  if (!left || !right) return std::nullopt;
  const bool states = it.children[0]->type.kind == Type::Kind::state;
  const bool equal = states ? !below(*left, 0.5) == !below(*right, 0.5) : same(*left, *right);
  switch (it.kind) {
    case Kind::less:
      return below(*left, *right);
    case Kind::less_equal:
      return !below(*right, *left);
    case Kind::greater:
      return below(*right, *left);
    case Kind::greater_equal:
      return !below(*left, *right);
    case Kind::is:
      return equal;
    case Kind::is_not:
      return !equal;
    default:
      return std::nullopt;
  }
}

PlainEvaluator::Number PlainEvaluator::measure(const Expression& it) const {
  const std::vector<std::size_t> probes = own_or_all(it.measure);
  if (probes.size() != 1) return std::nullopt;
  const PlainSeries& series = known_.series[probes.front()];
  if (!series.usable(known_.now)) return std::nullopt;
  return series.held_at(known_.now);
}

PlainEvaluator::Number PlainEvaluator::across(const Expression& it) const {
  const Expression& inner = *it.children[0];
  const std::vector<std::size_t> probes = counting(inner.measure);
  std::vector<double> values;
  for (const std::size_t probe : probes) {
    const PlainSeries& series = known_.series[probe];
    if (inner.kind == Kind::window) {
      if (const Number value = window_of(inner, probe)) values.push_back(*value);
    } else if (series.usable(known_.now)) {
      values.push_back(*series.held_at(known_.now));
    }
  }
  return combined(it.function, values, probes.size());
}

PlainEvaluator::Number PlainEvaluator::window(const Expression& it) const {
  double sum = 0;
  const std::vector<std::size_t> probes = own_or_all(it.measure);
  if (probes.empty()) return std::nullopt;
  for (const std::size_t probe : probes) {
    const Number value = window_of(it, probe);
    if (!value) return std::nullopt;
    sum += *value;
  }
  return sum;
}

PlainEvaluator::Number PlainEvaluator::window_of(const Expression& it, std::size_t probe) const {
  const PlainSeries& series = known_.series[probe];
  if (it.function != Function::slope) return series.window(it.function, it.span, known_.now);
  if (series.silent_or_flat(it.span, known_.now)) return std::nullopt;
  const auto found = known_.slopes.find({probe, it.span});
  return found == known_.slopes.end() ? std::nullopt : found->second;
}

double PlainEvaluator::tally_since_placed(const char* measure) const {
  const auto index = known_.rules.find_measure(measure);
  if (!index) return 0;
  const Instant placed = known_.rules.flocks[*rule_.flock].placed;
  double sum = 0;
  for (const std::size_t probe : probes_of(*index)) {
    sum += known_.series[probe].sum(placed - Duration(1), known_.now);
  }
  return sum;
}

PlainEvaluator::Number PlainEvaluator::fact(const Expression& it) const {
  if (it.fact == Fact::hour_of_day) {
    const Duration local = known_.rules.farm.zone.to_local(known_.now).as_if_utc.time_since_epoch();
    return hours_of(local - std::chrono::floor<std::chrono::days>(local));
  }
  if (!rule_.flock) return std::nullopt;
  const Flock& flock = known_.rules.flocks[*rule_.flock];
  switch (it.fact) {
    case Fact::age:
      return hours_of(known_.now - flock.placed);
    case Fact::birds:
      return flock.birds - tally_since_placed("dead_birds") - tally_since_placed("culled_birds");
    case Fact::mortality:
      return mortality();
    case Fact::birds_placed:
      return flock.birds;
    case Fact::chick_weight:
      return flock.chick_weight_g;
    case Fact::goal_day_7:
      return flock.goal_day_7_g;
    default:
      return lights();
  }
}

PlainEvaluator::Number PlainEvaluator::lights() const {
  const Flock& flock = known_.rules.flocks[*rule_.flock];
  if (flock.lights.empty()) return std::nullopt;
  Duration lit = flock.lights.front().second;
  for (const auto& [age, hours] : flock.lights) {
    if (age <= known_.now - flock.placed) lit = hours;
  }
  const Duration local = known_.rules.farm.zone.to_local(known_.now).as_if_utc.time_since_epoch();
  const Duration time_of_day = local - std::chrono::floor<std::chrono::days>(local);
  Duration since_on = time_of_day - flock.lights_on;
  if (since_on < Duration::zero()) since_on += std::chrono::hours(24);
  return since_on < lit ? 1 : 0;
}

}  // namespace underwing::reference
