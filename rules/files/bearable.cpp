#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <cmath>
#include <set>

#include "rules/files/rule_cautions.hpp"
#include "rules/language/check.hpp"

/// Holds urgent limits against what birds and people can bear. Every number has its source beside it.
namespace underwing {
namespace {

/// A flock can be this much warmer than its target for a while: common practice. Urgent limits that leave
/// less time stand 3 to 5 K above it.
constexpr double kHotter_k = 6;

/// Above this in the shade of the house broilers over 31 days die, whatever their target: Vale and others,
/// Revista Brasileira de Ciencia Avicola, 2010, 34.4 °C as the day's highest.
constexpr double kHot_c = 34.4;

/// 5.6 K under the brooding temperature can cost a fifth of the weight at day 10: University of Georgia,
/// Czarick and Fairchild, 2014. The 6 K are common practice.
constexpr double kColder_k = 6;

/// Nearer to the target than this, air that is as it should be wakes people: the mean of 10 min still carries about
/// half of a heater's saw-tooth of 1 to 3 K. Common practice.
constexpr double kNear_k = 1;

/// How far a farm's target may lie outside the published ones: common practice.
constexpr double kOutside_k = 2;

/// Targets as published, over all humidities: the lowest and the highest of Aviagen, Ross Broiler Management
/// Handbook, 2014 and 2018 (table of dry bulb at 70 % and at 40 % relative humidity), and Cobb-Vantress,
/// Broiler Management Guide, 2012 to 2018; all from memory. The table ends at 27 days.
struct PublishedTarget {
  int day;
  double lowest_c, highest_c;
};
constexpr std::array<PublishedTarget, 9> kPublished{{{0, 29.2, 36.0},
                                                     {3, 27.3, 33.7},
                                                     {6, 26.0, 32.5},
                                                     {9, 25.0, 31.3},
                                                     {12, 24.0, 30.2},
                                                     {15, 23.0, 29.0},
                                                     {18, 21.9, 27.7},
                                                     {21, 21.3, 26.9},
                                                     {27, 19.3, 24.8}}};

/// Gases: what nobody can bear has one number at all ages.
struct Border {
  const char* measure;
  double high;  ///< in the measure's unit
  const char* text;
};
constexpr std::array<Border, 3> kBorders{{
    {"carbon_monoxide", 200,
     "this urgent limit is {}; nobody may breathe more than 200 ppm of carbon monoxide "
     "at any "
     "time (NIOSH, Criteria for a Recommended Standard, 1972, ceiling)"},
    {"carbon_dioxide", 12000,
     "this urgent limit is {}, and chicks suffer from 12000 ppm of carbon dioxide on (Reece and Lott, 1980)"},
    {"ammonia", 50,
     "this urgent limit is {}, and 50 ppm of ammonia already cost a sixth of the weight (University of "
     "Georgia, Poultry "
     "Housing Tips, 2018, after Reece 1980 and Miles 2004)"},
}};

bool reads_curve(const Expression& expression, const WatchedRule& rule, const Curve& curve) {
  return (expression.kind == Expression::Kind::curve && rule.curves[expression.index].get() == &curve) ||
         std::any_of(expression.children.begin(), expression.children.end(),
                     [&](const ExpressionPtr& child) { return reads_curve(*child, rule, curve); });
}

/// Whether the limit keeps a distance from this curve, as `air_target - 2 K` does. A curve that stands alone is a curve
/// of limits, and no target.
bool keeps_distance_from(const Expression& limit, const WatchedRule& rule, const Curve& curve) {
  const bool sum = limit.kind == Expression::Kind::add || limit.kind == Expression::Kind::subtract;
  if (sum && reads_curve(limit, rule, curve)) return true;
  return std::any_of(limit.children.begin(), limit.children.end(),
                     [&](const ExpressionPtr& child) { return keeps_distance_from(*child, rule, curve); });
}

double published(Duration age, double PublishedTarget::*side) {
  const double day = hours_of(age) / 24;
  std::size_t i = 1;
  while (i + 1 < kPublished.size() && day > kPublished[i].day) ++i;
  const auto& a = kPublished[i - 1];
  const auto& b = kPublished[i];
  return a.*side + (b.*side - a.*side) * (day - a.day) / (b.day - a.day);
}

class BearableJudge {
 public:
  BearableJudge(const RuleDraft& draft, const WatchedRule& rule, const RuleSet& set, const Flock& flock,
                const Target& target, IssueLog& log)
      : draft_(draft), rule_(rule), set_(set), flock_(flock), target_(target), log_(log) {}

  void run() {
    if (!rule_.watch) return;
    const auto level = level_of(*rule_.watch);
    if (!level) return;
    const std::string& measure = set_.measures[level->measure].name;
    std::optional<Limit::Side> judged;
    for (std::size_t i = 0; i < rule_.limits.size(); ++i) {
      const Limit& limit = rule_.limits[i];
      // Of several urgent ones on one side, the first one wakes people.
      if (limit.priority != Priority::urgent || judged == limit.side) continue;
      judged = limit.side;
      if (measure == "air_temperature") {
        judge_warmth(i);
        judge_nearness(i);
      }
      if (limit.side == Limit::Side::high) judge_borders(measure, i);
    }
  }

 private:
  void judge_warmth(std::size_t index) {
    const Limit& limit = rule_.limits[index];
    const bool high = limit.side == Limit::Side::high;
    std::optional<Duration> worst_at;
    double furthest = 0;
    for (const Duration age : ages()) {
      if (!high && age >= kOwnWarmth) break;
      const double target = value_of(*target_.curve, hours_of(age));
      const double value = at(limit, age);
      const double beyond = high ? value - std::max(target + kHotter_k, kHot_c) : target - kColder_k - value;
      // A hundredth of a kelvin is no difference that anybody meant.
      if (!(beyond > 0.01) || std::fabs(value - target) <= furthest + 1e-6) continue;
      furthest = std::fabs(value - target);
      worst_at = age;
    }
    if (!worst_at) return;
    const Unit unit = shown_in(rule_.unit, set_.farm.units);
    const std::string head =
        fmt::format("{} this urgent limit is {}, {} {} the {} of {}. ",
                    at_age(*worst_at), to_a_tenth(unit, at(limit, *worst_at)),
                    to_a_tenth(unit.of_difference(), furthest), high ? "above" : "below",
                    to_a_tenth(unit, value_of(*target_.curve, hours_of(*worst_at))), target_.name);
    const auto point = [&](double celsius) { return to_a_tenth(shown_in("°C", set_.farm.units), celsius); };
    const auto span = [&](double kelvin) { return to_a_tenth(shown_in("K", set_.farm.units), kelvin); };
    report_danger(log_, *draft_.limits[index].expression.node,
                   head + (high ? fmt::format("Set it at most {} above (common practice), or at {} where that is "
                                              "more: big birds die from "
                                              "there (Vale and others, 2010). In 2020 a house in England was lost with "
                                              "its alarm at {} in "
                                              "place of {} (BBC News, court report, 2022)",
                                              span(6), point(34.4), point(37), point(27))
                                : fmt::format("Set it at most {} below (common practice): {} can cost a fifth of the "
                                              "weight at day 10 "
                                              "(University of Georgia, Czarick and Fairchild, 2014), and 45 min at {} "
                                              "marks a day-old to "
                                              "the end (University of Georgia, Poultry Housing Tips 7(12), 1995)",
                                              span(6), span(5.6), point(12.8))));
  }

  void judge_nearness(std::size_t index) {
    const Limit& limit = rule_.limits[index];
    if (!keeps_distance_from(*limit.expression, rule_, *target_.curve)) return;
    const bool high = limit.side == Limit::Side::high;
    std::optional<Duration> worst_at;
    double nearest = kNear_k - 0.01;
    for (const Duration age : ages()) {
      const double target = value_of(*target_.curve, hours_of(age));
      const double room = high ? at(limit, age) - target : target - at(limit, age);
      if (!(room < nearest)) continue;
      nearest = room;
      worst_at = age;
    }
    if (!worst_at) return;
    const Unit unit = shown_in(rule_.unit, set_.farm.units);
    const Unit kelvin = shown_in("K", set_.farm.units);
    const bool below = (nearest < 0) == high;
    const std::string where =
        std::fabs(nearest) < 0.05 ? std::string("right at") : fmt::format("{} {}", to_a_tenth(kelvin, std::fabs(nearest)), below ? "below" : "above");
    report_caution(log_, *draft_.limits[index].expression.node,
                   fmt::format("{} this urgent {} limit is {}, {} the {} of {}: air that is as it should be wakes people. "
                               "Leave it at least {} (common practice, for the saw-tooth of heaters)",
                               at_age(*worst_at), high ? "high" : "low", to_a_tenth(unit, at(limit, *worst_at)), where,
                               to_a_tenth(unit, value_of(*target_.curve, hours_of(*worst_at))), target_.name,
                               to_a_tenth(kelvin, kNear_k)));
  }

  void judge_borders(const std::string& measure, std::size_t index) {
    for (const Border& border : kBorders) {
      if (measure != border.measure) continue;
      for (const Duration age : ages()) {
        const double value = at(rule_.limits[index], age);
        if (!(value > border.high + 1e-6)) continue;
        report_danger(log_, *draft_.limits[index].expression.node,
                       fmt::format(fmt::runtime(border.text), to_a_tenth(shown_in(rule_.unit, set_.farm.units), value)));
        return;
      }
    }
  }

  /// Ages of the rule while birds are there.
  [[nodiscard]] std::vector<Duration> ages() const {
    std::vector<Duration> all;
    for (const Duration age : ages_judged(rule_, kDay)) {
      const bool gone = flock_.cleared && flock_.placed + age >= *flock_.cleared;
      if (age >= Duration::zero() && age <= kLastDay && !gone) all.push_back(age);
    }
    return all;
  }

  [[nodiscard]] double at(const Limit& limit, Duration age) const {
    return value_at_age(*limit.expression, rule_.curves, hours_of(age), facts_of(&flock_));
  }

  const RuleDraft& draft_;
  const WatchedRule& rule_;
  const RuleSet& set_;
  const Flock& flock_;
  const Target& target_;
  IssueLog& log_;
};

}  // namespace

std::optional<Target> target_of(const WatchedRule& rule) {
  for (const auto& curve : rule.curves) {
    if (curve->unit.point) return Target{curve.get(), fmt::format("the curve '{}'", curve->name)};
  }
  return std::nullopt;
}

Target published_target() {
  // Cobb-Vantress, Broiler Management Guide, 2012 to 2018 editions, parents over 30 weeks; from memory.
  static const Curve curve{"",
                           *parse_unit("°C"),
                           {{0 * kDay, 33},
                            {7 * kDay, 30},
                            {14 * kDay, 27},
                            {21 * kDay, 24},
                            {28 * kDay, 21},
                            {35 * kDay, 19},
                            {42 * kDay, 18}},
                           ""};
  return {&curve, "a breeder's guide (Cobb-Vantress, 2012 to 2018, from memory)"};
}

void judge_bearable(const RuleDraft& draft, const WatchedRule& rule, const RuleSet& set, const Flock& flock,
                    const Target& target, IssueLog& log) {
  BearableJudge(draft, rule, set, flock, target, log).run();
}

void judge_target(const YamlNode& points, const Curve& curve, const WatchedRule& rule, Units units, IssueLog& log) {
  // Each day as well: between its points a curve goes straight, and after the last one on and on.
  std::set<Duration> ages;
  for (const auto& [age, value] : curve.points) ages.insert(age);
  for (int day = 0; day <= kPublished.back().day; ++day) ages.insert(day * kDay);
  for (const Duration age : ages) {
    if (age < Duration::zero() || age > kPublished.back().day * kDay) continue;
    if (age < rule.from.value_or(-kDay) || (rule.until && age >= *rule.until)) continue;
    const double value = value_of(curve, hours_of(age));
    const double lowest = published(age, &PublishedTarget::lowest_c);
    const double highest = published(age, &PublishedTarget::highest_c);
    if (value >= lowest - kOutside_k && value <= highest + kOutside_k) continue;
    const Unit shown = shown_in("°C", units);
    report_danger(
        log, points,
        fmt::format("{} this curve wants {}, and breeders want {} to {}, "
                    "depending on the humidity (Aviagen, Ross Broiler Management Handbook, 2014 and 2018; "
                    "Cobb-Vantress, Broiler Management Guide, 2012 to 2018; from memory)",
                    at_age(age), to_a_tenth(shown, value), to_a_tenth(shown, lowest), to_a_tenth(shown, highest)));
    return;
  }
}

}  // namespace underwing
