#include <fmt/format.h>

#include <algorithm>

#include "rules/files/built_in.hpp"
#include "rules/files/drafts.hpp"
#include "rules/files/load_people.hpp"
#include "rules/files/load_proof.hpp"
#include "rules/files/settings.hpp"

namespace underwing {
namespace {

void read_probes(HouseDraft& house, const YamlNode& node, IssueLog& log) {
  const YamlNode* map = read_map(node, "probes", log);
  if (map == nullptr) return;
  for (const YamlNode::Entry& entry : map->entries) {
    ProbesDraft probes;
    probes.key = &entry.key;
    const auto measure = read_name(entry.key, log, NameKind::plain);
    for (const YamlNode* item : one_or_list(entry.value)) {
      const auto name = read_name(*item, log);
      if (!name) continue;
      const bool twice = std::any_of(probes.probes.begin(), probes.probes.end(),
                                     [&](const NamedNode& it) { return it.name == *name; });
      if (twice) {
        report(log, *item, fmt::format("probe '{}' stands here twice", *name));
      } else {
        probes.probes.push_back({*name, item});
      }
    }
    if (entry.value.is_list() && entry.value.items.empty())
      report(log, entry.value, "at least one probe is needed here");
    if (!measure) continue;
    probes.measure = *measure;
    house.probes.push_back(std::move(probes));
  }
}

/// From a shed for a few birds to the largest houses there are; beyond that a unit is wrong.
void read_volume(HouseDraft& house, const YamlNode& node, IssueLog& log) {
  const auto quantity = read_quantity(node, log);
  if (!quantity) return;
  const double cubic_metres = quantity->canonical() / 1000;  // litres are what volumes are kept in
  if (quantity->unit.dimension != parse_unit("m³")->dimension || cubic_metres < 10 || cubic_metres > 100'000) {
    report(log, node, "the air of a house is a volume from 10 m³ to 100000 m³, as in 4500 m³");
    return;
  }
  house.volume = &node;
  house.volume_m3 = cubic_metres;
}

/// From a bare shed to a cellar (common practice); beyond that a unit is wrong.
void read_time_constant(HouseDraft& house, const YamlNode& node, IssueLog& log) {
  const auto constant = read_duration(node, Sign::any, log);
  if (!constant) return;
  if (*constant < std::chrono::minutes(5) || *constant > std::chrono::hours(48)) {
    report(log, node, "the time constant of a house is from 5 min to 48 h, as in 3 h");
    return;
  }
  house.time_constant_node = &node;
  house.time_constant = constant;
}

void read_outside(HouseDraft& house, const YamlNode& node, IssueLog& log) {
  const auto quantity = read_quantity(node, log);
  if (!quantity) return;
  const double celsius = quantity->canonical();
  if (!quantity->unit.point || celsius < -50 || celsius > 50) {
    report(log, node, "outside is a temperature from -50 °C to 50 °C, as in -5 °C");
    return;
  }
  house.outside_c = celsius;
}

void read_houses(FarmDraft& draft, const YamlNode& node, IssueLog& log) {
  const YamlNode* map = read_map(node, "houses", log);
  if (map == nullptr) return;
  if (map->entries.empty()) report(log, node, "a farm needs at least one house");
  for (const YamlNode::Entry& entry : map->entries) {
    HouseDraft house;
    house.key = &entry.key;
    const auto name = read_name(entry.key, log);
    const auto fields = read_fields(entry.value, house_keys(), log);
    if (fields && fields->has("about")) (void)read_text(*fields->value("about"), log);
    if (fields && fields->has("probes")) read_probes(house, *fields->value("probes"), log);
    if (fields && fields->has("volume")) read_volume(house, *fields->value("volume"), log);
    if (fields && fields->has("time_constant")) read_time_constant(house, *fields->value("time_constant"), log);
    if (fields && fields->has("outside")) read_outside(house, *fields->value("outside"), log);
    if (!name) continue;
    house.name = *name;
    draft.houses.push_back(std::move(house));
  }
}

void read_plugin(Farm& farm, const YamlNode::Entry& entry, IssueLog& log) {
  const std::vector<std::string>& bundled_names = bundled_plugins();
  PluginEntry plugin;
  const auto name = read_name(entry.key, log);
  const auto fields = read_fields(entry.value, plugin_keys(), log);
  if (!name || !fields) return;
  plugin.name = *name;
  if (const YamlNode* node = fields->value("run")) {
    plugin.run = read_text(*node, log).value_or("");
    const bool bundled =
        std::find(bundled_names.begin(), bundled_names.end(), plugin.run) != bundled_names.end();
    if (!plugin.run.empty() && !bundled && plugin.run.find('/') == std::string::npos) {
      const std::string text = fmt::format("no plugin named '{}' comes with Underwing", plugin.run);
      const std::string near = with_nearest(text, plugin.run, bundled_names);
      report(log, *node, near != text ? near : text + "; a program of your own is written with its path");
    }
  }
  if (const YamlNode* node = fields->value("carries")) plugin.carries = read_ways(*node, log);
  if (const YamlNode* node = fields->value("arguments")) {
    for (const YamlNode* item : one_or_list(*node)) {
      if (auto text = read_text(*item, log)) plugin.arguments.push_back(*text);
    }
  }
  plugin.settings_json = "{}";
  if (const YamlNode* node = fields->value("settings")) {
    if (read_map(*node, "settings", log) != nullptr) plugin.settings_json = settings_as_json(*node);
  }
  farm.plugins.push_back(std::move(plugin));
}

void read_zone(Farm& farm, const YamlNode& node, const ZoneSource& zones, IssueLog& log) {
  const auto name = read_text(node, log);
  if (!name) return;
  if (auto zone = zones(*name)) {
    farm.zone = *zone;
    return;
  }
  report(log, node, fmt::format("no time zone named '{}'; write a name such as Europe/London", *name));
}

void read_altitude(Farm& farm, const YamlNode& node, IssueLog& log) {
  const auto quantity = read_quantity(node, log);
  if (!quantity) return;
  const double metres = quantity->canonical();
  if (quantity->unit.dimension != parse_unit("m")->dimension || metres < -430 || metres > 5000) {
    report(log, node, "the altitude of a farm is a length from -430 m to 5000 m, as in 120 m");
    return;
  }
  farm.altitude_m = metres;
}

/// The farm's language, and all that are named, with their places.
void read_languages(FarmDraft& draft, const Fields& fields, IssueLog& log) {
  const auto note = [&](const YamlNode& node) {
    IssueLog said_before;
    if (const auto name = read_name(node, said_before)) draft.languages.push_back({*name, &node});
  };
  if (const YamlNode* node = fields.value("language")) {
    draft.farm.language = read_name(*node, log).value_or(draft.farm.language);
    note(*node);
  }
  const YamlNode* people = fields.value("people");
  if (people == nullptr || !people->is_map()) return;
  for (const YamlNode::Entry& person : people->entries) {
    if (const YamlNode::Entry* language = person.value.find("language")) note(language->value);
  }
}

}  // namespace

FarmDraft read_farm(const YamlNode& root, const ZoneSource& zones, IssueLog& log) {
  FarmDraft draft;
  draft.root = &root;
  draft.farm.zone.name.clear();  // Not known until it is read.
  const auto fields = read_fields(root, farm_keys(), log);
  if (!fields) return draft;
  check_format(*fields, log);
  Farm& farm = draft.farm;
  if (const YamlNode* node = fields->value("farm")) farm.name = read_text(*node, log).value_or("");
  if (const YamlNode* node = fields->value("time_zone")) read_zone(farm, *node, zones, log);
  if (const YamlNode* node = fields->value("houses")) read_houses(draft, *node, log);
  if (const YamlNode* node = fields->value("plugins")) {
    if (const YamlNode* map = read_map(*node, "plugins", log)) {
      for (const YamlNode::Entry& entry : map->entries) read_plugin(farm, entry, log);
    }
  }
  if (const YamlNode* node = fields->value("units")) {
    if (read_one_of(*node, {"metric", "us"}, log) == 1u) farm.units = Units::us;
  }
  if (const YamlNode* node = fields->value("altitude")) read_altitude(farm, *node, log);
  if (const YamlNode* node = fields->value("evening_check"))
    farm.evening_check = read_time_of_day(*node, log);
  if (const YamlNode* node = fields->value("packs")) {
    for (const YamlNode* item : one_or_list(*node)) {
      if (auto name = read_name(*item, log)) {
        draft.packs.push_back({*name, item});
        farm.packs.push_back(*name);
      }
    }
  }
  read_people(farm, *fields, log);
  read_languages(draft, *fields, log);
  read_proof(farm, *fields, log);
  return draft;
}

}  // namespace underwing
