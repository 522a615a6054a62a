// Watch: the paths by which people are reached, each a plugin that carries messages. Idea of EN 50136: a path that is silent
// is not healthy; what counts is its last success.
#include <fmt/format.h>

#include <algorithm>
#include <utility>

#include "daemon/duty.hpp"
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

// The summary in the morning and the evening text prove a path that they take; one that nothing else takes is tested daily. These times are ours.
constexpr Duration kTestBefore = 10min;    // the evening check
constexpr Duration kTestAfter = 20h;       // without a success
constexpr Duration kTestAloneAfter = 4h;

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
      status.tested = path->second.tested.has_value();
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

/// Whether others that carry the same way are down, all of them.
bool Watch::stands_alone(const PluginEntry& plugin) const {
  const std::vector<Way> mine = ways_of(plugin);
  bool others = false;
  for (const PluginEntry& other : rules_->farm.plugins) {
    const std::vector<Way> ways = ways_of(other);
    if (other.name == plugin.name || std::find_first_of(ways.begin(), ways.end(), mine.begin(), mine.end()) == ways.end()) continue;
    const auto found = plugins_.find(other.name);
    // While the daemon starts nothing is known yet of some.
    if (found == plugins_.end() || found->second.up || now_ - found->second.since < kChannelDownAfter) return false;
    others = true;
  }
  return others;
}

/// A marked message to whoever has duty over each path that nothing has proven for long: before the evening check, and
/// more often, in waking hours, over one that is the only one left.
void Watch::test_paths() {
  if (evening_due_ == kNever) return;
  const bool before_check = evening_due_ - now_ <= kTestBefore;
  const bool waking = within_plan_hours(Priority::soon, now_) == now_;
  for (const PluginEntry& entry : rules_->farm.plugins) {
    const auto plugin = plugins_.find(entry.name);
    if (plugin == plugins_.end() || !plugin->second.up) continue;
    const bool alone = waking && stands_alone(entry);
    if (!before_check && !alone) continue;
    Path& path = paths_[entry.name];
    const auto last = std::max({path.sent, path.proven, path.tested});
    if (last && now_ - *last < (alone ? kTestAloneAfter : kTestAfter)) continue;
    send_test(entry);
  }
}

/// To the first who has duty and can be reached so. A way that rings is taken only where there is no other.
void Watch::send_test(const PluginEntry& plugin) {
  std::vector<Way> ways = ways_of(plugin);
  std::stable_partition(ways.begin(), ways.end(), [](Way way) { return way != Way::call; });
  for (const Way way : ways) {
    for (const std::string& who : people_of(rules_->farm, {"on-duty"}, wall(), swaps_)) {
      if (!find_person(rules_->farm, who)->addresses.contains(way)) continue;
      paths_[plugin.name].tested = now_;
      Mail::Waiting message;
      message.text = say(language_of(who), "path_test", {{"path", plugin.name}});
      return send({who, way}, {message}, plugin.name);
    }
  }
}

}  // namespace underwing
