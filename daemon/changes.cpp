#include "daemon/changes.hpp"

#include <fmt/format.h>

#include <cmath>
#include <map>
#include <optional>

#include "daemon/words.hpp"
#include "rules/engine/program.hpp"

namespace underwing {

namespace {

constexpr int kDaysMax = 42;

std::string key_of(const RuleSet& set, const WatchedRule& rule) {
  return set.houses[rule.house].name + ": " + rule.name + (rule.probe ? " " + set.probes[*rule.probe].name : "");
}

std::map<std::string, const WatchedRule*> by_key(const RuleSet& set) {
  std::map<std::string, const WatchedRule*> map;
  for (const WatchedRule& rule : set.rules) map[key_of(set, rule)] = &rule;
  return map;
}

/// A limit at an age, where it depends on nothing else.
std::optional<double> limit_at(const WatchedRule& rule, const Expression& expression, double age_h) {
  using Kind = Expression::Kind;
  const auto child = [&](std::size_t i) { return limit_at(rule, *expression.children[i], age_h); };
  switch (expression.kind) {
    case Kind::number: return expression.number;
    case Kind::curve: return curve_at(*rule.curves[expression.index], age_h);
    case Kind::negate: {
      const auto value = child(0);
      return value ? std::optional(-*value) : std::nullopt;
    }
    case Kind::add:
    case Kind::subtract: {
      const auto left = child(0), right = child(1);
      if (!left || !right) return std::nullopt;
      return expression.kind == Kind::add ? *left + *right : *left - *right;
    }
    default: return std::nullopt;
  }
}

void compare_limits(std::vector<std::string>& changes, const std::string& key, const WatchedRule& a, const WatchedRule& b, Units units) {
  for (std::size_t i = 0; i < a.limits.size(); ++i) {
    if (a.limits[i].side == Limit::Side::when) continue;
    for (int day = 0; day <= kDaysMax; ++day) {
      const auto before = limit_at(a, *a.limits[i].expression, day * 24.0);
      const auto after = limit_at(b, *b.limits[i].expression, day * 24.0);
      if (!before || !after || std::abs(*before - *after) < 1e-9) continue;
      changes.push_back(fmt::format("{}: {} at day {} was {}, now {}", key, a.limits[i].side == Limit::Side::low ? "low" : "high", day,
                                    with_unit(*before, shown_in(a.limits[i].unit, units)), with_unit(*after, shown_in(b.limits[i].unit, units))));
      break;
    }
  }
}

}  // namespace

std::vector<std::string> describe_changes(const RuleSet& older, const RuleSet& newer) {
  std::vector<std::string> changes;
  const auto before = by_key(older), after = by_key(newer);
  for (const auto& [key, rule] : before) {
    if (!after.contains(key)) changes.push_back(key + ": no longer watched");
  }
  for (const auto& [key, rule] : after) {
    const auto found = before.find(key);
    if (found == before.end()) {
      changes.push_back(key + ": newly watched");
      continue;
    }
    const WatchedRule& a = *found->second;
    const WatchedRule& b = *rule;
    const auto delay = [&, &key = key](const char* what, Duration was, Duration is) {
      if (was != is) changes.push_back(fmt::format("{}: {} was {}, now {}", key, what, to_words(was), to_words(is)));
    };
    delay("on_delay", a.on_delay, b.on_delay);
    delay("off_delay", a.off_delay, b.off_delay);
    delay("blind_after", a.blind_after, b.blind_after);
    if (a.worst_priority() != b.worst_priority()) {
      changes.push_back(fmt::format("{}: priority was {}, now {}", key, to_string(a.worst_priority()), to_string(b.worst_priority())));
    }
    if (a.watch_text != b.watch_text) changes.push_back(fmt::format("{}: watches {}, before {}", key, b.watch_text, a.watch_text));
    if (a.limits.size() != b.limits.size()) changes.push_back(key + ": has other limits");
    else compare_limits(changes, key, a, b, newer.farm.units);
  }
  return changes;
}

}  // namespace underwing
