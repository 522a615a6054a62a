// The commands that talk to the daemon: status, alarms, acknowledge, work, record, shelve, reset, reload.
#include <fmt/format.h>

#include <filesystem>
#include <functional>
#include <nlohmann/json.hpp>

#include "daemon/journal.hpp"
#include "daemon/json_text.hpp"
#include "daemon/status_words.hpp"
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

void show_alarms(const json& alarms) {
  fmt::print("{}", alarms_in_words(alarms));
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

void show_status(const json& status) {
  fmt::print("{}", status_in_words(status));
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
  at_work->add_option("--for", work->span, "For how long, such as 45min; 0: work is over")->required();
  at_work->add_option("--who", work->who, "Who works there and is reminded before it ends; left out: the user of this terminal");
  at_work->callback([&common, work] {
    const auto span = work->span == "0" ? std::optional(Duration::zero()) : to_duration(work->span);
    if (!span) {
      fmt::print(stderr, "underwing: --for wants a time such as 45min, or 0 where work is over, not '{}'\n", work->span);
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
  recording->add_option("value", entry->value, "The value, in the measure's own unit, whatever people are shown")->required();
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
