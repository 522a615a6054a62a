#include <fmt/format.h>

#include <algorithm>

#include "rules/files/farm_loader.hpp"

/// The part of the loader that brings rules into houses.
namespace underwing {

void FarmLoader::resolve(const Setting& setting) {
  watched_houses_.insert(setting.house);
  const RuleNames names = rule_names(setting);
  for (std::size_t i = 0; i < setting.packs.size(); ++i) {
    std::map<std::string, std::set<std::string>> missing;
    const Scope scope = scope_in(setting, i);
    judge_values(*setting.packs[i], scope, log_);
    for (const RuleDraft& draft : setting.packs[i]->rules) add_rule(setting, scope, draft, names, missing);
    report_missing(setting, i, missing);
  }
  judge_circles(setting, names);
}

/// Names of all rules that are in force together; a name that stands twice is reported.
FarmLoader::RuleNames FarmLoader::rule_names(const Setting& setting) {
  RuleNames names;
  std::vector<const PackDraft*> together = setting.packs;
  if (setting.flock != nullptr) together.insert(together.begin(), farm_packs_.begin(), farm_packs_.end());
  for (const PackDraft* pack : together) {
    for (const RuleDraft& draft : pack->rules) {
      const auto [other, first] = names.emplace(draft.rule.name, pack);
      if (first || draft.rule.name.empty() || other->second == pack) continue;
      report(log_, *draft.key,
             fmt::format("pack '{}' has a rule named '{}', too; rules of one house need names of their own",
                         other->second->name, draft.rule.name));
    }
  }
  return names;
}

Scope FarmLoader::scope_in(const Setting& setting, std::size_t pack) {
  Scope scope = scope_of(*setting.packs[pack], setting.packs, set_->measures, log_);
  scope.probes = [this, house = setting.house](std::size_t measure) {
    const auto& probes = set_->houses[house].probes;
    const auto found = probes.find(measure);
    return std::optional<std::size_t>(found == probes.end() ? 0 : found->second.size());
  };
  scope.has_flock = setting.flock != nullptr;
  scope.whole = packs_read_;
  return scope;
}

void FarmLoader::add_rule(const Setting& setting, const Scope& scope, const RuleDraft& draft,
                          const RuleNames& names, std::map<std::string, std::set<std::string>>& missing) {
  PlacementFacts facts;
  facts.units = set_->farm.units;
  if (setting.flock != nullptr) facts.flock = facts_of(&setting.flock->draft.flock);
  auto resolved = resolve_rule(draft, scope, facts, log_);
  if (!resolved) return;
  for (const auto& curve : resolved->rule.curves) used_curves_.insert(curve->name);
  for (const std::size_t measure : resolved->used) used_.emplace(setting.house, measure);
  for (const std::size_t measure : resolved->watched) {
    if (scope.probes(measure) != std::size_t{0}) continue;
    set_->unwatched.push_back(
        {setting.house, draft.rule.pack, draft.rule.name, set_->measures[measure].name});
    missing[set_->measures[measure].name].insert(draft.rule.name);
    return;
  }
  WatchedRule& rule = resolved->rule;
  rule.house = setting.house;
  if (setting.flock != nullptr) {
    rule.flock = setting.flock->index;
    // So that the house is watched while it warms up, and not while another flock is in it.
    if (!rule.from) rule.from = std::chrono::hours(-24);
  }
  // Where none of a measure's probes counts yet, the rule has nothing to look at: it begins when one does.
  for (const std::size_t measure : resolved->watched) {
    if (setting.flock == nullptr || measure == resolved->own_measure) continue;
    rule.from = std::max(rule.from, sees_from(*setting.flock, set_->houses[setting.house].probes.at(measure)));
  }
  set_follows(rule, draft, names);
  placed_.push_back({&draft, set_->rules.size(), setting.flock,
                     rule.watch ? level_of(*rule.watch) : std::optional<Level>()});
  if (!resolved->own_measure) {
    set_->rules.push_back(std::move(rule));
    return;
  }
  for (const std::size_t probe : set_->houses[setting.house].probes.at(*resolved->own_measure)) {
    rule.probe = probe;
    set_->rules.push_back(rule);
    if (setting.flock != nullptr) set_->rules.back().from = std::max(rule.from, sees_from(*setting.flock, {&probe, 1}));
  }
}

/// The age from which the first of these probes counts; nullopt: one always does.
std::optional<Duration> FarmLoader::sees_from(const FlockFile& flock, std::span<const std::size_t> probes) const {
  const auto& counts_from = set_->flocks[flock.index].counts_from;
  std::optional<Duration> first;
  for (const std::size_t probe : probes) {
    const auto found = counts_from.find(probe);
    if (found == counts_from.end()) return std::nullopt;
    first = std::min(first.value_or(found->second), found->second);
  }
  return first;
}

void FarmLoader::set_follows(WatchedRule& rule, const RuleDraft& draft, const RuleNames& names) {
  for (const NamedNode& cause : draft.follows) {
    if (names.contains(cause.name)) {
      rule.follows.push_back(cause.name);
      continue;
    }
    std::vector<std::string> known;
    bool elsewhere = !packs_read_;
    for (const auto& [name, pack] : names) known.push_back(name);
    // A shipped pack may name a cause from a pack that this farm does not use.
    for (const auto& [name, file] : packs_) {
      const YamlNode::Entry* rules = file.root->find("rules");
      elsewhere = elsewhere || (rules != nullptr && rules->value.find(cause.name) != nullptr);
    }
    if (!elsewhere)
      report(log_, *cause.node,
             with_nearest(fmt::format("no rule named '{}' in these packs", cause.name), cause.name, known));
  }
}

void FarmLoader::judge_circles(const Setting& setting, const RuleNames& names) {
  std::map<std::string, const RuleDraft*> drafts;
  for (const auto& [name, pack] : names) {
    for (const RuleDraft& draft : pack->rules) drafts.emplace(draft.rule.name, &draft);
  }
  std::set<std::string> done;
  for (const PackDraft* pack : setting.packs) {
    for (const RuleDraft& start : pack->rules) {
      // Depth-first along the causes; a way back to the start is a circle.
      std::vector<std::string> open = {start.rule.name};
      std::set<std::string> seen;
      while (!open.empty()) {
        const auto draft = drafts.find(open.back());
        open.pop_back();
        if (draft == drafts.end()) continue;
        for (const NamedNode& cause : draft->second->follows) {
          if (cause.name == start.rule.name && done.insert(start.rule.name).second) {
            report(log_, *start.follows.front().node,
                   fmt::format("rule '{}' follows itself in a circle", start.rule.name));
          }
          if (seen.insert(cause.name).second) open.push_back(cause.name);
        }
      }
    }
  }
}

void FarmLoader::report_missing(const Setting& setting, std::size_t pack,
                                const std::map<std::string, std::set<std::string>>& missing) {
  if (log_.has_errors()) return;  // A misspelt probe is said already.
  for (const auto& [measure, rules] : missing) {
    // A pack of the farm is meant for the houses that have its probes; it is odd only if none has.
    const auto index = set_->find_measure(measure);
    const bool anywhere = std::any_of(set_->houses.begin(), set_->houses.end(),
                                      [&](const House& house) { return house.probes.contains(*index); });
    if (setting.flock == nullptr && anywhere) continue;
    std::string list;
    for (const std::string& rule : rules) list += (list.empty() ? "" : ", ") + rule;
    const std::string where = setting.flock == nullptr ? "no house" : set_->houses[setting.house].name;
    report_caution(log_, *setting.named_at[pack],
                   fmt::format("{} has {}probe for '{}', so {} not in force there: {}", where,
                               setting.flock == nullptr ? "a " : "no ", measure,
                               rules.size() == 1 ? "this rule is" : "these rules are", list));
  }
}

}  // namespace underwing
