// describe_changes: what differs between the flock files of two sets, beside rules.
#include "daemon/changes_impl.hpp"
#include "daemon/words.hpp"
#include "rules/explain/words.hpp"

namespace underwing {

namespace {

std::string stamp(const RuleSet& set, const std::optional<Instant>& time) { return time ? date_and_time(set.farm.zone, *time) : "none"; }

std::string unloading_of(const RuleSet& set, const Flock& flock) {
  if (!flock.unloading) return "none";
  return fmt::format("{} to {}", clock_time(set.farm.zone, flock.unloading->first), clock_time(set.farm.zone, flock.unloading->second));
}

std::string waiting_of(const RuleSet& set, const Flock& flock) {
  std::vector<std::string> probes;
  for (const auto& [probe, age] : flock.counts_from) probes.push_back(fmt::format("{}: {}", set.probes[probe].name, short_age(age)));
  return list_or_none(probes);
}

void compare(Changes& changes, const RuleSet& older, const Flock& a, const RuleSet& newer, const Flock& b) {
  const auto differs = [&](const char* what, const std::string& was, const std::string& is) {
    add_if_other(changes, "", fmt::format("flock {}: {}", b.name, what), was, is, Priority::urgent);
  };
  const Units units = newer.farm.units;
  differs("house", older.houses[a.house].name, newer.houses[b.house].name);
  differs("placed", stamp(older, a.placed), stamp(newer, b.placed));
  differs("cleared", stamp(older, a.cleared), stamp(newer, b.cleared));
  differs("unloading", unloading_of(older, a), unloading_of(newer, b));
  differs("birds", fmt::format("{:.0f}", a.birds), fmt::format("{:.0f}", b.birds));
  const auto weight = [&](const std::optional<double>& grams) { return grams ? with_unit(*grams, shown_in("g", units)) : "none"; };
  differs("chick_weight", weight(a.chick_weight_g), weight(b.chick_weight_g));
  differs("goal_day_7", weight(a.goal_day_7_g), weight(b.goal_day_7_g));
  differs("first_day", fmt::format("{}", a.first_day), fmt::format("{}", b.first_day));
  differs("packs", list_or_none(a.packs), list_or_none(b.packs));
  differs("lights", list_or_none(steps_of_light(a.lights)), list_or_none(steps_of_light(b.lights)));
  differs("lights_on", clock_of(a.lights_on), clock_of(b.lights_on));
  differs("counts_from", waiting_of(older, a), waiting_of(newer, b));
}

std::size_t rules_of(const RuleSet& set, const std::string& flock) {
  const auto its = [&](const WatchedRule& rule) { return rule.flock && set.flocks[*rule.flock].name == flock; };
  return static_cast<std::size_t>(std::count_if(set.rules.begin(), set.rules.end(), its));
}

}  // namespace

Changes flock_changes(const RuleSet& older, const RuleSet& newer) {
  Changes changes;
  for (const Flock& flock : older.flocks) {
    if (named(newer.flocks, flock.name) != nullptr) continue;
    const std::string& house = older.houses[flock.house].name;
    const bool another = std::any_of(newer.flocks.begin(), newer.flocks.end(), [&](const Flock& other) { return newer.houses[other.house].name == house; });
    changes.push_back({"", fmt::format("flock {} in {}: no longer there, with {}{}", flock.name, house, counted(rules_of(older, flock.name), "rule"),
                                       another ? "" : "; without a flock nothing in " + house + " is watched by age"),
                       Priority::urgent});
  }
  for (const Flock& flock : newer.flocks) {
    if (const Flock* before = named(older.flocks, flock.name)) {
      compare(changes, older, *before, newer, flock);
      continue;
    }
    changes.push_back({"", fmt::format("flock {}: new in {}, placed {}, {:.0f} birds, {} of {}", flock.name, newer.houses[flock.house].name, stamp(newer, flock.placed),
                                       flock.birds, counted(rules_of(newer, flock.name), "rule"), list_or_none(flock.packs)), Priority::urgent});
  }
  return changes;
}

}  // namespace underwing
