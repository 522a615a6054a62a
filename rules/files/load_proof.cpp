#include "rules/files/load_proof.hpp"

#include <fmt/format.h>

#include <algorithm>

namespace underwing {
namespace {

using namespace std::chrono_literals;

constexpr Duration kBeatShortest = 10s, kBeatLongest = 10min;
constexpr Duration kNightBegins = 22h, kNightEnds = 5h;

const PluginEntry* find_plugin(const Farm& farm, const std::string& name) {
  const auto found = std::find_if(farm.plugins.begin(), farm.plugins.end(), [&](const PluginEntry& it) { return it.name == name; });
  return found == farm.plugins.end() ? nullptr : &*found;
}

/// The plugin that a heartbeat goes over; null (reported) where the farm has none of that name, or it carries none.
const PluginEntry* read_carrier(const Farm& farm, const YamlNode& node, IssueLog& log) {
  const auto name = read_name(node, log);
  if (!name) return nullptr;
  const PluginEntry* plugin = find_plugin(farm, *name);
  if (plugin == nullptr) {
    std::vector<std::string> names;
    for (const PluginEntry& entry : farm.plugins) names.push_back(entry.name);
    report(log, node, with_nearest(fmt::format("no plugin named '{}' stands in plugins", *name), *name, names));
    return nullptr;
  }
  const bool carries = plugin->run == "mqtt" || plugin->run == "web-hook" || plugin->run.find('/') != std::string::npos;
  if (carries) return plugin;
  report(log, node, fmt::format("'{}' runs {}, which carries no heartbeat; mqtt and web-hook do, and a program of your own can", *name, plugin->run));
  return nullptr;
}

std::string wrong_place(const PluginEntry& plugin, const std::string& to) {
  if (plugin.run == "mqtt") return to.find_first_of("+#") == std::string::npos ? "" : "a heartbeat goes to one topic, without + and #";
  const bool address = to.starts_with("http://") || to.starts_with("https://");
  return plugin.run != "web-hook" || address ? "" : "the address of a web hook begins with http:// or https://";
}

void read_heartbeat(Farm& farm, const YamlNode& node, IssueLog& log) {
  const auto fields = read_fields(node, heartbeat_keys(), log);
  if (!fields || !fields->has("over") || !fields->has("to")) return;
  const PluginEntry* plugin = read_carrier(farm, *fields->value("over"), log);
  const auto to = read_text(*fields->value("to"), log);
  Heartbeat heartbeat;
  if (const YamlNode* every = fields->value("every")) {
    heartbeat.every = read_duration(*every, Sign::positive, log).value_or(heartbeat.every);
    if (heartbeat.every < kBeatShortest || heartbeat.every > kBeatLongest) {
      report(log, *every, fmt::format("a heartbeat comes every {} to {}", to_words(kBeatShortest), to_words(kBeatLongest)));
    }
  }
  if (plugin == nullptr || !to) return;
  if (const std::string wrong = wrong_place(*plugin, *to); !wrong.empty()) report(log, *fields->value("to"), wrong);
  heartbeat.over = plugin->name;
  heartbeat.to = *to;
  farm.heartbeat = heartbeat;
}

void read_weekly(Farm& farm, const YamlNode& node, IssueLog& log) {
  const auto fields = read_fields(node, weekly_drill_keys(), log);
  if (!fields || !fields->has("days") || !fields->has("at")) return;
  const auto days = read_days(*fields->value("days"), log);
  const auto at = read_time_of_day(*fields->value("at"), log);
  if (days && at) farm.drills.weekly = DrillPlan::Weekly{*days, *at};
}

void read_drills(Farm& farm, const YamlNode& node, IssueLog& log) {
  const auto fields = read_fields(node, drill_keys(), log);
  if (!fields) return;
  if (const YamlNode* weekly = fields->value("weekly")) read_weekly(farm, *weekly, log);
  if (const YamlNode* night = fields->value("night")) {
    farm.drills.night = read_time_of_day(*night, log);
    if (farm.drills.night && *farm.drills.night < kNightBegins && *farm.drills.night > kNightEnds) {
      report(log, *night, "a night drill proves that a phone wakes its owner, so it begins between 22:00 and 05:00");
    }
  }
  if (const YamlNode* before = fields->value("before_placement")) farm.drills.before_placement = read_time_of_day(*before, log);
}

}  // namespace

void read_proof(Farm& farm, const Fields& fields, IssueLog& log) {
  if (const YamlNode* node = fields.value("heartbeat")) read_heartbeat(farm, *node, log);
  if (const YamlNode* node = fields.value("drills")) read_drills(farm, *node, log);
}

}  // namespace underwing
