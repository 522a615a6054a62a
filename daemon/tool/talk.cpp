// The commands that talk to the daemon: status, alarms, acknowledge, work, record, shelve, reset, reload.
#include <fmt/format.h>

#include <algorithm>
#include <filesystem>
#include <functional>
#include <nlohmann/json.hpp>

#include "daemon/journal.hpp"
#include "daemon/json_text.hpp"
#include "daemon/tool/call_daemon.hpp"

namespace underwing::tool {

namespace {

using nlohmann::json;

/// Asks the daemon and shows the answer; JSON as it came, else by `show`.
int ask(const Common& common, const std::string& method, const json& params, const std::function<void(const json&)>& show) {
  json answer;
  const int status = call_daemon(common, method, params, answer);
  if (status != 0) return status;
  if (!common.json) {
    show(answer);
  } else if (answer.is_array()) {
    for (const json& line : answer) fmt::print("{}\n", line.dump());
  } else {
    fmt::print("{}\n", answer.dump());
  }
  return 0;
}

void say_text(const json& answer) {
  fmt::print("{}\n", answer.value("text", ""));
  if (answer.contains("changes")) {
    for (const json& change : answer.at("changes")) fmt::print("  {}\n", change.get<std::string>());
  }
}

std::string value_of(const json& entry, const char* key) {
  const auto found = entry.find(key);
  if (found == entry.end() || !found->is_number()) return "?";
  return fmt::format("{:.1f}", found->get<double>());
}

/// "2026-03-03 02:16 to 02:44", in the farm's zone; the date once where it is the same.
std::string span_of(const json& alarm) {
  const std::string since = text_of(alarm, "since_local");
  std::string returned = text_of(alarm, "returned_local");
  if (returned.empty()) return "since " + since;
  constexpr std::size_t kDate = 11;
  if (returned.substr(0, kDate) == since.substr(0, kDate)) returned.erase(0, kDate);
  return since + " to " + returned;
}

void show_alarms(const json& alarms) {
  if (alarms.empty()) fmt::print("No alarms.\n");
  for (const json& alarm : alarms) {
    const std::string house = text_of(alarm, "house");
    const std::string probe = text_of(alarm, "probe");
    std::string what = text_of(alarm, "rule");
    if (text_of(alarm, "subject") == "blindness") what += " cannot tell";
    if (!text_of(alarm, "text").empty()) what = text_of(alarm, "text");
    std::string value;
    if (alarm.at("value").is_number()) value = " " + value_of(alarm, "value") + " " + text_of(alarm, "unit");
    const std::string by = text_of(alarm, "answered_by");
    fmt::print("{:<5} {:<7} {}{}: {}{}\n      {}, {}{}\n", text_of(alarm, "code"), text_of(alarm, "priority"), house.empty() ? "farm" : house,
               probe.empty() ? "" : " " + probe, what, value, text_of(alarm, "state"), span_of(alarm), by.empty() ? "" : ", answered by " + by);
  }
}

/// All alarms of a journal, also while no daemon runs.
int list_journal(const Common& common, const std::string& state) {
  auto reader = JournalReader::open(std::filesystem::path(state) / "journal.db");
  if (!reader.ok()) {
    fmt::print(stderr, "underwing: {}\n", reader.error());
    return 2;
  }
  const auto rows = reader->alarms_since(Instant{});
  if (!rows.ok()) {
    fmt::print(stderr, "underwing: {}\n", rows.error());
    return 2;
  }
  json alarms = json::array();
  for (const AlarmRow& row : *rows) {
    if (common.json) fmt::print("{}\n", row.json);
    else alarms.push_back(json::parse(row.json, nullptr, false));
  }
  if (!common.json) show_alarms(alarms);
  return 0;
}

constexpr std::size_t kColumns = 60;  ///< a telephone's terminal

/// "  ok           one, two," and so on, in lines of at most kColumns.
void show_list(const std::string& head, const std::vector<std::string>& items) {
  if (items.empty()) return;
  std::string line = fmt::format("  {:<12} ", head);
  const std::size_t indent = line.size();
  for (std::size_t i = 0; i < items.size(); ++i) {
    const std::string item = items[i] + (i + 1 < items.size() ? "," : "");
    if (line.size() > indent && line.size() + 1 + item.size() > kColumns) {
      fmt::print("{}\n", line);
      line = std::string(indent, ' ');
    }
    line += (line.size() > indent ? " " : "") + item;
  }
  fmt::print("{}\n", line);
}

/// One line a measure: from the lowest to the highest of its probes that can be believed. The others are returned.
std::vector<std::string> show_measures(const json& probes) {
  struct Measure {
    std::string unit;
    bool is_state = false;
    std::vector<double> values;
  };
  std::vector<std::pair<std::string, Measure>> measures;
  std::vector<std::string> silent;
  for (const json& probe : probes) {
    const std::string name = text_of(probe, "probe");
    std::string measure = name.substr(0, name.find('/'));
    std::replace(measure.begin(), measure.end(), '_', ' ');
    if (!probe.value("usable", false)) {
      silent.push_back(name + (probe.contains("value") ? "" : " (never heard)"));
      continue;
    }
    if (measures.empty() || measures.back().first != measure) measures.push_back({measure, {text_of(probe, "unit"), probe.value("state", false), {}}});
    measures.back().second.values.push_back(probe.at("value").get<double>());
  }
  for (const auto& [name, measure] : measures) {
    if (measure.is_state) {
      const auto on = std::count_if(measure.values.begin(), measure.values.end(), [](double value) { return value >= 0.5; });
      const std::string all = on == 0 ? "off" : "on";
      fmt::print("  {:<20} {}\n", name, on > 0 && on < std::ssize(measure.values) ? fmt::format("{} of {} on", on, measure.values.size()) : all);
      continue;
    }
    const auto [low, high] = std::minmax_element(measure.values.begin(), measure.values.end());
    const std::string range = *low == *high ? fmt::format("{:.1f}", *low) : fmt::format("{:.1f} to {:.1f}", *low, *high);
    fmt::print("  {:<20} {} {}\n", name, range, measure.unit);
  }
  return silent;
}

void show_rules(const json& rules) {
  std::vector<std::string> alarms, blind, waits, holds;
  for (const json& rule : rules) {
    if (!rule.value("in_force", false)) continue;
    std::string words = text_of(rule, "rule") + (text_of(rule, "probe").empty() ? "" : " " + text_of(rule, "probe"));
    if (rule.value("unknown", false)) {
      (rule.value("blind", false) ? blind : rule.value("standing", false) ? alarms : waits).push_back(words);
      continue;
    }
    if (rule.at("value").is_number()) words += " " + value_of(rule, "value");
    std::string limits;
    for (const json& limit : rule.at("limits")) limits += fmt::format("{}{} {}", limits.empty() ? "" : ", ", text_of(limit, "side"), value_of(limit, "limit"));
    if (!limits.empty()) words += " (" + limits + ")";
    (rule.value("standing", false) ? alarms : rule.value("blind", false) ? blind : holds).push_back(words);
  }
  show_list("ALARM", alarms);
  show_list("BLIND", blind);
  show_list("no view yet", waits);
  show_list("ok", holds);
}

void show_house(const json& house) {
  fmt::print("\n{}", text_of(house, "house"));
  if (house.contains("flock")) {
    const double age_h = house.at("age_h").get<double>();
    const std::string age = age_h < 0 ? fmt::format("{:.0f} h before placement", -age_h) : age_h < 48 ? fmt::format("{:.0f} h old", age_h) : fmt::format("{:.1f} days old", age_h / 24);
    fmt::print(": {}, {}, {:.0f} chicks\n", text_of(house, "day"), age, house.at("birds_placed").get<double>());
  } else {
    fmt::print(": empty\n");
  }
  if (house.contains("work_until_local")) fmt::print("  People work here until {}.\n", text_of(house, "work_until_local"));
  const std::vector<std::string> silent = show_measures(house.at("probes"));
  show_list("silent", silent);
  show_rules(house.at("rules"));
  std::vector<std::string> unwatched;
  for (const json& rule : house.at("unwatched")) unwatched.push_back(text_of(rule, "rule"));
  show_list("no probe for", unwatched);
}

/// What shows that the watch is heard of outside, and people by it.
void show_proofs(const json& status) {
  if (const json& beat = status.at("heartbeat"); beat.is_object()) {
    const std::string why = text_of(beat, "text");
    fmt::print("Outside heartbeat over {}: {} {}{}\n", text_of(beat, "over"), beat.value("answered", false) ? "answered, last" : "NOT answered since",
               text_of(beat, "since_local"), why.empty() ? "" : ": " + why);
  }
  const json& drills = status.at("drills");
  const std::string next = text_of(drills, "next_local"), answered = text_of(drills, "answered_local");
  if (!next.empty() || !answered.empty()) {
    fmt::print("Call-out drilled: {}{}\n", answered.empty() ? "never with an answer" : "last answered " + answered, next.empty() ? "" : ", next " + next);
  }
  std::string people;
  for (const json& who : drills.at("not_woken")) people += (people.empty() ? "" : ", ") + who.get<std::string>();
  if (!people.empty()) fmt::print("Not drilled at night yet: {}\n", people);
}

void show_status(const json& status) {
  fmt::print("{} at {}. On duty: {}.\n", text_of(status, "farm"), text_of(status, "time_local"), text_of(status, "on_duty"));
  if (!status.value("clock_trusted", true)) fmt::print("The gateway's clock is not to be trusted: readings count when they come.\n");
  if (!text_of(status, "disk").empty()) fmt::print("The disk does not take what is written: {}\n", text_of(status, "disk"));
  for (const json& house : status.at("houses")) show_house(house);
  fmt::print("\n");
  for (const json& plugin : status.at("plugins")) {
    fmt::print("plugin {} is {}{}{}\n", text_of(plugin, "plugin"), text_of(plugin, "state"), text_of(plugin, "text").empty() ? "" : ": ", text_of(plugin, "text"));
    if (plugin.value("not_understood", 0) > 0) {
      fmt::print("  {} lines not understood, the last: {}\n", plugin.value("not_understood", 0), text_of(plugin, "not_understood_last"));
    }
    if (plugin.value("dropped", 0) > 0) fmt::print("  {} readings dropped\n", plugin.value("dropped", 0));
  }
  for (const json& path : status.at("paths")) {
    const std::string proven = text_of(path, "proven").empty() ? text_of(path, "sent") : text_of(path, "proven");
    fmt::print("People are reached by {}: {}{}\n", text_of(path, "path"), text_of(path, "state"), proven.empty() ? "" : ", last success " + proven);
  }
  show_proofs(status);
  for (const json& name : status.at("unknown_names")) {
    fmt::print("{} ({} readings): {}\n", text_of(name, "name"), name.value("count", 0), text_of(name, "text"));
  }
  if (status.value("refused_ahead", 0) > 0) fmt::print("{} readings refused: their time is more than 2 min ahead\n", status.value("refused_ahead", 0));
  fmt::print("\n");
  show_alarms(status.at("alarms"));
}

}  // namespace

void add_talk(CLI::App& app, Common& common) {
  app.add_subcommand("status", "How the houses are, what is watched, and what is not seen")
      ->callback([&common] { common.status = ask(common, "status", json::object(), show_status); });
  auto state = std::make_shared<std::string>();
  auto* alarms = app.add_subcommand("alarms", "The alarms that stand or wait for an answer");
  alarms->add_option("--state", *state, "Instead of asking the daemon, list all alarms of the journal in this state folder");
  alarms->callback([&common, state] {
    common.status = state->empty() ? ask(common, "alarms", json::object(), show_alarms) : list_journal(common, *state);
  });

  struct Answer {
    std::string code, who;
  };
  auto answer = std::make_shared<Answer>();
  auto* acknowledge = app.add_subcommand("acknowledge", "Answer an alarm: I have it, I am going");
  acknowledge->add_option("code", answer->code, "The alarm's code, such as K7")->required();
  acknowledge->add_option("--who", answer->who, "Who answers; left out: the user of this terminal");
  acknowledge->callback([&common, answer] {
    common.status = ask(common, "acknowledge", {{"code", answer->code}, {"who", answer->who.empty() ? user_here() : answer->who}}, say_text);
  });

  struct Work {
    std::string house, span, who;
  };
  auto work = std::make_shared<Work>();
  auto* at_work = app.add_subcommand("work", "People work in a house: only rules that hold even then are in force, for a while");
  at_work->add_option("house", work->house, "The house")->required();
  at_work->add_option("--for", work->span, "For how long, such as 45min")->required();
  at_work->add_option("--who", work->who, "Who works there and is reminded before it ends; left out: the user of this terminal");
  at_work->callback([&common, work] {
    const auto span = to_duration(work->span);
    if (!span) {
      fmt::print(stderr, "underwing: --for wants a time such as 45min, not '{}'\n", work->span);
      common.status = 2;
      return;
    }
    common.status = ask(common, "work", {{"house", work->house}, {"minutes", hours_of(*span) * 60.0}, {"who", work->who.empty() ? user_here() : work->who}}, say_text);
  });

  auto whom = std::make_shared<std::pair<std::string, std::string>>();
  auto* drilling = app.add_subcommand("drill", "Send a marked test through the call-out; it needs an answer within 15 minutes");
  drilling->add_option("--person", whom->first, "Only to this person; left out: all steps for urgent alarms");
  drilling->add_option("--path", whom->second, "Only over this plugin");
  drilling->callback([&common, whom] { common.status = ask(common, "drill", {{"person", whom->first}, {"path", whom->second}}, say_text); });

  struct Record {
    std::string house, measure, who;
    double value = 0;
  };
  auto entry = std::make_shared<Record>();
  auto* recording = app.add_subcommand("record", "Write down what was found on a round; dead birds add up");
  recording->add_option("house", entry->house, "The house")->required();
  recording->add_option("measure", entry->measure, "What was found, such as dead_birds or crop_fill")->required();
  recording->add_option("value", entry->value, "The value, in the measure's unit")->required();
  recording->add_option("--who", entry->who, "Who found it; left out: the user of this terminal");
  recording->callback([&common, entry] {
    common.status = ask(common, "record",
                        {{"house", entry->house}, {"measure", entry->measure}, {"value", entry->value},
                         {"who", entry->who.empty() ? user_here() : entry->who}},
                        say_text);
  });

  struct Shelve {
    std::string rule, house, span, why, who;
    bool even_urgent = false;
  };
  auto shelve = std::make_shared<Shelve>();
  auto* shelving = app.add_subcommand("shelve", "Hold a rule's alarms in a house back for a while, at most 12 h");
  shelving->add_option("rule", shelve->rule, "The rule")->required();
  shelving->add_option("--house", shelve->house, "The house")->required();
  shelving->add_option("--for", shelve->span, "For how long, such as 2h")->required();
  shelving->add_option("--why", shelve->why, "Why; whoever comes next has to know")->required();
  shelving->add_option("--who", shelve->who, "Who says so; left out: the user of this terminal");
  shelving->add_flag("--even-urgent", shelve->even_urgent, "Also a rule that can be urgent");
  shelving->callback([&common, shelve] {
    const auto span = to_duration(shelve->span);
    if (!span) {
      fmt::print(stderr, "underwing: --for wants a time such as 2h, not '{}'\n", shelve->span);
      common.status = 2;
      return;
    }
    common.status = ask(common, "shelve",
                        {{"rule", shelve->rule}, {"house", shelve->house}, {"minutes", hours_of(*span) * 60.0}, {"why", shelve->why},
                         {"who", shelve->who.empty() ? user_here() : shelve->who}, {"even_urgent", shelve->even_urgent}},
                        say_text);
  });

  auto reset = std::make_shared<Answer>();
  auto* resetting = app.add_subcommand("reset", "Reset a latched alarm whose cause is gone, after looking on the spot");
  resetting->add_option("code", reset->code, "The alarm's code, such as K7")->required();
  resetting->add_option("--who", reset->who, "Who has looked; left out: the user of this terminal");
  resetting->callback([&common, reset] {
    common.status = ask(common, "reset", {{"code", reset->code}, {"who", reset->who.empty() ? user_here() : reset->who}}, say_text);
  });

  app.add_subcommand("reload", "Put changed files in force: all of them, or none if there is a mistake")->callback([&common] {
    common.status = ask(common, "reload", {{"who", user_here()}}, say_text);
  });
}

}  // namespace underwing::tool
