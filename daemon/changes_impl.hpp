#pragma once

#include <fmt/format.h>

#include <algorithm>
#include <functional>
#include <optional>
#include <string>
#include <vector>

#include "rules/model.hpp"

/// The parts of describe_changes.
namespace underwing {

/// What differs, with whom or what it concerns: the same of several houses or probes is said once.
struct Change {
  std::string where;  ///< "house-1", "house-1 north"; empty: the sentence names it itself
  std::string text;   ///< "cold-air: on_delay was 1 min, now 3 min"
  Priority priority = Priority::note;
};
using Changes = std::vector<Change>;

/// Rules that both sets have, and rules that only one has; those of a flock that only one has are left to flock_changes.
[[nodiscard]] Changes rule_changes(const RuleSet& older, const RuleSet& newer, Instant wall);
/// What flock files say beside rules.
[[nodiscard]] Changes flock_changes(const RuleSet& older, const RuleSet& newer);
/// People, duty and call-out.
[[nodiscard]] Changes people_changes(const RuleSet& older, const RuleSet& newer);
/// Houses, probes, plugins, and what else farm.yaml says.
[[nodiscard]] Changes farm_changes(const RuleSet& older, const RuleSet& newer);

/// "birds was 17000, now 17500", where the two texts differ.
inline void add_if_other(Changes& changes, const std::string& where, const std::string& what, const std::string& was, const std::string& is,
                         Priority priority = Priority::note) {
  if (was != is) changes.push_back({where, fmt::format("{} was {}, now {}", what, was, is), priority});
}

/// The span, or "none".
[[nodiscard]] inline std::string or_none(const std::optional<Duration>& span, const std::function<std::string(Duration)>& words = to_words) {
  return span ? words(*span) : "none";
}

/// The one of that name, or null.
template <typename Named>
[[nodiscard]] const Named* named(const std::vector<Named>& all, const std::string& name) {
  const auto found = std::find_if(all.begin(), all.end(), [&](const Named& one) { return one.name == name; });
  return found == all.end() ? nullptr : &*found;
}

/// "a, b", or "none".
[[nodiscard]] inline std::string list_or_none(const std::vector<std::string>& names) {
  return names.empty() ? "none" : fmt::format("{}", fmt::join(names, ", "));
}

}  // namespace underwing
