// The command that tells what a flock's days were, from the journal: also while no daemon runs.
#include "daemon/report.hpp"

#include <fmt/format.h>

#include <cmath>
#include <cstdlib>
#include <filesystem>
#include <map>
#include <nlohmann/json.hpp>

#include "daemon/json_text.hpp"
#include "daemon/tool/chosen.hpp"
#include "daemon/words.hpp"
#include "rules/explain/words.hpp"

namespace underwing::tool {

namespace {

using nlohmann::ordered_json;

constexpr std::size_t kWidth = 80;

struct Wanted {
  std::string flock, farm = ".", state;
};

/// Says what a report holds, in the farm's units and on its clock.
class Telling {
 public:
  Telling(const RuleSet& rules, const Flock& flock, const FlockReport& report) : rules_(rules), flock_(flock), zone_(rules.farm.zone), report_(report) {}

  void print() const {
    print_head();
    if (report_.days.empty()) return;
    print_days();
    print_alarms();
    print_rounds();
    print_drills();
  }

  void print_json() const {
    for (const DayOfFlock& day : report_.days) print_day_json(day);
    for (const AlarmOfFlock& alarm : report_.alarms) {
      const AlarmRow& row = alarm.row;
      line({{"kind", "alarm"}, {"code", row.code}, {"house", row.house.empty() ? ordered_json() : ordered_json(row.house)}, {"rule", row.rule},
            {"probe", row.probe.empty() ? ordered_json() : ordered_json(row.probe)}, {"priority", row.priority}, {"state", row.state},
            {"raised", to_rfc3339(row.raised)}, {"returned", time_or_null(row.returned)}, {"answered", time_or_null(alarm.answered)},
            {"answered_by", alarm.answered ? ordered_json(alarm.answered_by) : ordered_json()}});
    }
    for (const RoundRow& round : report_.rounds) {
      line({{"kind", "round"}, {"time", to_rfc3339(round.time)}, {"measure", round.measure}, {"value", round.value}, {"unit", unit_of(round.measure).text}, {"who", round.who}});
    }
    for (const Drill& drill : report_.drills) {
      line({{"kind", "drill"}, {"time", to_rfc3339(drill.time)}, {"who", drill.who.empty() ? ordered_json() : ordered_json(drill.who)}, {"answered", drill.answered},
            {"at_night", drill.at_night}, {"seconds", drill.took / std::chrono::seconds(1)}});
    }
  }

 private:
  static void line(const ordered_json& json) { fmt::print("{}\n", json.dump()); }
  static ordered_json time_or_null(const std::optional<Instant>& time) { return time ? ordered_json(to_rfc3339(*time)) : ordered_json(); }
  static ordered_json number(double value) { return known(value) ? ordered_json(std::round(value * 100) / 100) : ordered_json(); }

  [[nodiscard]] Unit unit_of(const std::string& measure) const {
    const auto found = rules_.find_measure(measure);
    return found ? rules_.measures[*found].unit : Unit{};
  }

  /// In the units of the files, whatever people are shown.
  void print_day_json(const DayOfFlock& day) const {
    line({{"kind", "day"}, {"date", to_text(day.date)}, {"day", number_of(day)}, {"alive", day.alive},
          {"dead", day.dead}, {"culled", day.culled}, {"lost_percent", number(day.lost_percent)}, {"cumulative_percent", number(day.cumulative_percent)},
          {"air_low_c", number(day.air_low)}, {"air_mean_c", number(day.air_mean)}, {"air_high_c", number(day.air_high)}, {"humidity_percent", number(day.humidity)},
          {"weight_g", number(day.weight_g)}, {"weighings", day.weighings}, {"of_curve_percent", number(day.of_curve_percent)},
          {"water_l_per_1000", number(day.water_l_per_1000)}, {"feed_kg_per_1000", number(day.feed_kg_per_1000)}});
  }

  void print_head() const {
    std::string text = fmt::format("{} in {}, {}: {:.0f} birds placed on {}", flock_.name, rules_.houses[flock_.house].name, rules_.farm.name, flock_.birds, date_and_time(zone_, flock_.placed));
    if (report_.days.empty()) {
      text += ". The journal holds nothing of it yet.";
    } else {
      const DayOfFlock& last = report_.days.back();
      text += fmt::format("; told up to {}, {}: {:.0f} alive, {:.2f} % lost.", date_and_time(zone_, report_.until), day_of(flock_, zone_, report_.until), last.alive, last.cumulative_percent);
    }
    fmt::print("{}\n", wrapped(text, kWidth));
  }

  /// The day as the flock's people count.
  [[nodiscard]] std::int64_t number_of(const DayOfFlock& day) const { return (day.date - date_of(zone_, flock_.placed)).count() + flock_.first_day; }

  /// "-" where nothing is known.
  static std::string cell(double value, int digits = 0) { return known(value) ? fmt::format("{:.{}f}", value, digits) : "-"; }

  void print_days() const {
    const Units units = rules_.farm.units;
    const Unit air = shown_in("°C", units), weight = shown_in("g", units), water = shown_in("L", units), feed = shown_in("kg", units);
    const bool us = units == Units::us;  // whose pounds and gallons are small numbers
    std::vector<std::vector<std::string>> rows{{"day", "date", "dead", "cull", "lost %", air.text, "low", "high", "RH %", weight.text, "curve", "water", "feed"}};
    for (const DayOfFlock& day : report_.days) {
      const auto shown = [](const Unit& unit, double value) { return known(value) ? unit.from_canonical(value) : kUnknown; };
      rows.push_back({std::to_string(number_of(day)), to_text(day.date).substr(5), cell(day.dead), cell(day.culled),
                      cell(day.lost_percent, 2), cell(shown(air, day.air_mean), 1), cell(shown(air, day.air_low), 1), cell(shown(air, day.air_high), 1), cell(day.humidity),
                      cell(shown(weight, day.weight_g), us ? 3 : 0), known(day.of_curve_percent) ? cell(day.of_curve_percent) + " %" : "-",
                      cell(shown(water, day.water_l_per_1000), us ? 1 : 0), cell(shown(feed, 1000 * day.feed_kg_per_1000), 1)});
    }
    fmt::print("{}", grid(rows));
    fmt::print("{}", wrapped(fmt::format("Air and humidity of the middle probe, minute by minute. The mean of the day's weighings, and each of them against the curve at its own age. Water in {} and feed "
                                         "in {} for 1000 birds.", water.text, feed.text), kWidth, "  "));
  }

  [[nodiscard]] std::string name_of(const AlarmRow& row) const {
    const auto detail = nlohmann::json::parse(row.json, nullptr, false);
    const std::string where = row.house.empty() ? rules_.farm.name + ": " : "";
    const std::string what = text_of(detail, "subject") == "blindness" ? "could not see: " + (row.rule.empty() ? std::string("the house") : row.rule) : row.rule;
    return where + what + (row.probe.empty() ? "" : " " + row.probe);
  }

  void print_alarms() const {
    std::size_t notes = 0;
    std::vector<std::string> lines;
    for (const AlarmOfFlock& alarm : report_.alarms) {
      const AlarmRow& row = alarm.row;
      if (row.priority == to_string(Priority::note)) {
        ++notes;
        continue;
      }
      const std::string end = row.returned ? "for " + how_long(*row.returned - row.raised) : "still there";
      const std::string answer = alarm.answered ? fmt::format("{} answered after {}", alarm.answered_by, how_long(*alarm.answered - row.raised)) : "not answered";
      lines.push_back(wrapped(fmt::format("{}, {}: {}; {}", name_of(row), row.priority, end, answer), kWidth, fmt::format("  {}  ", date_and_time(zone_, row.raised))));
    }
    fmt::print("\nAlarms{}\n", lines.empty() ? ": none that called anybody." : "");
    for (const std::string& text : lines) fmt::print("{}", text);
    if (notes > 0) fmt::print("  and {} for the morning's summary only\n", notes);
  }

  void print_rounds() const {
    std::map<std::string, std::vector<std::string>> by_measure;
    for (const RoundRow& round : report_.rounds) {
      const Unit unit = unit_of(round.measure);
      const Unit shown = shown_in(unit, rules_.farm.units);
      by_measure[round.measure].push_back(fmt::format("{} {}", day_of(flock_, zone_, round.time), with_unit(unit.to_canonical(round.value), shown)));
    }
    if (by_measure.empty()) return;
    fmt::print("\nRounds\n");
    for (const auto& [measure, values] : by_measure) fmt::print("{}", wrapped(list_of(values, ", "), kWidth, fmt::format("  {:<20} ", spaced(measure))));
  }

  void print_drills() const {
    fmt::print("\nDrills{}\n", report_.drills.empty() ? ": none was held." : "");
    for (const Drill& drill : report_.drills) {
      const std::string whom = drill.who.empty() ? "nobody" : drill.who;
      const std::string outcome = drill.answered ? fmt::format("{} answered after {}", whom, how_long(drill.took)) : drill.who.empty() ? "nobody answered" : drill.who + " did not answer";
      fmt::print("  {}  {}{}\n", date_and_time(zone_, drill.time), outcome, drill.at_night ? ", at night" : "");
    }
  }

  static std::string how_long(Duration span) { return in_minutes(std::chrono::floor<std::chrono::seconds>(span)); }

  const RuleSet& rules_;
  const Flock& flock_;
  const Zone& zone_;
  const FlockReport& report_;
};

int run(const Wanted& wanted, const Common& common) {
  const Opened opened = open_farm(wanted.farm);
  if (!opened.readable) return 2;
  if (print_issues(opened.loaded.issues, opened.files, common.json, false) > 0) return 1;
  const RuleSet& rules = *opened.loaded.rules;
  std::vector<std::string> names;
  for (const Flock& flock : rules.flocks) names.push_back(flock.name);
  const auto found = std::find(names.begin(), names.end(), wanted.flock);
  if (found == names.end()) {
    fmt::print(stderr, "underwing: {} has no flock '{}'{}\n", rules.farm.name, wanted.flock, suggestion(wanted.flock, names));
    return 2;
  }
  const auto index = static_cast<std::size_t>(found - names.begin());
  auto journal = JournalReader::open(std::filesystem::path(wanted.state) / "journal.db");
  const auto report = journal.ok() ? report_of(*journal, rules, index) : Result<FlockReport>(Failure{journal.error()});
  if (!report.ok()) {
    fmt::print(stderr, "underwing: {}\n", report.error());
    return 2;
  }
  const Telling telling(rules, rules.flocks[index], *report);
  if (common.json) telling.print_json();
  else telling.print();
  return 0;
}

}  // namespace

void add_report(CLI::App& app, Common& common) {
  auto wanted = std::make_shared<Wanted>();
  const char* state_directory = std::getenv("STATE_DIRECTORY");
  wanted->state = state_directory ? state_directory : "/var/lib/underwing";
  auto* command = app.add_subcommand("report", "What a flock's days were: losses, air, weight, water, feed, alarms, rounds, drills");
  command->add_option("flock", wanted->flock, "The flock, as its file names it")->required();
  command->add_option("--farm", wanted->farm, "The farm's folder (holds farm.yaml, flocks/, rules/)")->capture_default_str();
  command->add_option("--state", wanted->state, "Where the journal is kept")->capture_default_str();
  command->callback([&common, wanted] { common.status = run(*wanted, common); });
}

}  // namespace underwing::tool
