#include "daemon/report.hpp"

#include <algorithm>
#include <cmath>
#include <map>
#include <nlohmann/json.hpp>

#include "daemon/flock_view.hpp"
#include "daemon/json_text.hpp"
#include "rules/engine/counter.hpp"
#include "rules/engine/theil_sen.hpp"
#include "rules/files/reach.hpp"
#include "rules/trade/flock.hpp"
#include "rules/trade/growth.hpp"

namespace underwing {

namespace {

using namespace std::chrono_literals;

constexpr Duration kBefore = 48h;  // pre-heat, and the drill before placement, belong to the flock

/// Of many numbers the lowest, the highest and the mean.
struct Spread {
  double low = kUnknown, high = kUnknown, sum = 0;
  std::size_t count = 0;
  void take(double value) {
    low = count == 0 ? value : std::min(low, value);
    high = count == 0 ? value : std::max(high, value);
    sum += value;
    ++count;
  }
  [[nodiscard]] double mean() const { return count == 0 ? kUnknown : sum / static_cast<double>(count); }
};

/// Gathers one day's minutes. Meters go on counting from one day to the next.
class Minutes {
 public:
  Minutes(const RuleSet& rules, const Flock& flock, const Curve* curve) : rules_(rules), flock_(flock), curve_(curve) {
    for (const char* name : {"air_temperature", "relative_humidity", "bird_weight", "water", "feed"}) {
      for (const std::size_t probe : probes_of(rules, flock.house, name)) probes_[rules.full_name(probe)] = {probe, name};
    }
  }

  void take(const MinuteRow& row) {
    const auto found = probes_.find(row.series);
    if (found == probes_.end() || flock_.waits_for(found->second.probe, row.minute)) return;
    if (row.minute != minute_) close_minute();
    minute_ = row.minute;
    const Unit& unit = rules_.probes[found->second.probe].quality.unit;
    const std::string& measure = found->second.measure;
    const double mean = unit.to_canonical(row.mean);
    if (measure == "air_temperature") air_now_.push_back(mean);
    else if (measure == "relative_humidity") humidity_now_.push_back(mean);
    else if (measure == "bird_weight") weigh(row, mean);
    else count(measure, found->second.probe, unit.to_canonical(row.high));
  }

  void close(DayOfFlock& day, double alive) {
    close_minute();
    day.air_low = air_.low, day.air_mean = air_.mean(), day.air_high = air_.high;
    day.humidity = humidity_.mean();
    if (const auto weights = flock::weights_of(weights_)) {
      day.weight_g = weights->mean;
      day.weighings = weights->count;
    }
    if (const auto share = curve_ ? growth::share_of(weighings_, *curve_) : std::nullopt) day.of_curve_percent = 100 * share->mean;
    const auto per_1000 = [&](const char* measure, double units) {
      const auto found = grown_.find(measure);
      return found == grown_.end() || !(alive > 0) ? kUnknown : found->second * 1000 / (units * alive);
    };
    day.water_l_per_1000 = per_1000("water", 1);
    day.feed_kg_per_1000 = per_1000("feed", 1000);
    air_ = humidity_ = Spread();
    weights_.clear();
    weighings_.clear();
    grown_.clear();
  }

 private:
  struct Known {
    std::size_t probe = 0;
    std::string measure;
  };

  void close_minute() {
    if (!air_now_.empty()) air_.take(median_of(air_now_));
    if (!humidity_now_.empty()) humidity_.take(median_of(humidity_now_));
    air_now_.clear();
    humidity_now_.clear();
  }

  /// The journal has the mean of a minute's weighings; it stands for each of them.
  void weigh(const MinuteRow& row, double mean) {
    const double age_h = hours_of(row.minute + 30s - flock_.placed);
    weights_.insert(weights_.end(), row.count, mean);
    weighings_.insert(weighings_.end(), row.count, {age_h, mean});
  }

  void count(const std::string& measure, std::size_t probe, double value) {
    const auto [last, first] = meters_.emplace(probe, value);
    grown_[measure] += first ? 0 : counter_growth(last->second, value);
    last->second = value;
  }

  const RuleSet& rules_;
  const Flock& flock_;
  const Curve* curve_;
  std::map<std::string, Known> probes_;
  Instant minute_{};
  std::vector<double> air_now_, humidity_now_;
  Spread air_, humidity_;
  std::vector<double> weights_;
  std::vector<growth::Weighing> weighings_;
  std::map<std::string, double> grown_;    ///< today, by measure
  std::map<std::size_t, double> meters_;   ///< as they stood last
};

bool is_loss(const std::string& measure) { return measure == "dead_birds" || measure == "culled_birds"; }

/// The days from placement on, with what people have counted on each.
std::vector<DayOfFlock> days_of(const RuleSet& rules, const Flock& flock, Instant until, const std::vector<RoundRow>& rounds) {
  const Zone& zone = rules.farm.zone;
  std::vector<DayOfFlock> days;
  std::vector<double> lost;
  double alive = flock.birds;
  for (Date date = date_of(zone, flock.placed);; date += std::chrono::days(1)) {
    const Instant begin = std::max(begin_of(zone, date), flock.placed);
    if (begin >= until) return days;
    DayOfFlock& day = days.emplace_back();
    day.date = date;
    day.begin = begin;
    day.end = std::min(begin_of(zone, date + std::chrono::days(1)), until);
    for (const RoundRow& round : rounds) {
      if (!is_loss(round.measure) || round.time < day.begin || round.time >= day.end) continue;
      (round.measure == "dead_birds" ? day.dead : day.culled) += round.value;
    }
    lost.push_back(day.dead + day.culled);
    day.lost_percent = flock::daily_mortality_percent(lost.back(), alive);
    day.cumulative_percent = flock::cumulative_daily_mortality_percent(flock.birds, lost);
    day.alive = alive -= lost.back();
  }
}

void note_drill(FlockReport& report, const EventRow& event) {
  const auto detail = nlohmann::json::parse(event.json, nullptr, false);
  Drill drill;
  drill.time = event.time;
  drill.who = text_of(detail, "who");
  drill.answered = detail.value("answered", false);
  drill.at_night = detail.value("at_night", false);
  drill.took = std::chrono::seconds(detail.value("seconds", 0));
  report.drills.push_back(drill);
}

void note_answer(FlockReport& report, const EventRow& event) {
  const auto detail = nlohmann::json::parse(event.json, nullptr, false);
  const std::string code = text_of(detail, "code");
  const auto answered = std::find_if(report.alarms.rbegin(), report.alarms.rend(),
                                     [&](const AlarmOfFlock& alarm) { return alarm.row.code == code && alarm.row.raised <= event.time; });
  if (answered == report.alarms.rend() || answered->answered) return;
  answered->answered = event.time;
  answered->answered_by = text_of(detail, "who");
}

}  // namespace

Result<FlockReport> report_of(JournalReader& journal, const RuleSet& rules, std::size_t index) {
  const Flock& flock = rules.flocks[index];
  const std::string& house = rules.houses[flock.house].name;
  FlockReport report;
  const auto last = journal.last_snapshot();
  if (!last.ok()) return Failure{last.error()};
  report.until = *last ? (**last).time : flock.placed;
  if (flock.cleared) report.until = std::min(report.until, *flock.cleared);

  auto rounds = journal.rounds_since(flock.placed);
  if (!rounds.ok()) return Failure{rounds.error()};
  std::erase_if(*rounds, [&](const RoundRow& round) { return round.house != house || round.time > report.until; });
  report.days = days_of(rules, flock, report.until + 1ms, *rounds);
  std::erase_if(*rounds, [](const RoundRow& round) { return is_loss(round.measure); });
  report.rounds = std::move(*rounds);

  Minutes minutes(rules, flock, weight_curve_of(rules, index));
  double alive = flock.birds;
  for (DayOfFlock& day : report.days) {
    const auto read = journal.minutes_of_house(house, day.begin, day.end, [&](const MinuteRow& row) { minutes.take(row); });
    if (!read.ok()) return Failure{read.error()};
    minutes.close(day, alive);
    alive = day.alive;
  }

  const Instant since = flock.placed - kBefore;
  const auto alarms = journal.alarms_since(since);
  if (!alarms.ok()) return Failure{alarms.error()};
  for (const AlarmRow& row : *alarms) {
    const bool here = row.house == house || row.house.empty();
    if (!here || row.rule == "drill" || row.raised < since || row.raised > report.until) continue;
    report.alarms.push_back({row, {}, {}});
  }
  const auto events = journal.events_since(since);
  if (!events.ok()) return Failure{events.error()};
  for (const EventRow& event : *events) {
    if (event.time > report.until) break;
    if (event.kind == "drilled") note_drill(report, event);
    if (event.kind == "acknowledged") note_answer(report, event);
  }
  return report;
}

}  // namespace underwing
