#include "rules/explain/by_age.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <limits>
#include <set>

#include "rules/language/check.hpp"

namespace underwing {
namespace {

constexpr Duration kDay = std::chrono::hours(24);
/// Rules of a flock begin a day before the birds come unless they say otherwise.
constexpr Duration kFirstAge = -kDay;

bool same_numbers(const std::vector<double>& one, const std::vector<double>& other) {
  return std::equal(one.begin(), one.end(), other.begin(), other.end(), [](double a, double b) {
    return (std::isnan(a) && std::isnan(b)) || std::fabs(a - b) < 1e-9;
  });
}

}  // namespace

std::pair<Duration, Duration> ages_shown(const WatchedRule& rule) {
  if (!rule.flock) return {Duration::zero(), kDay};
  const Duration begin = rule.from.value_or(kFirstAge);
  if (rule.until) return {begin, *rule.until};
  Duration end = std::max<Duration>(7 * kDay, begin + 7 * kDay);
  for (const auto& curve : rule.curves) end = std::max(end, curve->points.back().first);
  return {begin, std::chrono::ceil<std::chrono::days>(end) + kDay};
}

bool in_force_at(const WatchedRule& rule, Duration age) {
  if (!rule.flock) return true;
  return age >= rule.from.value_or(kFirstAge) && (!rule.until || age < *rule.until);
}

double limit_at(const WatchedRule& rule, const Limit& limit, const Flock* flock, Duration age) {
  if (limit.side == Limit::Side::when) return std::numeric_limits<double>::quiet_NaN();
  return value_at_age(*limit.expression, rule.curves, hours_of(age), facts_of(flock));
}

LimitTable limits_by_day(const WatchedRule& rule, const Flock* flock) {
  const auto [begin, end] = ages_shown(rule);
  std::set<Duration> ages{begin};
  for (Duration age = std::chrono::ceil<std::chrono::days>(begin); age < end; age += kDay) ages.insert(age);
  for (const auto& curve : rule.curves) {
    for (const auto& point : curve->points) {
      if (point.first >= begin && point.first < end) ages.insert(point.first);
    }
  }
  LimitTable table;
  for (const Duration age : ages) {
    LimitRow row{age, {}};
    for (const Limit& limit : rule.limits) row.values.push_back(limit_at(rule, limit, flock, age));
    table.changes =
        table.changes || (!table.rows.empty() && !same_numbers(table.rows.back().values, row.values));
    table.rows.push_back(std::move(row));
  }
  return table;
}

std::string name_of_limit(const WatchedRule& rule, const Limit& limit) {
  const char* side = limit.side == Limit::Side::low    ? "low"
                     : limit.side == Limit::Side::high ? "high"
                                                       : "when";
  return rule.staged ? fmt::format("{}, {}", side, to_string(limit.priority)) : side;
}

}  // namespace underwing
