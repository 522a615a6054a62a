#include "rules/model.hpp"

#include <algorithm>

#include "rules/languages/language.hpp"

namespace underwing {
namespace {

template <typename List>
std::optional<std::size_t> find_named(const List& sorted, std::string_view name) {
  const auto found = std::lower_bound(sorted.begin(), sorted.end(), name,
                                      [](const auto& item, std::string_view key) { return item.name < key; });
  if (found == sorted.end() || found->name != name) return std::nullopt;
  return static_cast<std::size_t>(found - sorted.begin());
}

}  // namespace

const char* to_string(Priority priority) {
  switch (priority) {
    case Priority::note:
      return "note";
    case Priority::soon:
      return "soon";
    case Priority::urgent:
      return "urgent";
  }
  return "";
}

const char* to_string(MeasureKind kind) {
  switch (kind) {
    case MeasureKind::gauge:
      return "gauge";
    case MeasureKind::counter:
      return "counter";
    case MeasureKind::state:
      return "state";
    case MeasureKind::sample:
      return "sample";
    case MeasureKind::tally:
      return "tally";
    case MeasureKind::round:
      return "round";
  }
  return "";
}

const char* to_string(Way way) {
  switch (way) {
    case Way::text:
      return "text";
    case Way::call:
      return "call";
    case Way::mail:
      return "mail";
    case Way::web_hook:
      return "web-hook";
  }
  return "";
}

Priority WatchedRule::worst_priority() const {
  Priority worst = Priority::note;
  for (const Limit& limit : limits) worst = std::max(worst, limit.priority);
  return worst;
}

std::optional<std::size_t> RuleSet::find_house(std::string_view name) const {
  return find_named(houses, name);
}

std::optional<std::size_t> RuleSet::find_measure(std::string_view name) const {
  return find_named(measures, name);
}

std::optional<std::size_t> RuleSet::find_probe(std::string_view full_name) const {
  const std::size_t first = full_name.find('/');
  if (first == std::string_view::npos) return std::nullopt;
  const std::size_t second = full_name.find('/', first + 1);
  if (second == std::string_view::npos) return std::nullopt;
  const auto house = find_house(full_name.substr(0, first));
  const auto measure = find_measure(full_name.substr(first + 1, second - first - 1));
  if (!house || !measure) return std::nullopt;
  const auto listed = houses[*house].probes.find(*measure);
  if (listed == houses[*house].probes.end()) return std::nullopt;
  const std::string_view name = full_name.substr(second + 1);
  for (const std::size_t probe : listed->second) {
    if (probes[probe].name == name) return probe;
  }
  return std::nullopt;
}

std::string RuleSet::full_name(std::size_t probe) const {
  const Probe& it = probes[probe];
  return houses[it.house].name + '/' + measures[it.measure].name + '/' + it.name;
}

const Language& RuleSet::language(const std::string& name) const {
  const auto found = languages.find(name);
  return found == languages.end() ? english() : *found->second;
}

std::optional<Duration> Flock::waits_for(std::size_t probe, Instant wall) const {
  const auto found = counts_from.find(probe);
  if (found == counts_from.end() || wall >= placed + found->second) return std::nullopt;
  return found->second;
}

std::optional<Duration> RuleSet::waits_for(std::size_t probe, Instant wall) const {
  const auto flock = flock_in(probes[probe].house, wall);
  return flock ? flocks[*flock].waits_for(probe, wall) : std::nullopt;
}

std::optional<std::size_t> RuleSet::flock_in(std::size_t house, Instant wall) const {
  std::optional<std::size_t> found;
  for (std::size_t i = 0; i < flocks.size(); ++i) {
    const Flock& flock = flocks[i];
    if (flock.house != house || (flock.cleared && *flock.cleared <= wall)) continue;
    // Flocks of one house never overlap, so the earliest that is not cleared is the one here, or the next.
    if (!found || flock.placed < flocks[*found].placed) found = i;
  }
  return found;
}

}  // namespace underwing
