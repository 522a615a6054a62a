#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <set>

#include "rules/files/reach.hpp"
#include "rules/files/resolve.hpp"
#include "rules/files/rule_cautions.hpp"

namespace underwing {
namespace {

std::string in_unit(const Unit& unit, double canonical) {
  const double value = std::round(unit.from_canonical(canonical) * 1000) / 1000;
  return unit.text.empty() ? fmt::format("{:g}", value) : fmt::format("{:g} {}", value, unit.text);
}

struct Pair {
  std::size_t below = 0;  ///< index of the limit that has to stay below
  std::size_t above = 0;
};

/// `low` below `high`; of `limits`, each one of a side further out than the one before it.
std::vector<Pair> pairs_of(const WatchedRule& rule) {
  std::vector<Pair> pairs;
  std::optional<std::size_t> low;
  std::optional<std::size_t> high;
  for (std::size_t i = 0; i < rule.limits.size(); ++i) {
    if (rule.limits[i].side == Limit::Side::low) {
      if (low) pairs.push_back({i, *low});
      if (!low && high) pairs.push_back({i, *high});
      low = i;
    } else if (rule.limits[i].side == Limit::Side::high) {
      if (high) pairs.push_back({*high, i});
      if (!high && low) pairs.push_back({*low, i});
      high = i;
    }
  }
  return pairs;
}

}  // namespace

void judge_crossing(const RuleDraft& draft, const WatchedRule& rule, const PlacementFacts& facts,
                    IssueLog& log) {
  const std::vector<Pair> pairs = pairs_of(rule);
  if (pairs.empty()) return;
  const std::set<Duration> ages = ages_judged(rule, std::chrono::hours(1));
  const Unit unit = shown_in(rule.unit, facts.units);
  for (const Pair& pair : pairs) {
    const auto value = [&](std::size_t limit, Duration age) {
      return value_at_age(*rule.limits[limit].expression, rule.curves, hours_of(age), facts.flock);
    };
    for (const Duration age : ages) {
      const double below = value(pair.below, age);
      const double above = value(pair.above, age);
      if (std::isnan(below) || std::isnan(above)) break;
      if (below < above) continue;
      const std::size_t later = std::max(pair.below, pair.above);
      const std::size_t earlier = std::min(pair.below, pair.above);
      const WrittenExpression& written = draft.limits[later].expression;
      const bool same_side = rule.limits[later].side == rule.limits[earlier].side;
      const std::string text =
          same_side
              ? fmt::format("limits get further out one by one; {} this one is {}, after {}",
                            at_age(age), in_unit(unit, value(later, age)), in_unit(unit, value(earlier, age)))
              : fmt::format("'low' has to stay below 'high'; {} low is {} and high is {}",
                            at_age(age), in_unit(unit, below), in_unit(unit, above));
      report(log, *written.node, Problem{written.syntax->offset, written.syntax->length, text});
      break;
    }
  }
}

}  // namespace underwing
