#include "daemon/house_view.hpp"

#include <algorithm>
#include <cmath>

#include "daemon/air_view.hpp"
#include "daemon/flock_view.hpp"
#include "daemon/words.hpp"
#include "rules/files/reach.hpp"

namespace underwing {

namespace {

using nlohmann::json;
using namespace std::chrono_literals;
using Side = Limit::Side;

json tenth(double value) { return known(value) ? json(std::round(value * 10) / 10) : json(); }
json hundredth(double value) { return known(value) ? json(std::round(value * 100) / 100) : json(); }

json to_json(const growth::Interval& it) {
  return {{"middle", tenth(it.middle)}, {"low", tenth(it.low)}, {"high", tenth(it.high)}};
}

class View {
 public:
  View(Watch& watch, std::size_t house)
      : watch_(watch), engine_(watch.engine()), rules_(watch.rules()), house_(house), flock_(rules_.flock_in(house, watch.wall())) {}

  json run() {
    const bool there = flock_ && rules_.flocks[*flock_].placed <= watch_.wall();
    if (there) show_birds();
    show_air();
    if (const double humidity = middle_held(engine_, house_, "relative_humidity"); known(humidity)) out_["humidity_percent"] = tenth(humidity);
    show_gases();
    if (there) {
      show_meters();
      show_weight();
      show_round();
    }
    show_danger();
    return std::move(out_);
  }

 private:
  void show_birds() {
    const Losses losses = losses_of(engine_, *flock_);
    out_["birds"] = {{"alive", losses.alive}, {"lost_24_h", losses.last_24_h}, {"daily_percent", hundredth(losses.daily_percent)},
                     {"cumulative_percent", hundredth(losses.cumulative_percent)}};
  }

  void show_air() {
    const AirView air = air_view(engine_, house_);
    if (known(air.value)) out_["air"] = {{"value", tenth(air.value)}, {"low", tenth(air.low)}, {"high", tenth(air.high)}, {"felt", air.felt}};
  }

  void show_gases() {
    json gases = json::array();
    for (const char* gas : {"carbon_dioxide", "ammonia", "carbon_monoxide"}) {
      const std::vector<double> values = held_values(engine_, house_, gas);
      if (values.empty()) continue;
      gases.push_back({{"gas", gas}, {"value", tenth(*std::max_element(values.begin(), values.end()))}, {"unit", "ppm"}});
    }
    if (!gases.empty()) out_["gases"] = std::move(gases);
  }

  [[nodiscard]] double grown_today(const char* name) const {
    const std::vector<std::size_t>& probes = probes_of(rules_, house_, name);
    if (probes.empty()) return kUnknown;
    const Zone& zone = rules_.farm.zone;
    const auto midnight = std::chrono::floor<std::chrono::days>(zone.to_local(watch_.wall()).as_if_utc);
    const Instant since = zone.to_utc(LocalTime{midnight}).first - engine_.wall_ahead();
    double sum = 0;
    for (const std::size_t probe : probes) {
      if (rules_.waits_for(probe, watch_.wall())) continue;
      sum += rules_.probes[probe].quality.unit.to_canonical(engine_.series(probe).grown_since(since));
    }
    return sum;
  }

  void show_meters() {
    const double water_l = grown_today("water");
    const double feed_kg = grown_today("feed") / 1000;
    if (known(water_l)) out_["water_today_l"] = tenth(water_l);
    if (known(feed_kg)) out_["feed_today_kg"] = tenth(feed_kg);
    if (known(water_l) && feed_kg > 0) out_["water_to_feed"] = hundredth(water_l / feed_kg);
  }

  void show_weight() {
    const auto weight = weight_of(engine_, *flock_);
    if (!weight) return;
    const Flock& flock = rules_.flocks[*flock_];
    const Curve& curve = *weight_curve_of(rules_, *flock_);
    const double age_h = hours_of(watch_.wall() - flock.placed);
    const auto then = growth::forecast_day_7(*weight, curve, age_h);
    const double at_day_7 = then ? then->middle : age_h < 192 ? weight->weight_g.middle : kUnknown;
    out_["weight"] = {{"mean", tenth(weight->weight_g.middle)}, {"low", tenth(weight->weight_g.low)}, {"high", tenth(weight->weight_g.high)},
                      {"count", weight->share.count}, {"left_out", weight->share.left_out},
                      {"variation_percent", tenth(weight->share.variation_percent)}, {"uniformity_percent", tenth(weight->share.uniformity_percent)},
                      {"curve", curve.name}, {"behind_h", weight->behind_h ? to_json(*weight->behind_h) : json()},
                      {"times_placed", hundredth(at_day_7 / flock.chick_weight_g)}, {"scale_cut", weight->cut},
                      {"day_7", then ? to_json(*then) : json()}, {"goal_day_7", flock.goal_day_7_g ? json(*flock.goal_day_7_g) : json()}};
  }

  /// What is too old or was never found, and of the rest the one that comes next.
  void show_round() {
    Instant next = kNever;
    std::string what;
    std::vector<std::string> due;
    for (const auto& [measure, probes] : rules_.houses[house_].probes) {
      if (rules_.measures[measure].kind != MeasureKind::round) continue;
      for (const std::size_t probe : probes) {
        if (!asked_for(engine_, probe, watch_.wall())) continue;
        const Series& series = engine_.series(probe);
        const std::string name = measure_in_words(english(), rules_.measures[measure].name);
        const Instant mine = series.ever_good() ? series.last_good() + rules_.probes[probe].quality.stale_after : watch_.now();
        if (mine <= watch_.now()) {
          if (std::find(due.begin(), due.end(), name) == due.end()) due.push_back(name);
        } else if (mine < next) {
          next = mine;
          what = name;
        }
      }
    }
    if (!due.empty()) out_["rounds_due"] = due;
    if (next != kNever) out_["next_round"] = {{"what", what}, {"due_local", date_and_time(rules_.farm.zone, next + engine_.wall_ahead())}};
  }

  void show_danger() {
    json all = json::array();
    for (const Side side : {Side::high, Side::low}) {
      const auto danger = watch_.danger(house_, side);
      if (!danger) continue;
      json line = {{"if", side == Side::high ? "fans stay off" : "heaters stay off"}, {"rule", danger->rule},
                   {"limit", tenth(danger->unit.from_canonical(danger->limit))}, {"minutes", danger->minutes ? tenth(*danger->minutes) : json()},
                   {"at_local", json()}, {"by", danger->by}, {"taken", danger->taken}};
      if (danger->minutes) line["at_local"] = clock_time(rules_.farm.zone, watch_.wall() + Duration(std::llround(*danger->minutes * 60'000)));
      all.push_back(std::move(line));
    }
    if (!all.empty()) out_["danger"] = std::move(all);
  }

  Watch& watch_;
  Engine& engine_;
  const RuleSet& rules_;
  std::size_t house_;
  std::optional<std::size_t> flock_;
  json out_ = json::object();
};

}  // namespace

json house_view(Watch& watch, std::size_t house) { return View(watch, house).run(); }

}  // namespace underwing
