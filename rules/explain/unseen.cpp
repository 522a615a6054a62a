#include "rules/explain/unseen.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <map>

#include "rules/explain/words.hpp"
#include "rules/language/check.hpp"

namespace underwing {
namespace {

using Span = std::pair<Duration, std::optional<Duration>>;

bool concerns(const WatchedRule& rule, const Flock& flock, std::size_t index) {
  return rule.house == flock.house && (!rule.flock || *rule.flock == index);
}

/// For each measure: the spans of age in which it is in a value or a condition that a rule looks at.
std::map<std::size_t, std::vector<Span>> spans_of(const RuleSet& rules, std::size_t index) {
  std::map<std::size_t, std::vector<Span>> all;
  for (const WatchedRule& rule : rules.rules) {
    if (!concerns(rule, rules.flocks[index], index)) continue;
    const Span span{rule.flock ? rule.from.value_or(std::chrono::hours(-24)) : Duration::min(), rule.until};
    const Expression& looked_at = rule.watch ? *rule.watch : *rule.limits.front().expression;
    for (const std::size_t measure : measures_of(looked_at)) all[measure].push_back(span);
  }
  return all;
}

std::vector<Span> gaps_between(std::vector<Span> spans, const std::optional<Duration>& end) {
  std::sort(spans.begin(), spans.end());
  std::vector<Span> gaps;
  Duration covered{};
  for (const auto& [from, until] : spans) {
    if (end && covered >= *end) return gaps;
    if (from > covered) gaps.emplace_back(covered, end ? std::min(from, *end) : from);
    if (!until) return gaps;
    covered = std::max(covered, *until);
  }
  if (!end || covered < *end) gaps.emplace_back(covered, end);
  return gaps;
}

std::string in_words(const Span& gap, const std::optional<Duration>& end) {
  const auto& [from, until] = gap;
  const bool to_the_end = !until || until == end;
  if (from == Duration::zero()) return to_the_end ? "at any age" : "before " + short_age(*until);
  return to_the_end ? "from " + short_age(from)
                    : fmt::format("from {} to {}", short_age(from), short_age(*until));
}

std::optional<Duration> end_of(const Flock& flock) {
  if (!flock.cleared) return std::nullopt;
  return *flock.cleared - flock.placed;
}

}  // namespace

std::vector<UnseenAges> unseen_ages(const RuleSet& rules) {
  std::vector<UnseenAges> all;
  for (std::size_t i = 0; i < rules.flocks.size(); ++i) {
    const std::size_t first = all.size();
    for (const auto& [measure, spans] : spans_of(rules, i)) {
      std::vector<Span> gaps = gaps_between(spans, end_of(rules.flocks[i]));
      if (gaps.empty()) continue;
      const auto same = std::find_if(all.begin() + static_cast<std::ptrdiff_t>(first), all.end(),
                                     [&](const UnseenAges& other) { return other.gaps == gaps; });
      if (same != all.end()) {
        same->measures.push_back(measure);
      } else {
        all.push_back({i, {measure}, std::move(gaps)});
      }
    }
  }
  return all;
}

std::string unseen_in_words(const RuleSet& rules, std::size_t flock) {
  std::string text;
  for (const UnseenAges& unseen : unseen_ages(rules)) {
    if (unseen.flock != flock) continue;
    std::vector<std::string> measures;
    for (const std::size_t measure : unseen.measures)
      measures.push_back(spaced(rules.measures[measure].name));
    std::vector<std::string> ages;
    for (const Span& gap : unseen.gaps) ages.push_back(in_words(gap, end_of(rules.flocks[flock])));
    text += fmt::format("{}{} {}", text.empty() ? "" : "; ", join_words(measures), join_words(ages));
  }
  return text;
}

std::vector<std::string> lacking_for_time_left(const RuleSet& rules, std::size_t house) {
  const House& it = rules.houses[house];
  const auto air = rules.find_measure("air_temperature");
  const bool used = std::any_of(rules.flocks.begin(), rules.flocks.end(), [house](const Flock& flock) { return flock.house == house; });
  if (!used || !air || !it.probes.contains(*air)) return {};
  std::vector<std::string> keys;
  if (!it.volume_m3) keys.emplace_back("volume");
  if (!it.time_constant) keys.emplace_back("time_constant");
  if (!it.outside_c) keys.emplace_back("outside");
  if (std::none_of(rules.farm.people.begin(), rules.farm.people.end(), [](const Person& person) { return person.away.has_value(); })) keys.emplace_back("away");
  return keys;
}

std::string time_left_unseen_in_words(const RuleSet& rules, std::size_t house) {
  const std::vector<std::string> keys = lacking_for_time_left(rules, house);
  if (keys.empty()) return "";
  const auto lacks = [&](const char* key) { return std::find(keys.begin(), keys.end(), key) != keys.end(); };
  const bool nobody = lacks("away"), heat = nobody || lacks("volume"), cold = nobody || lacks("time_constant") || lacks("outside");
  std::vector<std::string> quoted;
  for (const std::string& key : keys) quoted.push_back("'" + key + "'");
  return fmt::format("whether people come in time when its {} stop: farm.yaml gives no {}", heat && cold ? "fans or heaters" : heat ? "fans" : "heaters",
                     join_words(quoted, "or"));
}

}  // namespace underwing
