#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "tests/reference/random_farm.hpp"

namespace underwing {
namespace {

using std::chrono::minutes;

/// What a rule may watch. In the text, {outer} combines probes, {over} is a span, {edge} is lowest or
/// highest.
struct Watch {
  std::string text;
  std::string unit;        ///< of its limits
  double centre = 0;       ///< where its values are
  double step = 1;         ///< limits lie on multiples of this from the centre
  std::string difference;  ///< unit of the deadband
  bool by_curve = false;   ///< its limits may go by the curve
};

const std::vector<Watch> kAcross = {
    {"{outer}(air_temperature)", "°C", 31, 0.5, "K", true},
    {"{outer}(air_temperature)", "°C", 31, 0.5, "K", true},
    {"{outer}(air_temperature)", "°C", 31, 0.25, "K", true},
    {"{outer}(air_temperature) - air_target", "K", 0, 0.5, "K"},
    {"spread(air_temperature)", "K", 1, 0.5, "K"},
    {"{outer}(mean(air_temperature over {over}))", "°C", 31, 0.25, "K", true},
    {"{outer}({edge}(air_temperature over {over}))", "°C", 31, 0.5, "K", true},
    {"{outer}(change(air_temperature over {over}))", "K", 0, 0.25, "K"},
    {"{outer}(slope(air_temperature over {over}))", "K/h", 0, 1, "K/h"},
    {"{outer}(spread(air_temperature over {over}))", "K", 1, 0.5, "K"},
    {"age - age_at(air_target, {outer}(air_temperature))", "min", 0, 15, "min"},
    {"{outer}(air_temperature) - at(air_target, age + 20 min)", "K", 0, 0.5, "K"},
    {"max(min(lowest(air_temperature), air_target), mean(air_temperature))", "°C", 31, 0.5, "K", true},
    {"max(min(lowest(air_temperature), 31 °C, air_target), 29 °C, mean(air_temperature))", "°C", 31, 0.5, "K",
     true},
    {"first_known(felt_temperature({outer}(air_temperature), relative_humidity), air_target)", "°C", 31, 0.5,
     "K", true},
    {"felt_temperature({outer}(air_temperature), 45 %, 3 K)", "°C", 28, 0.5, "K"},
    {"felt_temperature({outer}(air_temperature), relative_humidity, 20 K, 48 %)", "°C", 31, 0.5, "K"},
    {"wet_bulb({outer}(air_temperature), relative_humidity)", "°C", 25, 0.5, "K"},
    {"dew_point({outer}(air_temperature), relative_humidity)", "°C", 22.5, 0.5, "K"},
};

const std::vector<Watch> kOfOneProbe = {
    {"air_temperature", "°C", 31, 0.5, "K", true},
    {"air_temperature", "°C", 31, 0.25, "K", true},
    {"air_temperature - air_target", "K", 0, 0.5, "K"},
    {"mean(air_temperature over {over})", "°C", 31, 0.25, "K", true},
    {"{edge}(air_temperature over {over})", "°C", 31, 0.5, "K", true},
    {"change(air_temperature over {over})", "K", 0, 0.25, "K"},
    {"slope(air_temperature over {over})", "K/h", 0, 1, "K/h"},
    {"abs(air_temperature - median(air_temperature))", "K", 0.5, 0.25, "K"},
};

const std::vector<Watch> kOfAmounts = {
    {"goal_day_7 - chick_weight", "g", 148, 2, "g"},
    {"first_known(goal_day_7, chick_weight)", "g", 100, 2, "g"},
    {"total(water over {over})", "L", 10, 2, "L"},
    {"total(water over {over})", "L", 4, 1, "L"},
    {"total(water over {over}) / total(feed over {over})", "L/kg", 2, 0.25, "L/kg"},
    {"{edge}(bird_weight over {over})", "g", 45, 1, "g"},
    {"mean(bird_weight over {over})", "g", 45, 0.5, "g"},
    {"spread(bird_weight over {over})", "g", 4, 1, "g"},
    {"share_of(bird_weight over 3 h, weight_curve)", "", 1, 0.02, ""},
    {"share_of(bird_weight over {over}, weight_curve) + share_error(bird_weight over 90 min, weight_curve)", "", 1, 0.02, ""},
    {"mortality", "%", 0.1, 0.02, "%"},
    {"total(dead_birds over {over})", "", 2, 1, ""},
    {"birds_placed - birds", "", 4, 1, ""},
    {"total(dead_birds over {over}) / birds * 1000", "", 2, 0.5, ""},
    {"count(air_temperature)", "", 1, 1, ""},
    {"slope(relative_humidity over {over})", "%/h", 0, 5, "%/h"},
    {"mean(relative_humidity over {over})", "%", 60, 1, "%"},
    {"mean(mains over {over})", "", 0.5, 0.25, ""},
    {"relative_humidity", "%", 60, 1, "%"},
    {"crop_fill", "%", 60, 2, "%"},
    {"first_known(crop_fill, relative_humidity, 61 %)", "%", 60, 2, "%"},
    {"since(crop_fill)", "min", 10, 5, "min"},
    {"since(water)", "min", 3, 1, "min"},
    {"change(crop_fill over {over})", "%", 0, 1, "%"},
};

/// Writes the rules of one pack.
class PackWriter {
 public:
  PackWriter(Dice& dice, Duration age_begin, Duration span)
      : dice_(dice), age_begin_(age_begin), span_(span) {}

  std::string flock_pack();
  std::string farm_pack();

 private:
  void measures();
  void curve();
  void rule(int number, bool has_ages);
  void condition_rule();
  void keys_of_any(bool has_ages, bool by_probe);
  void keys_of_watch(const Watch& watch);
  void low_and_high(const Watch& watch);
  void staged(const Watch& watch);
  Watch watch(bool by_probe);
  Watch filled(const Watch& pattern);
  std::string condition(int depth);
  std::string single_condition();
  std::string at(const Watch& watch, int steps, bool by_curve);
  std::string span() {
    return std::string(dice_.word(
        {"1 min", "90 s", "2 min", "3 min", "5 min", "7 min", "10 min", "20 min", "1 h", "90 min", "3 h"}));
  }
  std::string delay() {
    return std::string(
        dice_.word({"0 min", "10 s", "30 s", "1 min", "90 s", "2 min", "3 min", "5 min", "10 min"}));
  }
  std::string outer() { return std::string(dice_.word({"median", "mean", "lowest", "highest"})); }
  int age_within();
  void ages();
  void line(const std::string& text) { text_ += text + '\n'; }

  Dice& dice_;
  Duration age_begin_;
  Duration span_;
  std::string text_;
};

void PackWriter::measures() {
  line("measures:");
  std::string air =
      fmt::format("  air_temperature: {{stale_after: {}", dice_.word({"90 s", "3 min", "5 min"}));
  if (dice_.chance(50)) air += fmt::format(", flat_after: {}", dice_.word({"2 min", "4 min", "10 min"}));
  if (dice_.chance(40)) air += fmt::format(", max_rate: {} K/min", dice_.word({"0.5", "1", "1.5"}));
  if (dice_.chance(40)) air += fmt::format(", max_apart: {} K", dice_.word({"0.5", "1", "2"}));
  line(air + "}");
  line(fmt::format("  relative_humidity: {{stale_after: {}}}", dice_.word({"2 min", "10 min"})));
  line(fmt::format("  water: {{stale_after: {}}}", dice_.word({"4 min", "30 min", "2 h"})));
  line(fmt::format("  feed: {{stale_after: {}}}", dice_.word({"10 min", "2 h"})));
  line(fmt::format("  crop_fill: {{stale_after: {}}}", dice_.word({"5 min", "40 min"})));
  line(fmt::format("  mains: {{stale_after: {}}}", dice_.word({"3 min", "1 h"})));
}

/// An age on the tape or close to it, mostly on a whole minute.
int PackWriter::age_within() {
  const int span_s = static_cast<int>(std::chrono::duration_cast<std::chrono::seconds>(span_).count());
  const int begin_s = static_cast<int>(std::chrono::duration_cast<std::chrono::seconds>(age_begin_).count());
  const int age_s = begin_s + dice_.from(-600, span_s + 600);
  if (dice_.chance(60)) return age_s - age_s % 60;
  return dice_.chance(50) ? age_s - age_s % 10 : age_s;
}

void PackWriter::ages() {
  const int one_s = age_within();
  const int other_s = age_within();
  if (dice_.chance(70)) line(fmt::format("    from: {} s", std::min(one_s, other_s)));
  if (one_s != other_s && dice_.chance(50)) line(fmt::format("    until: {} s", std::max(one_s, other_s)));
}

void PackWriter::curve() {
  const auto begin_min = static_cast<int>(std::chrono::duration_cast<minutes>(age_begin_).count());
  const auto span_min = static_cast<int>(std::chrono::duration_cast<minutes>(span_).count());
  std::string points;
  int age_min = begin_min - dice_.from(1, 120);
  for (int i = 0; i < dice_.from(2, 5); ++i) {
    points += fmt::format("{}{} min: {}", points.empty() ? "" : ", ", age_min,
                          33 - i - (dice_.chance(30) ? 0.5 : 0.0));
    age_min += dice_.from(1, span_min);
  }
  line("curves:");
  line(fmt::format("  air_target: {{unit: °C, points: {{{}}}}}", points));
  line(fmt::format("  weight_curve: {{unit: g, points: {{{} min: 44, {} min: 46}}}}", begin_min, begin_min + span_min));
}

Watch PackWriter::filled(const Watch& pattern) {
  Watch watch = pattern;
  watch.text = fmt::format(fmt::runtime(pattern.text), fmt::arg("outer", outer()), fmt::arg("over", span()),
                           fmt::arg("edge", dice_.word({"lowest", "highest"})));
  return watch;
}

Watch PackWriter::watch(bool by_probe) {
  if (by_probe) return filled(dice_.pick(kOfOneProbe));
  return filled(dice_.pick(dice_.chance(60) ? kAcross : kOfAmounts));
}

std::string PackWriter::at(const Watch& watch, int steps, bool by_curve) {
  if (by_curve) {
    const double shift = steps * watch.step;
    return fmt::format("air_target {} {} K", shift < 0 ? "-" : "+", std::abs(shift));
  }
  const double limit = watch.centre + steps * watch.step;
  if (watch.unit == "°C" && dice_.chance(20)) return fmt::format("{:.10g} °F", limit * 1.8 + 32);
  return fmt::format("{}{}{}", limit, watch.unit.empty() ? "" : " ", watch.unit);
}

void PackWriter::low_and_high(const Watch& watch) {
  const bool by_curve = watch.by_curve && dice_.chance(50);
  const int low = dice_.from(-3, 0);
  const bool has_low = dice_.chance(70);
  if (has_low) line("    low: " + at(watch, low, by_curve));
  if (!has_low || dice_.chance(50)) line("    high: " + at(watch, low + dice_.from(1, 4), by_curve));
  line(fmt::format("    priority: {}", dice_.word({"urgent", "soon", "note"})));
}

void PackWriter::staged(const Watch& watch) {
  line("    limits:");
  const bool high = dice_.chance(70);
  const bool by_curve = watch.by_curve && dice_.chance(40);
  const std::vector<const char*> priorities =
      dice_.chance(50) ? std::vector{"note", "soon", "urgent"} : std::vector{"soon", "urgent"};
  int steps = dice_.from(-1, 1);
  for (const char* priority : priorities) {
    line(fmt::format("      - {{{}: {}, priority: {}}}", high ? "high" : "low", at(watch, steps, by_curve),
                     priority));
    steps += high ? dice_.from(1, 2) : -dice_.from(1, 2);
  }
}

void PackWriter::keys_of_watch(const Watch& watch) {
  line("    watch: " + watch.text);
  if (dice_.chance(30)) {
    staged(watch);
  } else {
    low_and_high(watch);
  }
  if (dice_.chance(60)) {
    line(fmt::format("    deadband: {}{}{}", watch.step * dice_.from(1, 2),
                     watch.difference.empty() ? "" : " ", watch.difference));
  }
  if (dice_.chance(30)) line(fmt::format("    ahead: {}", dice_.word({"2 min", "5 min", "15 min", "1 h"})));
}

std::string PackWriter::single_condition() {
  switch (dice_.from(0, 8)) {
    case 0:
      return fmt::format("mains is {}", dice_.word({"on", "off"}));
    case 1:
      return fmt::format("lights is {}", dice_.word({"on", "off"}));
    case 2:
      return fmt::format("count(air_temperature) {} {}", dice_.word({"<", "<=", ">", ">="}),
                         dice_.from(1, 2));
    case 3:
      return fmt::format("hour_of_day {} {}", dice_.word({"<", ">="}), dice_.from(0, 23));
    case 4:
      return fmt::format("{}(air_temperature) {} {} °C", outer(), dice_.word({"<", "<=", ">", ">="}),
                         31 + dice_.from(-2, 2) * 0.5);
    case 5:
      return fmt::format("relative_humidity {} {} %", dice_.word({"<", "<=", ">", ">="}), dice_.from(58, 62));
    case 6:
      return fmt::format("age {} {} s", dice_.word({"<", ">="}), age_within());
    case 7:
      return fmt::format("total(water over {}) {} {} L", span(), dice_.word({"<=", ">"}), dice_.from(0, 12));
    default:
      return "mains is not on";
  }
}

std::string PackWriter::condition(int depth) {
  if (depth == 0 || dice_.chance(40)) return single_condition();
  const std::string left = condition(depth - 1);
  if (dice_.chance(25)) return fmt::format("not ({})", left);
  return fmt::format("({}) {} ({})", left, dice_.word({"and", "or"}), condition(depth - 1));
}

void PackWriter::keys_of_any(bool has_ages, bool by_probe) {
  if (by_probe) line("    each: probe");
  if (dice_.chance(70)) line("    on_delay: " + delay());
  if (dice_.chance(70)) line("    off_delay: " + delay());
  if (dice_.chance(70))
    line(fmt::format("    blind_after: {}",
                     dice_.word({"30 s", "1 min", "2 min", "3 min", "8 min", "20 min"})));
  if (has_ages && dice_.chance(25)) line("    only_if: " + condition(1));
  if (has_ages && dice_.chance(35)) ages();
  if (dice_.chance(30)) line("    even_during_work: true");
  line("    respond_within: 30 min");
  line("    do: Look at the birds.");
}

void PackWriter::rule(int number, bool has_ages) {
  line(fmt::format("  rule-{}:", number));
  line("    about: Made up");
  if (dice_.chance(20)) {
    line("    when: " + condition(2));
    line(fmt::format("    priority: {}", dice_.word({"urgent", "soon", "note"})));
    keys_of_any(has_ages, false);
    return;
  }
  const bool by_probe = dice_.chance(30);
  keys_of_watch(watch(by_probe));
  keys_of_any(has_ages, by_probe);
}

std::string PackWriter::flock_pack() {
  line("format: 1");
  line("pack: made-up");
  measures();
  curve();
  line("rules:");
  const int count = dice_.from(2, 8);
  for (int i = 0; i < count; ++i) rule(i, true);
  return text_;
}

std::string PackWriter::farm_pack() {
  line("format: 1");
  line("pack: yard");
  line("rules:");
  line("  mains-lost:");
  line("    about: Made up");
  line("    when: mains is off");
  line("    priority: urgent");
  keys_of_any(false, false);
  return text_;
}

}  // namespace

std::string random_flock_pack(Dice& dice, Duration age_begin, Duration span) {
  return PackWriter(dice, age_begin, span).flock_pack();
}

std::string random_farm_pack(Dice& dice) {
  return PackWriter(dice, Duration(0), Duration(0)).farm_pack();
}

}  // namespace underwing
