#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "rules/files/farm_loader.hpp"
#include "rules/files/ramp.hpp"
#include "rules/language/check.hpp"
#include "rules/trade/danger.hpp"

/// Whether people are in the house before its air harms the birds, once its fans, or its heaters, stand.
namespace underwing {
namespace {

constexpr const char* kAir = "air_temperature";
constexpr Duration kWeek = 7 * kDay;
constexpr std::size_t kRampMinutes = 12 * 60;
constexpr double kRamp_k = 10;  // further on, every urgent limit is past

/// What birds weigh where no rule names a curve: Aviagen, Ross 308/308 FF Broiler Performance Objectives, 2022,
/// as hatched, days 14 to 42 from memory.
const Curve& published_weight() {
  static const Curve curve{"", *parse_unit("g"),
                           {{0 * kDay, 44}, {7 * kDay, 213}, {14 * kDay, 528}, {21 * kDay, 1012}, {28 * kDay, 1616}, {35 * kDay, 2296}, {42 * kDay, 2998}},
                           ""};
  return curve;
}

/// Who may be the only one told by the first step, and comes last: the person and the minutes from the alarm
/// to the house.
struct Comer {
  std::string who;
  double minutes = 0;
};

std::optional<Comer> last_to_come(const Farm& farm) {
  const auto plan = farm.call_out.find(Priority::urgent);
  if (plan == farm.call_out.end() || plan->second.steps.empty()) return std::nullopt;
  const CallStep& step = plan->second.steps.front();
  const auto told = [&](const std::string& name) {
    if (step.tell.front() == "everyone") return true;
    if (step.tell.front() != "on-duty") return std::find(step.tell.begin(), step.tell.end(), name) != step.tell.end();
    return std::any_of(farm.duty.begin(), farm.duty.end(), [&](const DutyShift& shift) { return shift.who == name; });
  };
  // Of several who are told at once the nearest is enough; on duty is one at a time.
  const bool one_at_a_time = step.tell.front() == "on-duty";
  std::optional<Comer> found;
  for (const Person& person : farm.people) {
    if (!person.away || !told(person.name)) continue;
    const double minutes = hours_of(step.after + *person.away) * 60;
    if (!found || (one_at_a_time ? minutes > found->minutes : minutes < found->minutes)) found = Comer{person.name, minutes};
  }
  return found;
}

/// Still air from `from_c` on, minute by minute, as far as the birds warm it.
std::vector<double> still_air(const danger::House& house, double from_c) {
  std::vector<double> air{from_c};
  while (air.size() < kRampMinutes && air.back() < from_c + kRamp_k) {
    const auto next = danger::minutes_to_heat(house, air.back(), air.back() + 0.01);
    if (!next || *next <= 0) break;
    air.push_back(air.back() + 0.01 / *next);
  }
  return air;
}

/// Air without heaters, minute by minute, as it goes towards that outside; what birds warm is left out.
std::vector<double> cooling_air(const House& house, double from_c) {
  const double constant_min = hours_of(*house.time_constant) * 60;
  std::vector<double> air{from_c};
  while (air.size() < kRampMinutes && air.back() > from_c - kRamp_k) {
    air.push_back(*house.outside_c + (from_c - *house.outside_c) * std::exp(-static_cast<double>(air.size()) / constant_min));
  }
  return air;
}

bool asks_for(const WatchedRule& rule, std::size_t measure) {
  return reads(rule.watch, measure) || std::any_of(rule.limits.begin(), rule.limits.end(), [&](const Limit& limit) { return reads(limit.expression, measure); });
}

/// What becomes of the air once fans or heaters stand, at one age.
struct Stop {
  Limit::Side side = Limit::Side::high;  ///< low: the heaters
  double harm_c = 0, minutes_to_harm = 0, minutes_to_call = 0;
  std::string harmed_by, called_by;
};

}  // namespace

std::optional<FarmLoader::Stocked> FarmLoader::stocked(const FlockFile& file) const {
  const auto air = set_->find_measure(kAir);
  if (!file.house || !air || !in_house_.contains(*file.house)) return std::nullopt;
  Stocked all{*air, &published_weight(), nullptr, {}};
  for (const Placed* placed : in_house_.at(*file.house)) {
    const WatchedRule& rule = set_->rules[placed->rule];
    if ((rule.flock && *rule.flock != file.index) || rule.probe || !asks_for(rule, *air)) continue;
    all.rules.push_back(placed);
    if (!all.target && placed->level && placed->level->measure == *air) {
      if (const auto target = target_of(rule)) all.target = target->curve;
    }
  }
  if (const Curve* own = weight_curve_of(*set_, file.index)) all.weight = own;
  return all.target == nullptr ? std::nullopt : std::optional(all);
}

namespace {

/// The furthest urgent limit of that side on the level of the air at that age.
void find_harm(Stop& stop, const WatchedRule& rule, const Flock& flock, Duration age) {
  for (const Limit& limit : rule.limits) {
    if (limit.side != stop.side || limit.priority != Priority::urgent) continue;
    const double value = value_at_age(*limit.expression, rule.curves, hours_of(age), facts_of(&flock));
    const bool nearer = stop.side == Limit::Side::high ? value <= stop.harm_c : value >= stop.harm_c;
    if (std::isnan(value) || (!stop.harmed_by.empty() && nearer)) continue;
    stop.harm_c = value;
    stop.harmed_by = rule.name;
  }
}

}  // namespace

/// What the rules say of that air, and when it harms. nullopt: they do not call, or it never harms.
std::optional<FarmLoader::TimeLeft> FarmLoader::time_left(const Stocked& house, const FlockFile& file, Duration age, const std::vector<double>& air,
                                                          Limit::Side side) const {
  const Flock& flock = set_->flocks[file.index];
  Stop stop;
  stop.side = side;
  for (const Placed* placed : house.rules) {
    const WatchedRule& rule = set_->rules[placed->rule];
    if (age < rule.from.value_or(-kDay) || (rule.until && age >= *rule.until)) continue;
    if (placed->level && placed->level->measure == house.air) find_harm(stop, rule, flock, age);
    const auto raised = raised_on({house.air, air, hours_of(age), &flock, nullptr}, rule);
    if (!raised || (!stop.called_by.empty() && *raised >= stop.minutes_to_call)) continue;
    stop.minutes_to_call = *raised;
    stop.called_by = rule.name;
  }
  const auto past = std::find_if(air.begin(), air.end(), [&](double it) { return side == Limit::Side::high ? it >= stop.harm_c : it <= stop.harm_c; });
  if (stop.harmed_by.empty() || stop.called_by.empty() || past == air.end()) return std::nullopt;
  const Unit unit = shown_in(house.target->unit, set_->farm.units);
  stop.minutes_to_harm = static_cast<double>(past - air.begin());
  return TimeLeft{std::max(0.0, stop.minutes_to_harm - stop.minutes_to_call),
                  fmt::format("from {} to the {} of '{}' in {:.0f} min, and '{}' calls after {:.0f} min", to_a_tenth(unit, air.front()),
                              to_a_tenth(unit, stop.harm_c), stop.harmed_by, stop.minutes_to_harm, stop.called_by, stop.minutes_to_call)};
}

/// Only where farm.yaml says what is needed: of heat the volume of the house; of cold how it cools and how cold it is
/// outside, since how fast houses cool is published nowhere.
void FarmLoader::judge_time_left(const FlockFile& file) {
  const auto comer = last_to_come(set_->farm);
  const auto house = comer ? stocked(file) : std::nullopt;
  if (!house) return;
  const Flock& flock = set_->flocks[file.index];
  const House& entry = set_->houses[*file.house];
  for (const Limit::Side side : {Limit::Side::high, Limit::Side::low}) {
    const bool heat = side == Limit::Side::high;
    if (heat ? !entry.volume_m3 : !entry.time_constant || !entry.outside_c) continue;
    std::string first, left_at;
    for (Duration age = Duration::zero(); age <= kLastDay; age += kWeek) {
      if (flock.cleared && flock.placed + age >= *flock.cleared) break;
      const double weight_g = value_of(*house->weight, hours_of(age));
      const double from_c = value_of(*house->target, hours_of(age));
      const auto left = time_left(*house, file, age,
                                  heat ? still_air({*entry.volume_m3, flock.birds, weight_g / 1000, 0, 0}, from_c) : cooling_air(entry, from_c), side);
      if (!left || left->minutes >= comer->minutes) continue;
      left_at += fmt::format("{}{:.0f} min at {}", left_at.empty() ? "" : ", ", left->minutes, age == Duration::zero() ? "placement" : to_words(age));
      if (!first.empty()) continue;
      first = at_age(age) + (heat ? fmt::format(" {:.0f} birds of {} warm still air ", flock.birds, weight_shown(weight_g, set_->farm.units)) : " the air falls ") + left->course;
    }
    if (!first.empty()) report_time_left(entry, side, comer->who, comer->minutes, first + ". That leaves " + left_at);
  }
}

void FarmLoader::report_time_left(const House& house, Limit::Side side, const std::string& who, double minutes, const std::string& course) {
  const bool heat = side == Limit::Side::high;
  const auto draft = std::find_if(farm_.houses.begin(), farm_.houses.end(), [&](const HouseDraft& it) { return it.name == house.name; });
  const std::string taken = heat ? "Reckoned with heaters off and no fresh air (CIGR, 2002, from memory)"
                                 : fmt::format("Reckoned with {} outside and the time constant of {} that farm.yaml gives; what birds warm is left out",
                                               with_unit(*house.outside_c, shown_in("°C", set_->farm.units)), to_words(*house.time_constant));
  report_caution(log_, heat ? *draft->volume : *draft->time_constant_node,
                 fmt::format("with its {} off, {} leaves people less than the {:.0f} min that {} needs from the alarm to the house: {}. {}",
                             heat ? "fans" : "heaters", house.name, minutes, who, course, taken));
}

}  // namespace underwing
