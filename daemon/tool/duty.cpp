// The command that shows who has duty, and swaps it.
#include <fmt/format.h>

#include <chrono>
#include <cstdlib>
#include <nlohmann/json.hpp>

#include "daemon/duty.hpp"
#include "daemon/json_text.hpp"
#include "daemon/tool/call_daemon.hpp"

namespace underwing::tool {

namespace {

using nlohmann::json;

struct Wanted {
  std::string farm, from;
  int days = 14;
};

struct Swap {
  std::string one, other, on, who;
};

/// Of "2026-03-07 20:00": "Sat  7 Mar".
std::string short_date(const std::string& local) {
  const Date date = read_date(local.substr(0, 10)).value_or(Date{});
  const std::string words = date_in_words(date);
  const std::size_t day = words.find(' ') + 1, month = words.find(' ', day) + 1;
  return fmt::format("{} {:>2} {}", words.substr(0, day - 1), words.substr(day, month - 1 - day), words.substr(month, 3));
}

std::chrono::minutes local_minutes(const std::string& local) {
  const Date date = read_date(local.substr(0, 10)).value_or(Date{});
  const auto number = [&](std::size_t at) { return std::atoi(local.substr(at, 2).c_str()); };
  return date.time_since_epoch() + std::chrono::hours(number(11)) + std::chrono::minutes(number(14));
}

/// "08:00" on the same day, "Sun 08:00" on the next, else with its date; midnight is the end of its day.
std::string end_text(const std::string& begin, const std::string& end) {
  const Date first = read_date(begin.substr(0, 10)).value_or(Date{});
  Date last = read_date(end.substr(0, 10)).value_or(Date{});
  std::string clock = end.substr(11);
  if (clock == "00:00") {
    last -= std::chrono::days(1);
    clock = "24:00";
  }
  if (last == first) return clock;
  const std::string date = short_date(to_text(last));
  return fmt::format("{} {}", last == first + std::chrono::days(1) ? date.substr(0, 3) : date, clock);
}

void show_turn(const json& turn) {
  const std::string begin = text_of(turn, "begin_local"), end = text_of(turn, "end_local");
  const std::string who = text_of(turn, "who"), instead = text_of(turn, "in_place_of");
  std::string line = fmt::format("{} {} to {:<17} {}", short_date(begin), begin.substr(11), end_text(begin, end), who.empty() ? "NOBODY: everyone is told" : who);
  if (!instead.empty()) line += fmt::format(" (swapped with {})", instead);
  const std::chrono::minutes real(turn.value("minutes", 0));
  if (real != local_minutes(end) - local_minutes(begin)) line += fmt::format(" (the clocks change: {})", to_words(real));
  fmt::print("{}\n", line);
}

int show(const Common& common, const json& turns) {
  for (const json& turn : turns) {
    if (common.json) fmt::print("{}\n", turn.dump());
    else show_turn(turn);
  }
  return 0;
}

/// By the files alone: no swaps.
int show_farm(const Common& common, const Wanted& wanted) {
  const Opened opened = open_farm(wanted.farm);
  if (!opened.readable) return 2;
  if (print_issues(opened.loaded.issues, opened.files, common.json, false) > 0) return 1;
  const Farm& farm = opened.loaded.rules->farm;
  const auto now = std::chrono::floor<std::chrono::milliseconds>(std::chrono::system_clock::now());
  const auto from = wanted.from.empty() ? date_of(farm.zone, now) : read_date(wanted.from);
  if (!from) {
    fmt::print(stderr, "underwing: '{}' is no date such as 2026-03-07\n", wanted.from);
    return 2;
  }
  json turns = json::array();
  const Instant until = begin_of(farm.zone, *from + std::chrono::days(wanted.days));
  for (const DutyTurn& turn : duty_turns(farm, begin_of(farm.zone, *from), until, {})) turns.push_back(to_json(turn, farm.zone));
  return show(common, turns);
}

int show_duty(const Common& common, const Wanted& wanted) {
  if (!wanted.farm.empty()) return show_farm(common, wanted);
  json turns;
  const int status = call_daemon(common, "duty", {{"from", wanted.from}, {"days", wanted.days}}, turns);
  return status == 0 ? show(common, turns) : status;
}

int swap_duty(const Common& common, const Swap& swap) {
  const std::string who = swap.who.empty() ? user_here() : swap.who;
  json answer;
  const int status = call_daemon(common, "swap", {{"one", swap.one}, {"other", swap.other}, {"on", swap.on}, {"who", who}}, answer);
  if (status != 0) return status;
  fmt::print("{}\n", common.json ? answer.dump() : answer.value("text", ""));
  return 0;
}

}  // namespace

void add_duty(CLI::App& app, Common& common) {
  auto wanted = std::make_shared<Wanted>();
  auto* duty = app.add_subcommand("duty", "Who has duty in the next 14 days; and swaps for one day");
  duty->add_option("--farm", wanted->farm, "Instead of asking the daemon, by the files of this farm: without swaps");
  duty->add_option("--from", wanted->from, "First day, such as 2026-03-07; left out: today");
  duty->add_option("--days", wanted->days, "How many days")->check(CLI::Range(1, kDutyDaysMax))->capture_default_str();

  auto swap = std::make_shared<Swap>();
  auto* swapping = duty->add_subcommand("swap", "Two people change places for the shifts that begin on one day; asked again, back");
  swapping->add_option("one", swap->one, "One of them")->required();
  swapping->add_option("other", swap->other, "The other")->required();
  swapping->add_option("--on", swap->on, "The day on which the shifts begin, such as 2026-03-07")->required();
  swapping->add_option("--who", swap->who, "Who says so; left out: the user of this terminal");

  duty->callback([&common, wanted, swap, swapping] {
    common.status = swapping->parsed() ? swap_duty(common, *swap) : show_duty(common, *wanted);
  });
}

}  // namespace underwing::tool
