#include <fmt/format.h>

#include <algorithm>

#include "rules/files/built_in.hpp"
#include "rules/files/farm_loader.hpp"

/// What the loader finds odd, but not wrong.
namespace underwing {

void FarmLoader::judge_use() {
  for (const HouseDraft& draft : farm_.houses) {
    const auto house = set_->find_house(draft.name);
    if (!house || !watched_houses_.contains(*house)) continue;
    for (const ProbesDraft& probes : draft.probes) {
      const auto measure = set_->find_measure(probes.measure);
      if (!measure || used_.contains({*house, *measure})) continue;
      report_caution(
          log_, *probes.key,
          fmt::format("no rule of {} uses '{}'; its probes are only recorded", draft.name, probes.measure));
    }
  }
  for (const auto& [name, file] : packs_) {
    if (file.shipped || file.named) continue;
    report_caution(log_, file.root->find("pack")->value,
                   fmt::format("no flock and no farm names pack '{}', so nothing of it is in force", name));
  }
  const std::vector<Measure> built_in = built_in_measures();
  for (const auto& [name, file] : packs_) {
    if (file.shipped || !file.named) continue;
    for (const MeasureDraft& draft : file.draft.measures) {
      const auto measure = set_->find_measure(draft.name);
      const bool own = std::none_of(built_in.begin(), built_in.end(),
                                    [&](const Measure& it) { return it.name == draft.name; });
      const bool used = std::any_of(used_.begin(), used_.end(),
                                    [&](const auto& pair) { return measure && pair.second == *measure; });
      if (own && !used)
        report_caution(log_, *draft.key, fmt::format("no rule uses the measure '{}'", draft.name));
    }
    for (const auto& [curve, draft] : file.draft.curves) {
      if (!used_curves_.contains(curve))
        report_caution(log_, *draft.key, fmt::format("no rule uses the curve '{}'", curve));
    }
  }
}

/// Nobody on the farm can notice that the gateway itself is dead; somebody elsewhere can.
void FarmLoader::judge_heartbeat() {
  const YamlNode::Entry* name = farm_.root->find("farm");
  if (set_->farm.heartbeat || name == nullptr) return;
  report_caution(log_, name->key,
                 "this farm has no outside heartbeat: when its gateway is dead nobody is told; write 'heartbeat', and let somebody "
                 "elsewhere listen for it");
}

/// An urgent rule that ends while the flock goes on leaves a gap, unless another one takes over.
void FarmLoader::judge_endings() {
  const auto measures = [](const WatchedRule& rule) {
    std::set<std::size_t> all;
    for (const std::size_t measure : rule.watch ? measures_of(*rule.watch) : std::vector<std::size_t>{})
      all.insert(measure);
    for (const Limit& limit : rule.limits) {
      for (const std::size_t measure : measures_of(*limit.expression)) all.insert(measure);
    }
    return all;
  };
  for (const WatchedRule& rule : set_->rules) {
    if (!rule.flock || !rule.until || rule.worst_priority() != Priority::urgent) continue;
    const Flock& flock = set_->flocks[*rule.flock];
    if (flock.cleared && flock.placed + *rule.until >= *flock.cleared) continue;
    const auto watched = measures(rule);
    const bool taken_over =
        std::any_of(set_->rules.begin(), set_->rules.end(), [&](const WatchedRule& other) {
          if (other.house != rule.house || (other.flock && other.flock != rule.flock) ||
              other.worst_priority() == Priority::note)
            return false;
          if (other.from.value_or(std::chrono::hours(-24)) > *rule.until ||
              (other.until && *other.until <= *rule.until))
            return false;
          const auto also = measures(other);
          return std::any_of(watched.begin(), watched.end(),
                             [&](std::size_t measure) { return also.contains(measure); });
        });
    if (taken_over) continue;
    const YamlNode* until = nullptr;
    for (const auto& [name, file] : packs_) {
      const YamlNode::Entry* rules = name == rule.pack ? file.root->find("rules") : nullptr;
      const YamlNode::Entry* map = rules == nullptr ? nullptr : rules->value.find(rule.name);
      const YamlNode::Entry* entry = map == nullptr ? nullptr : map->value.find("until");
      if (entry != nullptr) until = &entry->value;
    }
    if (until == nullptr) continue;
    endings_.emplace(*rule.flock, *rule.until);
    report_caution(
        log_, *until,
        fmt::format(
            "urgent rule '{}' ends at an age of {}, and no other rule goes on watching what it watched",
            rule.name, to_words(*rule.until)));
  }
}

}  // namespace underwing
