// Service: commands from the control socket.
#include <fmt/format.h>

#include <algorithm>

#include "daemon/changes.hpp"
#include "daemon/duty.hpp"
#include "daemon/house_view.hpp"
#include "daemon/json_text.hpp"
#include "daemon/service_impl.hpp"
#include "daemon/watch_explain.hpp"
#include "daemon/words.hpp"
#include "daemon/zone_files.hpp"
#include "rules/explain/words.hpp"

namespace underwing {

namespace {

using nlohmann::json;

constexpr std::size_t kStrangersShown = 20;

json number(double canonical, const Unit& unit) { return known(canonical) ? json(unit.from_canonical(canonical)) : json(); }

Result<json> said(const Watch::Answered& answered) {
  if (!answered.done) return Failure{answered.text};
  return json{{"text", answered.text}};
}

/// Why the rules of that name are or are not watching, one entry for each house, flock and probe.
Result<json> explain(Watch& watch, const std::string& name) {
  const RuleSet& rules = watch.rules();
  json all = json::array();
  std::vector<std::string> names;
  for (std::size_t i = 0; i < rules.rules.size(); ++i) {
    names.push_back(rules.rules[i].name);
    if (rules.rules[i].name == name) all.push_back(explain_now(watch, i));
  }
  if (!all.empty()) return json{{"rules", rules.hash}, {"now", std::move(all)}};
  return Failure{fmt::format("the watch has no rule named '{}' in force{}", name, suggested_rules(name, names))};
}

}  // namespace

json Service::Impl::alarm_json(const Alarm& alarm) const {
  const auto find_unit = [&]() -> Unit {
    for (const WatchedRule& rule : rules->rules) {
      if (rule.name == alarm.rule && rules->houses[rule.house].name == alarm.house) return rule.unit;
    }
    return {};
  };
  const Unit unit = find_unit();
  static constexpr const char* kSubjects[] = {"condition", "blindness", "trouble"};
  json out = {{"code", alarm.code}, {"subject", kSubjects[static_cast<int>(alarm.subject)]}, {"house", alarm.house},
              {"rule", alarm.rule}, {"probe", alarm.probe.empty() ? json() : json(alarm.probe)},
              {"state", to_string(alarm.life.state())}, {"priority", to_string(alarm.priority)}, {"since", to_rfc3339(alarm.raised)},
              {"returned", alarm.returned ? json(to_rfc3339(*alarm.returned)) : json()},
              {"reason", alarm.reason == Reason::none ? json() : json(to_string(alarm.reason))},
              {"value", alarm.value ? number(*alarm.value, unit) : json()}, {"limit", alarm.limit ? number(*alarm.limit, unit) : json()},
              {"unit", unit.text}, {"text", alarm.detail}, {"told", alarm.told},
              {"answered_by", alarm.acknowledged_by.empty() ? json() : json(alarm.acknowledged_by)}};
  out["since_local"] = story->stamp(alarm.raised);
  if (alarm.returned) out["returned_local"] = story->stamp(*alarm.returned);
  if (!alarm.members.empty()) out["rules"] = alarm.members;
  if (rules->farm.units != Units::metric) out["units"] = to_string(rules->farm.units);
  return out;
}

json Service::Impl::list_alarms() {
  json list = json::array();
  for (const auto& [id, alarm] : watch->alarms()) list.push_back(alarm_json(alarm));
  return list;
}

json Service::Impl::status() {
  json houses = json::array();
  for (std::size_t house = 0; house < rules->houses.size(); ++house) {
    json entry = {{"house", rules->houses[house].name}};
    const auto index = rules->flock_in(house, watch->wall());
    if (index) {
      const Flock& flock = rules->flocks[*index];
      entry["flock"] = flock.name;
      entry["day"] = day_of(flock, rules->farm.zone, watch->wall());
      entry["age_h"] = hours_of(watch->wall() - flock.placed);
      entry["birds_placed"] = flock.birds;
    }
    json probes = json::array();
    for (const auto& [measure, indices] : rules->houses[house].probes) {
      for (const std::size_t probe : indices) {
        const Series& series = watch->engine().series(probe);
        json line = {{"probe", rules->measures[measure].name + "/" + rules->probes[probe].name},
                     {"unit", rules->probes[probe].quality.unit.text}, {"usable", series.usable(watch->now())},
                     {"state", rules->probes[probe].quality.kind == MeasureKind::state}};
        const MeasureKind kind = rules->measures[measure].kind;
        if (kind == MeasureKind::round || kind == MeasureKind::tally) line["entered"] = true;
        if (const auto age = rules->waits_for(probe, watch->wall())) line["waits"] = not_counted_until(rules->flocks[*index], rules->farm.zone, *age);
        if (series.ever_good()) {
          line["value"] = series.last_value();
          line["time"] = to_rfc3339(series.last_good());
        }
        probes.push_back(std::move(line));
      }
    }
    entry["probes"] = std::move(probes);
    json watched = json::array();
    for (std::size_t i = 0; i < rules->rules.size(); ++i) {
      const WatchedRule& rule = rules->rules[i];
      if (rule.house != house) continue;
      const RuleState& state = watch->engine().state(i);
      const Sight sight = watch->engine().look(i);
      json limits = json::array();
      for (std::size_t k = 0; k < rule.limits.size(); ++k) {
        if (rule.limits[k].side == Limit::Side::when) continue;
        limits.push_back({{"side", rule.limits[k].side == Limit::Side::low ? "low" : "high"},
                          {"limit", number(sight.limits[k], rule.limits[k].unit)}});
      }
      watched.push_back({{"rule", rule.name}, {"probe", rule.probe ? json(rules->probes[*rule.probe].name) : json()},
                         {"in_force", state.in_force}, {"blind", state.blind}, {"unknown", state.in_force && state.unknown_since != kNever}, {"standing", state.standing()},
                         {"value", number(sight.value, rule.unit)}, {"unit", rule.unit.text}, {"limits", std::move(limits)}});
    }
    entry["rules"] = std::move(watched);
    json unwatched = json::array();
    for (const Unwatched& rule : rules->unwatched) {
      if (rule.house == house) unwatched.push_back({{"rule", rule.rule}, {"measure", rule.measure}});
    }
    entry["unwatched"] = std::move(unwatched);
    entry["view"] = house_view(*watch, house);
    const Instant work_end = watch->engine().work_until(house);
    if (work_end > watch->now()) entry["work_until_local"] = story->clock(work_end);
    json shelved = json::array();
    for (const auto& [place, shelving] : watch->shelved()) {
      if (place.first != rules->houses[house].name) continue;
      shelved.push_back({{"rule", place.second}, {"until_local", story->clock(shelving.until)}, {"who", shelving.who}, {"why", shelving.why}});
    }
    if (!shelved.empty()) entry["shelved"] = std::move(shelved);
    houses.push_back(std::move(entry));
  }
  json plugin_list = json::array();
  for (const PluginStatus& plugin : plugins->statuses()) {
    const auto ill = health.find(plugin.name);
    plugin_list.push_back({{"plugin", plugin.name}, {"state", to_string(plugin.state)},
                           {"text", ill != health.end() ? ill->second : plugin.text}, {"readings", plugin.readings},
                           {"dropped", plugin.readings_dropped}, {"not_understood", plugin.not_understood},
                           {"not_understood_last", plugin.not_understood_last}});
  }
  const auto stamp_or_null = [&](const std::optional<Instant>& time) { return time ? json(story->stamp(*time + watch->engine().wall_ahead())) : json(); };
  json paths = json::array();
  for (const PathStatus& path : watch->paths()) {
    paths.push_back({{"path", path.name}, {"state", to_string(path.state)}, {"sent", path.sent ? json(to_rfc3339(*path.sent)) : json()},
                     {"proven", path.proven ? json(to_rfc3339(*path.proven)) : json()},
                     {"sent_local", stamp_or_null(path.sent)}, {"proven_local", stamp_or_null(path.proven)}});
  }
  json heartbeat;
  if (const auto beat = watch->heartbeat_status()) {
    heartbeat = {{"over", beat->over}, {"answered", beat->answered}, {"since", to_rfc3339(beat->since)}, {"since_local", story->stamp(beat->since + watch->engine().wall_ahead())}, {"text", beat->text}};
  }
  const Watch::DrillStatus drilled = watch->drill_status();
  const json drills = {{"answered_local", stamp_or_null(drilled.answered)},
                       {"next_local", stamp_or_null(drilled.next == kNever ? std::nullopt : std::optional(drilled.next))},
                       {"not_woken", drilled.not_woken}};
  json strangers = json::array();
  for (const auto& [name, stranger] : intake->strangers()) {
    if (strangers.size() == kStrangersShown) break;
    strangers.push_back({{"name", name}, {"count", stranger.count}, {"text", stranger.text}});
  }
  json answer = {{"farm", rules->farm.name}, {"time", to_rfc3339(watch->now())}, {"time_local", story->stamp(watch->wall())}, {"wall", to_rfc3339(watch->wall())},
          {"clock_trusted", !clock || clock->read().trusted}, {"rules", rules->hash}, {"houses", std::move(houses)},
          {"plugins", std::move(plugin_list)}, {"paths", std::move(paths)}, {"alarms", list_alarms()}, {"heartbeat", std::move(heartbeat)}, {"drills", drills}, {"refused_ahead", refused_ahead},
          {"unknown_names", std::move(strangers)}, {"disk", journal->problem()},
          {"on_duty", on_duty(rules->farm, watch->wall(), watch->swaps()).value_or("nobody")}};
  if (rules->farm.units != Units::metric) answer["units"] = to_string(rules->farm.units);
  return answer;
}

Result<json> Service::Impl::duty(const json& params) const {
  Date from = date_of(rules->farm.zone, watch->wall());
  if (const std::string text = text_of(params, "from"); !text.empty()) {
    const auto date = read_date(text);
    if (!date) return Failure{fmt::format("'{}' is no date such as 2026-03-07", text)};
    from = *date;
  }
  const auto days = params.find("days");
  if (days == params.end() || !days->is_number_integer() || *days < 1 || *days > kDutyDaysMax) {
    return Failure{fmt::format("duty is shown for 1 to {} days", kDutyDaysMax)};
  }
  const Zone& zone = rules->farm.zone;
  const Instant until = begin_of(zone, from + std::chrono::days(days->get<int>()));
  json list = json::array();
  for (const DutyTurn& turn : duty_turns(rules->farm, begin_of(zone, from), until, watch->swaps())) list.push_back(to_json(turn, zone));
  return list;
}

Result<json> Service::Impl::reload(const std::string& who) {
  auto files = read_farm_files(options.farm);
  if (!files.ok()) return Failure{files.error()};
  const Loaded loaded = load_farm(*files, load_zone);
  if (!loaded.ok()) {
    const auto first = std::find_if(loaded.issues.begin(), loaded.issues.end(),
                                    [](const Issue& issue) { return issue.severity == Issue::Severity::error; });
    const std::string text = fmt::format("{}:{}:{}: {}", first->file, first->line, first->column, first->text);
    // A telephone shows the place; the sentence is for whoever sits before the file.
    const auto plain = [](const std::filesystem::path& path) { return path.lexically_normal(); };
    const std::string in_farm = plain(first->file).lexically_relative(plain(options.farm)).string();
    const std::string place = fmt::format("{}:{}", in_farm.empty() || in_farm.starts_with("..") ? first->file : in_farm, first->line);
    watch->trouble("rules-refused", true, "the old ones stay in force; mistake at " + place);
    return Failure{text + "; the old rules stay in force ('underwing check' shows all)"};
  }
  const std::shared_ptr<const RuleSet> older = rules;
  if (loaded.rules->hash == older->hash) {
    watch->trouble("rules-refused", false, "");
    return json{{"text", "Nothing has changed."}};
  }
  flush_minutes(kNever);
  recorder->mark_time();
  rules = loaded.rules;
  watch->reload(rules);
  watch->trouble("rules-refused", false, "");
  intake = std::make_unique<Intake>(*rules);
  story->use(*rules);
  minutes.assign(rules->probes.size(), Minute());
  tape->set_rules(rules->hash, watch->now());
  const auto same = [](const PluginEntry& a, const PluginEntry& b) {
    return a.run == b.run && a.arguments == b.arguments && a.settings_json == b.settings_json;
  };
  const auto entry_of = [](const RuleSet& set, const std::string& name) {
    return std::find_if(set.farm.plugins.begin(), set.farm.plugins.end(), [&](const PluginEntry& p) { return p.name == name; });
  };
  for (const PluginEntry& entry : older->farm.plugins) {
    if (entry_of(*rules, entry.name) == rules->farm.plugins.end()) plugins->stop(entry.name);
  }
  for (const PluginEntry& entry : rules->farm.plugins) {
    const auto before = entry_of(*older, entry.name);
    if (before == older->farm.plugins.end() || !same(*before, entry)) {
      plugins->start({entry.name, entry.run, entry.arguments, entry.settings_json});
    }
  }
  std::vector<std::string> changes = describe_changes(*older, *rules, watch->wall());
  for (const Issue& issue : loaded.issues) {
    if (issue.severity == Issue::Severity::danger)
      changes.push_back(fmt::format("DANGER: {}:{}:{}: {}", issue.file, issue.line, issue.column, issue.text));
  }
  Effect effect;
  effect.kind = Effect::Kind::event;
  effect.time = watch->now();
  effect.json = json({{"time", to_rfc3339(watch->now())}, {"event", "reloaded"}, {"who", who}, {"rules", rules->hash}, {"changes", changes}}).dump();
  watch->note(std::move(effect));
  return json{{"text", fmt::format("New rules are in force: {} in {}.", counted(rules->rules.size(), "rule"), counted(rules->houses.size(), "house"))},
              {"changes", changes}};
}

Result<json> Service::Impl::command(const std::string& method, const json& params) {
  if (!params.is_object()) return Failure{"a command's parameters are an object"};
  if (options.time_from_readings && !opened) return Failure{"the watch begins with the first reading, and none has come yet"};
  if (method == "status") return status();
  if (method == "alarms") return list_alarms();
  if (method == "explain") return explain(*watch, text_of(params, "rule"));
  if (method == "reload") return reload(text_of(params, "who"));
  if (method == "acknowledge") {
    std::string who = text_of(params, "who");
    if (who.empty()) return Failure{"say who answers"};
    const Watch::Answered answered = watch->acknowledge(text_of(params, "code"), who);
    return said(answered);
  }
  if (method == "shelve") {
    const auto minutes_wanted = params.find("minutes");
    const auto even = params.find("even_urgent");
    const double span_min = minutes_wanted != params.end() && minutes_wanted->is_number() ? minutes_wanted->get<double>() : 0;
    const bool even_urgent = even != params.end() && even->is_boolean() && even->get<bool>();
    const Watch::Answered answered =
        watch->shelve(text_of(params, "house"), text_of(params, "rule"), Duration(static_cast<std::int64_t>(span_min * 60'000.0)),
                      text_of(params, "why"), text_of(params, "who"), even_urgent ? Watch::EvenUrgent::yes : Watch::EvenUrgent::no);
    return said(answered);
  }
  if (method == "reset") {
    const Watch::Answered answered = watch->reset(text_of(params, "code"), text_of(params, "who"));
    return said(answered);
  }
  if (method == "work") {
    const std::string name = text_of(params, "house");
    const auto house = rules->find_house(name);
    const auto minutes_wanted = params.find("minutes");
    if (!house) return Failure{fmt::format("the farm has no house '{}'", name)};
    if (minutes_wanted == params.end() || !minutes_wanted->is_number() || minutes_wanted->get<double>() < 0) return Failure{"say for how many minutes"};
    const Duration span(static_cast<std::int64_t>(minutes_wanted->get<double>() * 60'000.0));
    return said(watch->work_by(*house, span, text_of(params, "who")));
  }
  if (method == "drill") return said(watch->drill(text_of(params, "person"), text_of(params, "path")));
  if (method == "record") {
    const auto house = rules->find_house(text_of(params, "house"));
    if (!house) return Failure{fmt::format("the farm has no house '{}'", text_of(params, "house"))};
    const auto measure = rules->find_measure(text_of(params, "measure"));
    if (!measure) return Failure{fmt::format("there is no measure '{}'", text_of(params, "measure"))};
    const auto value = params.find("value");
    if (value == params.end() || !value->is_number()) return Failure{"say the value as a number"};
    Watch::Answered answered = watch->enter(*house, *measure, value->get<double>(), text_of(params, "who"));
    const Unit& unit = rules->measures[*measure].unit;
    const Unit shown = shown_in(unit, rules->farm.units);
    if (shown.text != unit.text && (answered.done || rules->houses[*house].probes.contains(*measure))) {
      // The command takes the measure's own unit, texts that which people are shown: say which it was.
      const double number = value->get<double>();
      const auto equal = convert(number, unit, shown);
      const std::string taken = fmt::format("{:g} {}", number, unit.text) + (equal ? fmt::format(" ({:g} {})", *equal, shown.text) : "");
      answered.text = answered.done ? fmt::format("{} {} {} is written.", rules->houses[*house].name, rules->measures[*measure].name, taken)
                                    : answered.text + " Taken as " + taken + ".";
    }
    return said(answered);
  }
  if (method == "duty") return duty(params);
  if (method == "swap") {
    const auto date = read_date(text_of(params, "on"));
    if (!date) return Failure{fmt::format("'{}' is no date such as 2026-03-07", text_of(params, "on"))};
    return said(watch->swap_duty(text_of(params, "one"), text_of(params, "other"), *date, text_of(params, "who")));
  }
  return Failure{fmt::format("there is no command '{}'", method)};
}

}  // namespace underwing
