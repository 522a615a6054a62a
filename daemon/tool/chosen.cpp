#include "daemon/tool/chosen.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <map>
#include <set>

#include "daemon/words.hpp"
#include "daemon/zone_files.hpp"
#include "rules/explain/words.hpp"
#include "rules/files/yaml_tree.hpp"

namespace underwing::tool {

namespace {

FarmFiles files_around(const FarmFiles& files, const std::string& pack,
                       const std::vector<Measure>& measures, Units units) {
  FarmFiles alone;
  alone.packs = files.packs;
  alone.shipped = files.shipped;
  alone.tables = files.tables;
  alone.farm_path = "farm.yaml";
  std::string probes;
  for (const Measure& measure : measures)
    probes += fmt::format("{}{}: [one]", probes.empty() ? "" : ", ", measure.name);
  alone.farm_text = fmt::format(
      "format: 1\nfarm: any\ntime_zone: UTC\nunits: {}\nhouses: {{any: {{probes: {{{}}}}}}}\nplugins: {{paper: {{run: "
      "print}}}}\n"
      "people: {{somebody: {{text: \"+44 7700 900100\"}}}}\ncall_out:\n"
      "  urgent: [{{after: 0 min, tell: everyone, by: text}}]\n  soon: [{{after: 0 min, tell: everyone, by: "
      "text}}]\n"
      "  note: [{{after: 0 min, tell: everyone, by: text}}]\n",
      to_string(units), probes);
  alone.flocks["flocks/any.yaml"] = fmt::format(
      "format: 1\nflock: any\nhouse: any\nplaced: 2026-01-01 00:00\nbirds: 10000\nchick_weight: 42 g\npacks: "
      "[{}]\n",
      pack);
  return alone;
}

const Flock* flock_of(const RuleSet& rules, const WatchedRule& rule) {
  return rule.flock ? &rules.flocks[*rule.flock] : nullptr;
}

std::vector<std::string> flock_names(const RuleSet& rules) {
  std::vector<std::string> names;
  for (const Flock& flock : rules.flocks) names.push_back(flock.name);
  return names;
}

std::string place_of(const RuleSet& rules, const WatchedRule& rule) {
  const std::string& house = rules.houses[rule.house].name;
  const Flock* flock = flock_of(rules, rule);
  return flock ? fmt::format("{} ({})", house, flock->name) : house;
}

/// Of several places the one that matters most now.
const WatchedRule* best_of(const RuleSet& rules, const std::vector<const WatchedRule*>& all, Instant now) {
  const auto rank = [&](const WatchedRule* rule) {
    const Flock* flock = flock_of(rules, *rule);
    const bool present = rule->flock && rules.flock_in(rule->house, now) == rule->flock;
    return std::pair(present, flock ? flock->placed : Instant{});
  };
  return *std::max_element(all.begin(), all.end(),
                           [&](const WatchedRule* a, const WatchedRule* b) { return rank(a) < rank(b); });
}

/// Loads packs together, in a house that has one probe of every measure.
Loaded load_together(const FarmFiles& files, const std::string& packs, Units units) {
  // The first pass says which measures there are, those that the packs bring included.
  Loaded first = load_farm(files_around(files, packs, {}, units), load_zone);
  if (!first.ok()) return first;
  return load_farm(files_around(files, packs, first.rules->measures, units), load_zone);
}

/// Where a rule is not in force although its pack is used: "… in house-1 and house-2: no probe there gives 'gas_level'."
std::string lacking_in_words(const RuleSet& rules, const std::string& name) {
  std::map<std::string, std::vector<std::string>> houses;  // by measure
  for (const Unwatched& lacking : rules.unwatched) {
    if (lacking.rule != name) continue;
    auto& names = houses[lacking.measure];
    const std::string& house = rules.houses[lacking.house].name;
    if (std::find(names.begin(), names.end(), house) == names.end()) names.push_back(house);
  }
  std::string words;
  for (const auto& [measure, names] : houses) {
    words += fmt::format("{}This rule is not in force in {}: no probe there gives '{}'.", words.empty() ? "" : " ", join_words(names), measure);
  }
  return words;
}

bool is_used(const RuleSet& rules, const std::string& pack) {
  const auto names = [&](const std::vector<std::string>& packs) { return std::find(packs.begin(), packs.end(), pack) != packs.end(); };
  return names(rules.farm.packs) || std::any_of(rules.flocks.begin(), rules.flocks.end(), [&](const Flock& flock) { return names(flock.packs); });
}

/// Why a rule of that pack is in force nowhere.
std::string why_nowhere(const RuleSet* rules, const std::string& pack, const std::string& name) {
  if (rules == nullptr || !is_used(*rules, pack)) return fmt::format("Nobody here uses the pack '{}', so this rule is not in force.", pack);
  return lacking_in_words(*rules, name);
}

/// The rule from whichever pack has it, with the reason why nothing in this farm does.
std::optional<Chosen> from_a_pack(const FarmFiles& files, const RuleSet* rules, const std::string& name,
                                  std::vector<std::string>& known) {
  for (const std::string& pack : pack_names(files)) {
    const Loaded alone = load_pack_alone(files, pack, rules ? rules->farm.units : Units::metric);
    if (!alone.ok()) continue;
    for (const WatchedRule& rule : alone.rules->rules) {
      if (rule.pack != pack) continue;
      known.push_back(rule.name);
      if (rule.name == name) return Chosen{alone.rules, &rule, nullptr, true, why_nowhere(rules, pack, name)};
    }
  }
  return std::nullopt;
}

/// The flock that is in the house now, else the one placed last; null: none.
const Flock* flock_of_house(const RuleSet& rules, std::size_t house, Instant now) {
  if (const auto present = rules.flock_in(house, now)) return &rules.flocks[*present];
  const Flock* last = nullptr;
  for (const Flock& flock : rules.flocks) {
    if (flock.house == house && (last == nullptr || last->placed < flock.placed)) last = &flock;
  }
  return last;
}

/// "a value", "a curve" or nothing: what a pack has under that name.
std::string kind_in_pack(const std::string& path, const std::string& text, const std::string& name) {
  const Source source(path, text);
  IssueLog said_elsewhere;  // The loader judges the file.
  const YamlNode tree = read_yaml(source, said_elsewhere);
  for (const auto& [key, kind] : {std::pair("values", "a value"), std::pair("curves", "a curve")}) {
    const auto* part = tree.is_map() ? tree.find(key) : nullptr;
    if (part != nullptr && part->value.is_map() && part->value.find(name) != nullptr) return kind;
  }
  return "";
}

/// What somebody named in the place of a rule, and what to type instead; empty: nothing of that name is known.
std::string what_it_is(const FarmFiles& files, const RuleSet* rules, const std::string& name, Instant now) {
  const auto packs = pack_names(files);
  if (std::find(packs.begin(), packs.end(), name) != packs.end()) return fmt::format("'{}' is a pack; 'underwing explain --pack {}' shows it", name, name);
  if (rules != nullptr) {
    const auto flocks = flock_names(*rules);
    if (std::find(flocks.begin(), flocks.end(), name) != flocks.end()) return fmt::format("'{}' is a flock; 'underwing explain --flock {}' lists its rules", name, name);
    if (const auto house = rules->find_house(name)) {
      const Flock* flock = flock_of_house(*rules, *house, now);
      return fmt::format("'{}' is a house; 'underwing explain{}' lists its rules", name, flock != nullptr ? " --flock " + flock->name : "");
    }
  }
  for (const auto* group : {&files.packs, &files.shipped}) {
    for (const auto& [path, text] : *group) {
      const std::string kind = kind_in_pack(path, text, name), pack = pack_named_in(text);
      if (!kind.empty()) return fmt::format("'{}' is {} of the pack '{}'; 'underwing explain --pack {}' shows the rules that use it", name, kind, pack, pack);
    }
  }
  if (rules != nullptr && rules->find_measure(name)) return fmt::format("'{}' is a measure; 'underwing explain' lists the rules", name);
  return "";
}

}  // namespace

std::string refused_flock(const RuleSet& rules, const std::string& flock, Instant now) {
  const auto names = flock_names(rules);
  if (flock.empty() || std::find(names.begin(), names.end(), flock) != names.end()) return "";
  const auto house = rules.find_house(flock);
  if (!house) return fmt::format("no flock named '{}'{}", flock, suggestion(flock, names));
  const Flock* in_it = flock_of_house(rules, *house, now);
  return fmt::format("'{}' is a house{}", flock, in_it != nullptr ? fmt::format("; its flock is '{}'", in_it->name) : ", and no flock has it");
}

std::string pack_named_in(const std::string& text) {
  constexpr std::string_view kKey = "pack:";
  std::size_t at = text.starts_with(kKey) ? 0 : text.find("\npack:");
  if (at == std::string::npos) return "";
  at = text.find(':', at) + 1;
  const std::string line = text.substr(at, text.find_first_of("\n#", at) - at);
  const std::size_t begin = line.find_first_not_of(" \"'");
  if (begin == std::string::npos) return "";
  return line.substr(begin, line.find_last_not_of(" \r\"'") + 1 - begin);
}

bool concerns(const RuleSet& rules, const WatchedRule& rule, const std::string& flock) {
  if (flock.empty()) return true;
  if (rule.flock) return rules.flocks[*rule.flock].name == flock;
  return std::any_of(rules.flocks.begin(), rules.flocks.end(),
                     [&](const Flock& it) { return it.name == flock && it.house == rule.house; });
}

std::string suggestion(const std::string& word, const std::vector<std::string>& candidates) {
  const auto near = nearest(word, candidates);
  return near ? fmt::format("; did you mean '{}'?", *near) : "";
}

Headline headline_of(const RuleSet& rules, const WatchedRule& rule) {
  return [&rules, &rule](const Limit& limit) {
    const Reason reason = limit.side == Limit::Side::low    ? Reason::low
                          : limit.side == Limit::Side::high ? Reason::high
                                                            : Reason::when;
    return what_is_wrong(rule, rules, reason);
  };
}

std::vector<std::string> pack_names(const FarmFiles& files) {
  std::set<std::string> names;
  for (const auto* group : {&files.packs, &files.shipped}) {
    for (const auto& [path, text] : *group) {
      const std::string name = pack_named_in(text);
      if (!name.empty()) names.insert(name);
    }
  }
  return {names.begin(), names.end()};
}

Loaded load_pack_alone(const FarmFiles& files, const std::string& pack, Units units) {
  Loaded alone = load_together(files, pack, units);
  if (alone.ok()) return alone;
  const std::vector<std::string> names = pack_names(files);
  for (const std::string& other : names) {
    if (other == pack) continue;
    if (Loaded both = load_together(files, other + ", " + pack, units); both.ok()) return both;
  }
  if (Loaded all = load_together(files, fmt::format("{}", fmt::join(names, ", ")), units); all.ok()) return all;
  return alone;
}

std::optional<Chosen> choose_rule(const FarmFiles& files, std::shared_ptr<const RuleSet> rules,
                                  const std::string& name, const std::string& flock, Instant now,
                                  std::string& refusal) {
  std::vector<std::string> known;
  std::vector<const WatchedRule*> found;
  std::set<std::string> places;
  if (rules) {
    refusal = refused_flock(*rules, flock, now);
    if (!refusal.empty()) return std::nullopt;
    for (const WatchedRule& rule : rules->rules) {
      known.push_back(rule.name);
      if (rule.name != name || !concerns(*rules, rule, flock)) continue;
      found.push_back(&rule);
      places.insert(place_of(*rules, rule));
    }
  }
  if (found.empty()) {
    auto chosen = from_a_pack(files, rules.get(), name, known);
    if (!chosen) refusal = what_it_is(files, rules.get(), name, now);
    if (!chosen && refusal.empty()) refusal = fmt::format("no rule named '{}'{}", name, suggested_rules(name, known));
    return chosen;
  }
  const WatchedRule* rule = best_of(*rules, found, now);
  Chosen chosen{rules, rule, flock_of(*rules, *rule), false, ""};
  places.erase(place_of(*rules, *rule));
  chosen.notice = flock.empty() ? lacking_in_words(*rules, name) : "";
  if (!places.empty()) {
    chosen.notice += chosen.notice.empty() ? "" : " ";
    chosen.notice += fmt::format("There is a rule of this name for {}, too; choose with --flock.",
                                fmt::join(places, ", "));
  }
  return chosen;
}

std::vector<Chosen> choose_pack(const FarmFiles& files, std::shared_ptr<const RuleSet> rules,
                                const std::string& pack, const std::string& flock, Instant now, std::string& refusal) {
  std::vector<Chosen> all;
  if (rules) refusal = refused_flock(*rules, flock, now);
  if (!refusal.empty()) return all;
  std::set<std::string> seen;
  std::optional<std::pair<std::size_t, std::optional<std::size_t>>> place;
  for (std::size_t i = 0; rules && i < rules->rules.size(); ++i) {
    const WatchedRule& rule = rules->rules[i];
    if (rule.pack != pack || !concerns(*rules, rule, flock)) continue;
    if (!place) place = std::pair(rule.house, rule.flock);
    if (*place != std::pair(rule.house, rule.flock) || !seen.insert(rule.name).second) continue;
    all.push_back({rules, &rule, flock_of(*rules, rule), false, ""});
  }
  if (!all.empty()) return all;
  const auto names = pack_names(files);
  if (std::find(names.begin(), names.end(), pack) == names.end()) {
    refusal = fmt::format("no pack named '{}'{}", pack, suggestion(pack, names));
    return all;
  }
  const Loaded alone = load_pack_alone(files, pack, rules ? rules->farm.units : Units::metric);
  if (!alone.ok()) {
    refusal = fmt::format("the pack '{}' has mistakes; 'underwing check' shows them", pack);
    return all;
  }
  for (const WatchedRule& rule : alone.rules->rules) {
    if (rule.pack == pack && seen.insert(rule.name).second) all.push_back({alone.rules, &rule, nullptr, true, ""});
  }
  return all;
}

}  // namespace underwing::tool
