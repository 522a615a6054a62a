// Watch: the paths by which people are reached, each a plugin that carries messages. Idea of EN 50136: a path that is silent
// is not healthy; what counts is its last success.
#include <fmt/format.h>

#include <algorithm>
#include <utility>

#include "daemon/watch.hpp"
#include "daemon/ways.hpp"
#include "daemon/words.hpp"
#include "rules/languages/texts.hpp"

namespace underwing {

namespace {

using namespace std::chrono_literals;

constexpr unsigned kFailuresTold = 3;     // in a row: the path is said to be down, whatever its plugin thinks
constexpr Duration kChannelDownAfter = 2min;
constexpr Duration kPluginSilentAfter = 10min;  // blind rules speak sooner, and name the plugin

}  // namespace

const char* to_string(PathState state) {
  switch (state) {
    case PathState::untested: return "untested";
    case PathState::up: return "up";
    case PathState::suspect: return "suspect";
    case PathState::down: return "down";
  }
  return "";
}

std::vector<PathStatus> Watch::paths() const {
  std::vector<PathStatus> all;
  for (const PluginEntry& entry : rules_->farm.plugins) {
    if (ways_of(entry).empty()) continue;
    PathStatus status;
    status.name = entry.name;
    const auto plugin = plugins_.find(entry.name);
    const auto path = paths_.find(entry.name);
    if (path != paths_.end()) {
      status.sent = path->second.sent;
      status.proven = path->second.proven;
    }
    if (plugin == plugins_.end() || !plugin->second.up) status.state = PathState::down;
    else if (path != paths_.end() && path->second.failures > 0) status.state = PathState::suspect;
    else if (status.sent || status.proven) status.state = PathState::up;
    all.push_back(std::move(status));
  }
  return all;
}

void Watch::note_outcome(const std::string& name, Delivery::Outcome outcome) {
  if (name.empty()) return;
  Path& path = paths_[name];
  if (outcome == Delivery::Outcome::failed) {
    ++path.failures;
    return;
  }
  if (outcome == Delivery::Outcome::sent) path.sent = now_;
  if (outcome == Delivery::Outcome::delivered) path.proven = now_;
  if (std::exchange(path.failures, 0) > 0) try_again();
}

/// A path works again: what stands and reached nobody is told now, once, instead of when its turn comes.
void Watch::try_again() {
  for (auto& [id, alarm] : alarms_) {
    if (alarm.calling.running && alarm.calling.retry != Duration::zero()) {
      alarm.calling.due = std::min(alarm.calling.due, within_plan_hours(alarm.priority, now_));
    }
  }
}

void Watch::plugin(const std::string& name, bool up, const std::string& text) {
  Plugin& plugin = plugins_[name];
  if (plugin.up == up && plugin.since != Instant{}) {
    plugin.text = text;
    return;
  }
  plugin = {up, now_, text};
  if (!up) return;
  paths_[name].failures = 0;  // what failed before it came up says nothing of now
  built_in("", "plugin-silent", name, false, Priority::soon, "");
  built_in("", "path-down", name, false, Priority::soon, "");
  try_again();
}

void Watch::check_plugins() {
  for (const PluginEntry& entry : rules_->farm.plugins) {
    const auto found = plugins_.find(entry.name);
    if (found == plugins_.end()) continue;
    const Plugin& plugin = found->second;
    const bool channel = !ways_of(entry).empty();
    if (!plugin.up) {
      if (now_ - plugin.since < (channel ? kChannelDownAfter : kPluginSilentAfter)) continue;
      built_in("", channel ? "path-down" : "plugin-silent", entry.name, true, Priority::soon, [&](const Language& language) {
        const std::string text = say(language, "down_since", {{"plugin", entry.name}, {"time", clock_time(rules_->farm.zone, plugin.since + engine_->wall_ahead())}});
        return plugin.text.empty() ? text : text + ": " + plugin.text;
      });
      continue;
    }
    const auto path = paths_.find(entry.name);
    if (!channel || path == paths_.end()) continue;
    const unsigned failures = path->second.failures;
    if (failures == 0) built_in("", "path-down", entry.name, false, Priority::soon, "");
    if (failures < kFailuresTold) continue;
    const auto last = std::max(path->second.sent, path->second.proven);
    built_in("", "path-down", entry.name, true, Priority::soon, [&](const Language& language) {
      Slots slots{{"path", entry.name}, {"failures", std::to_string(failures)}};
      if (!last) return say(language, "failed_always", slots);
      slots.emplace_back("time", clock_time(rules_->farm.zone, *last + engine_->wall_ahead()));
      return say(language, "failed_since", slots);
    });
  }
}

}  // namespace underwing
