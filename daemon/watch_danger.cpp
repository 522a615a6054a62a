// Watch: how long a house leaves people until its air harms birds.
#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "daemon/flock_view.hpp"
#include "daemon/watch.hpp"
#include "daemon/words.hpp"
#include "rules/engine/theil_sen.hpp"
#include "rules/files/reach.hpp"
#include "rules/language/check.hpp"
#include "rules/languages/texts.hpp"
#include "rules/trade/danger.hpp"

namespace underwing {

namespace {

using namespace std::chrono_literals;
using Side = Limit::Side;

constexpr const char* kAir = "air_temperature";
constexpr double kFasterThanHeaters = 0.25;  // K/min; a heater's saw-tooth is 1 to 3 K in 20 to 30 min (common practice)
constexpr double kMoves = 0.02;              // K/min; less is no trend
constexpr double kTextWithin_min = 60;       // further off, texts say where the air will be in 20 min
constexpr std::size_t kLongTrend = 8, kShortTrend = 4;  // minutes
constexpr std::size_t kLearnRise_min = 6, kLearnFall_min = 10;
constexpr double kFallNoticed_k = 0.5;       // over kLearnFall_min
constexpr Duration kLearntFor = 24h;

/// "0.3": as many digits as people can use.
std::string short_number(double value) { return fmt::format("{:.2g}", value); }

std::string degrees(double celsius, Units units) {
  const Unit unit = shown_in("°C", units);
  return fmt::format("{:.1f} {}", unit.from_canonical(celsius), unit.text);
}

/// "0.3 K a minute".
std::string pace_in_words(double k_min, Units units) {
  const Unit unit = shown_in("K", units);
  return fmt::format("{} {} a minute", short_number(unit.from_canonical(k_min)), unit.text);
}

/// The side on which a condition asks for the level of the air; of several the first.
std::optional<Side> side_asked(const Expression& it, std::size_t air) {
  const auto is_air = [&](std::size_t child) {
    const auto level = level_of(*it.children[child]);
    return level && level->measure == air;
  };
  using Kind = Expression::Kind;
  if (it.kind == Kind::greater || it.kind == Kind::greater_equal || it.kind == Kind::less || it.kind == Kind::less_equal) {
    const bool greater = it.kind == Kind::greater || it.kind == Kind::greater_equal;
    if (is_air(0)) return greater ? Side::high : Side::low;
    if (is_air(1)) return greater ? Side::low : Side::high;
    return std::nullopt;
  }
  for (const auto& child : it.children) {
    if (const auto side = side_asked(*child, air)) return side;
  }
  return std::nullopt;
}

void keep_fastest(auto& learnt, double value, bool faster, Instant now) {
  if (!known(learnt.value) || faster || now - learnt.seen >= kLearntFor) learnt = {value, now};
}

}  // namespace

/// The furthest urgent limit on the level of the air that readings do not move.
std::optional<Watch::Harm> Watch::harm(std::size_t house, Side side) {
  const auto air = rules_->find_measure(kAir);
  std::optional<Harm> furthest;
  for (std::size_t i = 0; air && i < rules_->rules.size(); ++i) {
    const WatchedRule& rule = rules_->rules[i];
    if (rule.house != house || rule.probe || !rule.watch || !engine_->state(i).in_force) continue;
    const auto level = level_of(*rule.watch);
    if (!level || level->measure != *air) continue;
    for (std::size_t k = 0; k < rule.limits.size(); ++k) {
      const Limit& limit = rule.limits[k];
      if (limit.side != side || limit.priority != Priority::urgent || !measures_of(*limit.expression).empty()) continue;
      const Sight sight = engine_->look(i);
      if (!known(sight.limits[k]) || !known(sight.value)) continue;
      const bool further = !furthest || (side == Side::high ? sight.limits[k] > furthest->limit : sight.limits[k] < furthest->limit);
      if (further) furthest = Harm{i, sight.value, sight.limits[k]};
    }
  }
  return furthest;
}

/// K a minute towards that side, by the last minutes of what the rule saw; the steeper of a short and a long look, as a
/// house that has just begun to warm is not yet steep in the long one. Unknown where there are too few minutes.
double Watch::pace_towards(std::size_t rule, Side side) const {
  if (rule >= recent_.size()) return kUnknown;
  const std::deque<double>& minutes = recent_[rule];
  std::vector<TrendPoint> points;
  for (std::size_t i = 0; i < minutes.size(); ++i) {
    if (known(minutes[i])) points.push_back({static_cast<double>(i), minutes[i]});
  }
  // What was read since the last whole minute counts, too.
  const double since = hours_of(now_ - (minute_due_ - 1min)) * 60;
  const double latest = engine_->latest(rule);
  if (since > 0 && known(latest)) points.push_back({static_cast<double>(minutes.size()) - 1 + since, latest});
  double steepest = kUnknown;
  for (const std::size_t length : {kLongTrend, kShortTrend}) {
    if (points.size() < kShortTrend) continue;
    const std::vector<TrendPoint> last(points.end() - static_cast<std::ptrdiff_t>(std::min(length, points.size())), points.end());
    std::vector<double> pairs;
    const double slope = theil_sen_per_minute(last, pairs) * (side == Side::high ? 1 : -1);
    if (!known(steepest) || slope > steepest) steepest = slope;
  }
  return steepest;
}

std::optional<double> Watch::outside_c(std::size_t house, std::string& from) const {
  const double read = middle_held(*engine_, house, "outside_temperature");
  if (known(read)) {
    from = fmt::format("It is {} outside, by its probe.", degrees(read, rules_->farm.units));
    return read;
  }
  if (const auto stated = rules_->houses[house].outside_c) {
    from = fmt::format("It is taken to be {} outside, by farm.yaml.", degrees(*stated, rules_->farm.units));
    return stated;
  }
  return std::nullopt;
}

/// By what the house did within the last day with its fans off, else by its birds.
void Watch::reckon_heat(std::size_t house, Danger& danger) const {
  const auto pace = paces_.find(rules_->houses[house].name);
  if (pace != paces_.end() && known(pace->second.rise_k_min.value) && now_ - pace->second.rise_k_min.seen < kLearntFor) {
    const Learnt& learnt = pace->second.rise_k_min;
    danger.by = "learnt";
    danger.minutes = danger::minutes_to_heat_as_seen(learnt.value, danger.air, danger.limit);
    danger.taken.push_back(fmt::format("It warms by {}, as it did at {} with its fans off.", pace_in_words(learnt.value, rules_->farm.units),
                                       clock_time(rules_->farm.zone, learnt.seen + engine_->wall_ahead())));
    return;
  }
  const auto flock = rules_->flock_in(house, wall());
  const auto volume = rules_->houses[house].volume_m3;
  const auto weight = flock ? live_weight(*engine_, *flock) : std::nullopt;
  if (!volume) danger.taken.push_back("farm.yaml does not say the house's volume.");
  if (!weight) danger.taken.push_back("What the birds weigh is not known: no rule has a curve of weight.");
  if (!flock || !volume || !weight || wall() < rules_->flocks[*flock].placed) return;
  const double birds = losses_of(*engine_, *flock).alive;
  danger.by = "reckoned";
  danger.minutes = danger::minutes_to_heat({*volume, birds, weight->weight_g / 1000, 0, 0}, danger.air, danger.limit);
  danger.taken.push_back(fmt::format("{:.0f} birds of {}, {}, warm {:.0f} m³ of air and fittings that hold as much heat (CIGR, 2002, from memory).",
                                     birds, weight_shown(weight->weight_g, rules_->farm.units), weight->weighed ? "by the scale" : "by their curve", *volume));
  danger.taken.push_back("No fresh air comes in, the heaters are off, and walls let nothing out.");
}

void Watch::reckon_cold(std::size_t house, Danger& danger) const {
  std::string from;
  const auto outside = outside_c(house, from);
  if (!outside) {
    danger.taken.push_back("How cold it is outside is not known: no probe, and no 'outside' in farm.yaml.");
    return;
  }
  danger.taken.push_back(from);
  const auto pace = paces_.find(rules_->houses[house].name);
  const bool seen = pace != paces_.end() && known(pace->second.constant_min.value) && now_ - pace->second.constant_min.seen < kLearntFor;
  const auto stated = rules_->houses[house].time_constant;
  if (!seen && !stated) {
    danger.taken.push_back("How fast this house cools has not been seen within a day.");
    return;
  }
  const double constant_min = seen ? pace->second.constant_min.value : hours_of(*stated) * 60;
  danger.by = seen ? "learnt" : "reckoned";
  danger.minutes = danger::minutes_to_cool(constant_min, danger.air, *outside, danger.limit);
  if (danger.minutes && *danger.minutes > 12 * 60) danger.minutes.reset();
  const std::string why = seen ? fmt::format("as it did at {} with its heaters off", clock_time(rules_->farm.zone, pace->second.constant_min.seen + engine_->wall_ahead()))
                               : "by farm.yaml";
  danger.taken.push_back(fmt::format("It loses what it is warmer than outside with a time constant of {:.0f} min, {}.", constant_min, why));
}

std::optional<Watch::Danger> Watch::danger(std::size_t house, Side side) {
  const auto found = harm(house, side);
  if (!found) return std::nullopt;
  const WatchedRule& rule = rules_->rules[found->rule];
  Danger danger{rule.name, found->air, found->limit, rule.unit, std::nullopt, "unknown", {}};
  const double left_k = side == Side::high ? found->limit - found->air : found->air - found->limit;
  const double pace = pace_towards(found->rule, side);
  if (left_k <= 0) {
    danger.minutes = 0;
    danger.by = "seen";
    danger.taken.push_back("The air is past it already.");
  } else if (known(pace) && pace >= kFasterThanHeaters) {
    danger.minutes = danger::minutes_to_heat_as_seen(pace, 0, left_k);
    danger.by = "seen";
    danger.taken.push_back(fmt::format("It goes on as it does now, by {}.", pace_in_words(pace, rules_->farm.units)));
  } else if (side == Side::high) {
    reckon_heat(house, danger);
  } else {
    reckon_cold(house, danger);
  }
  return danger;
}

/// Each whole minute: how fast a house warms without its fans and cools without its heaters, where states tell that they
/// are off. Heaters that run, or are not known, would be taken for the birds.
void Watch::learn_houses() {
  for (std::size_t house = 0; house < rules_->houses.size(); ++house) {
    Pace& pace = paces_[rules_->houses[house].name];
    const auto all_off = [&](const char* measure) {
      const std::vector<double> states = held_values(*engine_, house, measure);
      return !states.empty() && std::all_of(states.begin(), states.end(), [](double state) { return state < 0.5; });
    };
    const bool heaters_off = all_off("heater_running");
    pace.heaters_off_min = heaters_off ? pace.heaters_off_min + 1 : 0;
    pace.fans_off_min = heaters_off && all_off("fan_running") ? pace.fans_off_min + 1 : 0;
    pace.air_c.push_back(occupied(house) ? middle_held(*engine_, house, kAir) : kUnknown);
    if (pace.air_c.size() > kLearnFall_min + 1) pace.air_c.pop_front();
    const auto rise_over = [&](std::size_t minutes) {
      return pace.air_c.size() <= minutes ? kUnknown : pace.air_c.back() - pace.air_c[pace.air_c.size() - 1 - minutes];
    };
    const double rise = rise_over(kLearnRise_min) / static_cast<double>(kLearnRise_min);
    if (pace.fans_off_min > kLearnRise_min && known(rise) && rise > kMoves)
      keep_fastest(pace.rise_k_min, rise, rise > pace.rise_k_min.value, now_);
    const double fall = -rise_over(kLearnFall_min);
    std::string from;
    const auto outside = outside_c(house, from);
    if (pace.heaters_off_min <= kLearnFall_min || !known(fall) || fall < kFallNoticed_k || !outside) continue;
    const double middle = pace.air_c.back() + fall / 2;
    if (const auto constant = danger::time_constant_min(middle, *outside, fall / static_cast<double>(kLearnFall_min)))
      keep_fastest(pace.constant_min, *constant, *constant < pace.constant_min.value, now_);
  }
}

/// The side on which a rule is about the air of the whole house.
std::optional<Side> Watch::side_of_air(std::size_t index) const {
  const WatchedRule& rule = rules_->rules[index];
  const auto air = rules_->find_measure(kAir);
  if (!air || rule.probe) return std::nullopt;
  if (!rule.watch) return side_asked(*rule.limits.front().expression, *air);
  const auto level = level_of(*rule.watch);
  const auto worst = engine_->state(index).worst(rule.staged);
  if (!level || level->measure != *air || !worst) return std::nullopt;
  return rule.limits[*worst].side;
}

/// "Rising, 36 C by 02:40.": when the air is at the limit that harms, as it goes on now. Empty where that
/// is further off than an hour, or past.
std::string Watch::harm_text(const Alarm& alarm, std::size_t rule, const Language& language) {
  const auto side = side_of_air(rule);
  const auto found = side ? harm(rules_->rules[rule].house, *side) : std::nullopt;
  if (!found || alarm.reason == Reason::ahead) return "";
  const double left_k = *side == Side::high ? found->limit - found->air : found->air - found->limit;
  const double pace = pace_towards(found->rule, *side);
  if (!known(pace) || pace < kMoves || left_k <= 0 || left_k / pace > kTextWithin_min) return "";
  const Instant then = wall() + Duration(std::llround(left_k / pace * 60'000));
  return say(language, *side == Side::high ? TextKey("rising") : TextKey("falling"),
             {{"value", with_unit(found->limit, shown(rules_->rules[found->rule].unit))}, {"time", clock_time(rules_->farm.zone, then)}});
}

}  // namespace underwing
