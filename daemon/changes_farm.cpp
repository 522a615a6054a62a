// describe_changes: what differs between two farm files: people, duty, call-out, houses, plugins and the rest.
#include "daemon/changes_impl.hpp"
#include "rules/explain/words.hpp"

namespace underwing {

namespace {

std::string days_in_words(std::uint8_t days) {
  if (days == 0x7f) return "every day";
  std::vector<std::string_view> names;
  for (std::size_t i = 0; i < kWeekdays.size(); ++i) {
    if (days >> i & 1) names.push_back(kWeekdays[i]);
  }
  return fmt::format("{}", fmt::join(names, " "));
}

std::string hours_in_words(const std::optional<std::pair<Duration, Duration>>& hours) {
  return hours ? clock_of(hours->first) + "-" + clock_of(hours->second) : "all day";
}

std::string shift_in_words(const DutyShift& shift) {
  return fmt::format("{}, {}, {}", shift.who, days_in_words(shift.days),
                     shift.all_day ? "all day" : clock_of(shift.from) + "-" + clock_of(shift.to));
}

std::string step_in_words(const CallStep& step) {
  std::vector<std::string> ways;
  for (const Way way : step.by) ways.emplace_back(to_string(way));
  return fmt::format("{} by {} after {}{}", join_words(step.tell), join_words(ways), to_words(step.after),
                     step.then_every ? ", then every " + to_words(*step.then_every) : "");
}

std::string times_off(const Person& person) {
  std::vector<std::string> spans;
  for (const auto& [first, last] : person.off) {
    const auto date = [](std::chrono::sys_days day) { return to_rfc3339(Instant(day)).substr(0, 10); };
    spans.push_back(first == last ? date(first) : date(first) + " to " + date(last));
  }
  return list_or_none(spans);
}

void compare_person(Changes& changes, const Person& a, const Person& b) {
  const auto differs = [&](const std::string& what, const std::string& was, const std::string& is) {
    add_if_other(changes, "", b.name + ": " + what, was, is, Priority::urgent);
  };
  for (const Way way : {Way::text, Way::call, Way::mail, Way::web_hook}) {
    const auto address = [&](const Person& person) {
      const auto found = person.addresses.find(way);
      return found == person.addresses.end() ? std::string("none") : found->second;
    };
    differs(to_string(way), address(a), address(b));
  }
  differs("away", or_none(a.away), or_none(b.away));
  differs("off", times_off(a), times_off(b));
  differs("language", a.language.empty() ? "the farm's" : a.language, b.language.empty() ? "the farm's" : b.language);
}

void compare_duty(Changes& changes, const Farm& older, const Farm& newer) {
  std::vector<std::string> before, after;
  for (const DutyShift& shift : older.duty) before.push_back(shift_in_words(shift));
  for (const DutyShift& shift : newer.duty) after.push_back(shift_in_words(shift));
  if (before == after) return;
  const auto only_in = [&](const std::vector<std::string>& one, const std::vector<std::string>& other, const char* what) {
    bool any = false;
    for (const std::string& line : one) {
      if (std::find(other.begin(), other.end(), line) != other.end()) continue;
      changes.push_back({"", fmt::format("duty: {} {}", what, line), Priority::urgent});
      any = true;
    }
    return any;
  };
  const bool gone = only_in(before, after, "no longer"), came = only_in(after, before, "now");
  if (!gone && !came) changes.push_back({"", "duty: the same lines in another order", Priority::urgent});
}

void compare_call_out(Changes& changes, Priority priority, const CallPlan& a, const CallPlan& b) {
  const std::string head = fmt::format("call_out: {}: ", to_string(priority));
  add_if_other(changes, "", head + "hours", hours_in_words(a.hours), hours_in_words(b.hours), priority);
  add_if_other(changes, "", head + "daily", or_none(a.daily, clock_of), or_none(b.daily, clock_of), priority);
  for (std::size_t i = 0; i < std::max(a.steps.size(), b.steps.size()); ++i) {
    const auto step = [i](const CallPlan& plan) { return i < plan.steps.size() ? step_in_words(plan.steps[i]) : std::string("none"); };
    add_if_other(changes, "", fmt::format("{}step {}", head, i + 1), step(a), step(b), priority);
  }
}

std::string heartbeat_of(const Farm& farm) {
  return farm.heartbeat ? fmt::format("over {} to {} every {}", farm.heartbeat->over, farm.heartbeat->to, to_words(farm.heartbeat->every)) : "none";
}

std::string weekly_of(const DrillPlan& plan) {
  return plan.weekly ? fmt::format("{} {}", days_in_words(plan.weekly->days), clock_of(plan.weekly->at)) : "none";
}

void compare_facts(Changes& changes, const Farm& a, const Farm& b) {
  const auto differs = [&](const char* what, const std::string& was, const std::string& is) { add_if_other(changes, "", what, was, is); };
  differs("farm", a.name, b.name);
  differs("time_zone", a.zone.name, b.zone.name);
  differs("language", a.language, b.language);
  differs("units", to_string(a.units), to_string(b.units));
  differs("altitude", fmt::format("{:g} m", a.altitude_m), fmt::format("{:g} m", b.altitude_m));
  differs("evening_check", or_none(a.evening_check, clock_of), or_none(b.evening_check, clock_of));
  differs("heartbeat", heartbeat_of(a), heartbeat_of(b));
  differs("drills: weekly", weekly_of(a.drills), weekly_of(b.drills));
  differs("drills: night", or_none(a.drills.night, clock_of), or_none(b.drills.night, clock_of));
  differs("drills: before_placement", or_none(a.drills.before_placement, clock_of), or_none(b.drills.before_placement, clock_of));
  differs("packs", list_or_none(a.packs), list_or_none(b.packs));
}

void compare_plugins(Changes& changes, const Farm& older, const Farm& newer) {
  for (const PluginEntry& entry : older.plugins) {
    if (named(newer.plugins, entry.name) == nullptr) changes.push_back({"", fmt::format("plugin {}: no longer run", entry.name)});
  }
  for (const PluginEntry& entry : newer.plugins) {
    const PluginEntry* before = named(older.plugins, entry.name);
    if (before == nullptr) changes.push_back({"", fmt::format("plugin {}: newly run", entry.name)});
    else if (before->run != entry.run || before->arguments != entry.arguments) changes.push_back({"", fmt::format("plugin {}: another program or other arguments", entry.name)});
    else if (before->settings_json != entry.settings_json) changes.push_back({"", fmt::format("plugin {}: other settings", entry.name)});
    else if (before->carries != entry.carries) changes.push_back({"", fmt::format("plugin {}: carries other ways", entry.name)});
  }
}

void compare_houses(Changes& changes, const RuleSet& older, const RuleSet& newer) {
  for (const House& house : older.houses) {
    if (named(newer.houses, house.name) == nullptr) changes.push_back({house.name, "no longer watched", Priority::urgent});
  }
  for (const House& house : newer.houses) {
    const House* before = named(older.houses, house.name);
    if (before == nullptr) {
      changes.push_back({house.name, "a new house", Priority::urgent});
      continue;
    }
    const auto number = [](const std::optional<double>& value, const char* unit) { return value ? fmt::format("{:g} {}", *value, unit) : "none"; };
    add_if_other(changes, house.name, "volume", number(before->volume_m3, "m³"), number(house.volume_m3, "m³"));
    add_if_other(changes, house.name, "time_constant", or_none(before->time_constant), or_none(house.time_constant));
    const auto outside = [&](const House& it) { return it.outside_c ? with_unit(*it.outside_c, shown_in("°C", newer.farm.units)) : "none"; };
    add_if_other(changes, house.name, "outside", outside(*before), outside(house));
  }
}

/// How readings of a probe are judged.
void compare_quality(Changes& changes, const std::string& where, const Measure& a, const Measure& b, Units units) {
  const auto differs = [&](const char* what, const std::string& was, const std::string& is) { add_if_other(changes, where, b.name + ": " + what, was, is); };
  const Unit unit = shown_in(b.unit, units), apart = shown_in(b.unit.of_difference(), units);
  const auto range = [&](const Measure& it) {
    return fmt::format("{} to {}", with_unit(it.unit.to_canonical(it.plausible_low), unit), with_unit(it.unit.to_canonical(it.plausible_high), unit));
  };
  const auto difference = [&](const std::optional<double>& value) { return value ? with_unit(b.unit.of_difference().to_canonical(*value), apart) : "none"; };
  const auto rate = [&](const std::optional<double>& value) { return value ? difference(value) + " a minute" : "none"; };
  differs("plausible", range(a), range(b));
  differs("stale_after", to_words(a.stale_after), to_words(b.stale_after));
  differs("max_rate", rate(a.max_rate_per_min), rate(b.max_rate_per_min));
  differs("flat_after", or_none(a.flat_after), or_none(b.flat_after));
  differs("max_apart", difference(a.max_apart), difference(b.max_apart));
}

void compare_probes(Changes& changes, const RuleSet& older, const RuleSet& newer) {
  const auto say = [&](const RuleSet& set, std::size_t probe, const char* what) {
    changes.push_back({set.houses[set.probes[probe].house].name, fmt::format("{}/{}: {}", set.measures[set.probes[probe].measure].name, set.probes[probe].name, what), Priority::soon});
  };
  for (std::size_t i = 0; i < older.probes.size(); ++i) {
    if (named(newer.houses, older.houses[older.probes[i].house].name) != nullptr && !newer.find_probe(older.full_name(i))) say(older, i, "no longer expected to report");
  }
  for (std::size_t i = 0; i < newer.probes.size(); ++i) {
    const auto before = older.find_probe(newer.full_name(i));
    const std::string& house = newer.houses[newer.probes[i].house].name;
    if (before) compare_quality(changes, house, older.probes[*before].quality, newer.probes[i].quality, newer.farm.units);
    else if (named(older.houses, house) != nullptr) say(newer, i, "newly expected to report");
  }
}

}  // namespace

Changes people_changes(const RuleSet& older, const RuleSet& newer) {
  Changes changes;
  for (const Person& person : older.farm.people) {
    if (named(newer.farm.people, person.name) == nullptr) changes.push_back({"", person.name + ": no longer told", Priority::urgent});
  }
  for (const Person& person : newer.farm.people) {
    if (const Person* before = named(older.farm.people, person.name)) compare_person(changes, *before, person);
    else changes.push_back({"", person.name + ": newly told", Priority::urgent});
  }
  compare_duty(changes, older.farm, newer.farm);
  for (const Priority priority : {Priority::urgent, Priority::soon, Priority::note}) {
    const auto plan = [priority](const Farm& farm) {
      const auto found = farm.call_out.find(priority);
      return found == farm.call_out.end() ? CallPlan{} : found->second;
    };
    compare_call_out(changes, priority, plan(older.farm), plan(newer.farm));
  }
  return changes;
}

Changes farm_changes(const RuleSet& older, const RuleSet& newer) {
  Changes changes;
  compare_houses(changes, older, newer);
  compare_probes(changes, older, newer);
  compare_plugins(changes, older.farm, newer.farm);
  compare_facts(changes, older.farm, newer.farm);
  return changes;
}

}  // namespace underwing
