// What is known of a rule at an age, for people and as JSON.
#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "daemon/tool/explain.hpp"
#include "rules/explain/words.hpp"
#include "rules/language/check.hpp"

namespace underwing::tool {

namespace {

using nlohmann::ordered_json;

std::vector<std::size_t> measures_in(const WatchedRule& rule) {
  std::vector<std::size_t> all;
  const auto take = [&all](const ExpressionPtr& expression) {
    if (!expression) return;
    for (const std::size_t measure : measures_of(*expression)) {
      if (std::find(all.begin(), all.end(), measure) == all.end()) all.push_back(measure);
    }
  };
  take(rule.watch);
  for (const Limit& limit : rule.limits) take(limit.expression);
  take(rule.only_if);
  return all;
}

ordered_json number_or_null(double canonical, const Unit& unit) {
  if (std::isnan(canonical)) return nullptr;
  return std::round(unit.from_canonical(canonical) * 1000) / 1000;
}

}  // namespace

std::string out_of_force(const Chosen& chosen, Duration age) {
  const WatchedRule& rule = *chosen.rule;
  if (chosen.flock && chosen.flock->cleared && chosen.flock->placed + age >= *chosen.flock->cleared) {
    return "the house is cleared by then";
  }
  if (in_force_at(rule, age)) return "";
  const bool early = age < rule.from.value_or(std::chrono::hours(-24));
  return early
             ? fmt::format("the rule begins at {}", age_in_words(rule.from.value_or(std::chrono::hours(-24))))
             : fmt::format("the rule ends at {}", age_in_words(*rule.until));
}

std::string limits_then(const Chosen& chosen, Duration age) {
  std::vector<std::string> parts;
  for (const Limit& limit : chosen.rule->limits) {
    const double value = limit_at(*chosen.rule, limit, chosen.flock, age);
    if (std::isnan(value)) continue;
    parts.push_back(
        fmt::format("{} {}", name_of_limit(*chosen.rule, limit), with_its_unit(value, shown_in(chosen.rule->unit, chosen.rules->farm.units))));
  }
  return fmt::format("{}", fmt::join(parts, chosen.rule->staged ? "; " : ", "));
}

std::vector<std::pair<std::string, std::vector<std::string>>> sources_of(const Chosen& chosen) {
  std::vector<std::pair<std::string, std::vector<std::string>>> all;
  const RuleSet& rules = *chosen.rules;
  for (const std::size_t measure : measures_in(*chosen.rule)) {
    std::vector<std::string> names;
    const auto& probes = rules.houses[chosen.rule->house].probes;
    const auto found = probes.find(measure);
    if (found != probes.end() && !chosen.any_house) {
      for (const std::size_t probe : found->second) names.push_back(rules.probes[probe].name);
    }
    all.emplace_back(rules.measures[measure].name, names);
  }
  return all;
}

nlohmann::ordered_json rule_as_json(const Chosen& chosen, const std::optional<Duration>& age) {
  const WatchedRule& rule = *chosen.rule;
  ordered_json limits = ordered_json::array();
  for (const Limit& limit : rule.limits) {
    ordered_json entry{{"side", limit.side == Limit::Side::low    ? "low"
                                : limit.side == Limit::Side::high ? "high"
                                                                  : "when"},
                       {"priority", to_string(limit.priority)}};
    entry["words"] = limit.side == Limit::Side::when ? condition_in_words(*limit.expression, chosen.wording())
                                                     : number_in_words(*limit.expression, chosen.wording());
    if (age) entry["value"] = number_or_null(limit_at(rule, limit, chosen.flock, *age), rule.unit);
    limits.push_back(std::move(entry));
  }
  ordered_json by_day = ordered_json::array();
  for (const LimitRow& row : limits_by_day(rule, chosen.flock).rows) {
    ordered_json values = ordered_json::array();
    for (const double value : row.values) values.push_back(number_or_null(value, rule.unit));
    by_day.push_back({{"age_h", hours_of(row.age)}, {"limits", std::move(values)}});
  }
  ordered_json probes = ordered_json::object();
  for (const auto& [measure, names] : sources_of(chosen)) probes[measure] = names;
  ordered_json sources = ordered_json::object();
  if (!rule.source.empty()) sources["rule"] = rule.source;
  for (const auto& curve : rule.curves) sources[curve->name] = curve->source;
  ordered_json all{{"rule", rule.name},
                   {"pack", rule.pack},
                   {"priority", to_string(rule.worst_priority())},
                   {"house", chosen.any_house ? ordered_json(nullptr)
                                              : ordered_json(chosen.rules->houses[rule.house].name)},
                   {"flock", chosen.flock ? ordered_json(chosen.flock->name) : ordered_json(nullptr)},
                   {"words", rule_in_words(chosen.wording(), headline_of(*chosen.rules, rule))},
                   {"unit", rule.unit.text},
                   {"age_h", age ? ordered_json(hours_of(*age)) : ordered_json(nullptr)},
                   {"in_force", !chosen.any_house && (!age || out_of_force(chosen, *age).empty())},
                   {"limits", std::move(limits)},
                   {"by_day", std::move(by_day)},
                   {"probes", std::move(probes)},
                   {"follows", rule.follows},
                   {"cause", rule.cause},
                   {"consequence", rule.consequence},
                   {"do", rule.action}};
  if (rule.respond_within) all["respond_within_min"] = hours_of(*rule.respond_within) * 60;
  if (rule.ahead) all["ahead_min"] = hours_of(*rule.ahead) * 60;
  all["blind_after_min"] = hours_of(rule.blind_after) * 60;
  all["sources"] = std::move(sources);
  if (!chosen.notice.empty()) all["notice"] = chosen.notice;
  return all;
}

}  // namespace underwing::tool
