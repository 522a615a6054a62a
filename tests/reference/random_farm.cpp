#include "tests/reference/random_farm.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

namespace underwing {
namespace {

using std::chrono::hours;
using std::chrono::minutes;

/// 2026-03-02 09:30 in a zone that is at UTC then: placement of every flock.
constexpr Instant kPlaced{std::chrono::sys_days{std::chrono::year{2026} / 3 / 2} + hours(9) + minutes(30)};

/// Writes the rules of one pack.
class PackWriter {
 public:
  PackWriter(Dice& dice, Duration age_begin, Duration span)
      : dice_(dice), age_begin_(age_begin), span_(span) {}

  std::string flock_pack();
  std::string farm_pack();

 private:
  struct Watch {
    std::string text;
    std::string unit;        ///< of its limits
    double centre = 0;       ///< where its values are
    double step = 1;         ///< limits lie on multiples of this from the centre
    std::string difference;  ///< unit of the deadband
    bool by_curve = false;   ///< its limits may go by the curve
  };

  void measures();
  void curve();
  void rule(int number, bool has_ages);
  void condition_rule();
  void keys_of_any(bool has_ages, bool by_probe);
  void keys_of_watch(const Watch& watch);
  void low_and_high(const Watch& watch);
  void staged(const Watch& watch);
  Watch watch(bool by_probe);
  Watch across();
  Watch of_one_probe();
  Watch of_amounts();
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
  std::string spread_name() { return std::string(dice_.word({"median", "mean", "lowest", "highest"})); }
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
  line(air + "}");
  line(fmt::format("  relative_humidity: {{stale_after: {}}}", dice_.word({"2 min", "10 min"})));
  line(fmt::format("  water: {{stale_after: {}}}", dice_.word({"4 min", "30 min", "2 h"})));
  line(fmt::format("  feed: {{stale_after: {}}}", dice_.word({"10 min", "2 h"})));
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
}

PackWriter::Watch PackWriter::across() {
  const std::string outer = spread_name();
  switch (dice_.from(0, 8)) {
    case 0:
      return {fmt::format("spread(air_temperature)"), "K", 1, 0.5, "K"};
    case 1:
      return {fmt::format("{}(mean(air_temperature over {}))", outer, span()), "°C", 31, 0.25, "K", true};
    case 2:
      return {
          fmt::format("{}({}(air_temperature over {}))", outer, dice_.word({"lowest", "highest"}), span()),
          "°C",
          31,
          0.5,
          "K",
          true};
    case 3:
      return {fmt::format("{}(change(air_temperature over {}))", outer, span()), "K", 0, 0.25, "K"};
    case 4:
      return {fmt::format("{}(slope(air_temperature over {}))", outer, span()), "K/h", 0, 1, "K/h"};
    case 5:
      return {fmt::format("{}(spread(air_temperature over {}))", outer, span()), "K", 1, 0.5, "K"};
    case 6:
      return {fmt::format("{}(air_temperature) - air_target", outer), "K", 0, 0.5, "K"};
    default:
      return {fmt::format("{}(air_temperature)", outer), "°C", 31, 0.5, "K", true};
  }
}

PackWriter::Watch PackWriter::of_one_probe() {
  switch (dice_.from(0, 7)) {
    case 0:
      return {fmt::format("mean(air_temperature over {})", span()), "°C", 31, 0.25, "K", true};
    case 1:
      return {fmt::format("{}(air_temperature over {})", dice_.word({"lowest", "highest"}), span()),
              "°C",
              31,
              0.5,
              "K",
              true};
    case 2:
      return {fmt::format("change(air_temperature over {})", span()), "K", 0, 0.25, "K"};
    case 3:
      return {fmt::format("slope(air_temperature over {})", span()), "K/h", 0, 1, "K/h"};
    case 4:
      return {fmt::format("abs(air_temperature - median(air_temperature))"), "K", 0.5, 0.25, "K"};
    case 5:
      return {fmt::format("air_temperature - air_target"), "K", 0, 0.5, "K"};
    default:
      return {"air_temperature", "°C", 31, 0.5, "K", true};
  }
}

PackWriter::Watch PackWriter::of_amounts() {
  switch (dice_.from(0, 12)) {
    case 0:
    case 1:
      return {fmt::format("total(water over {})", span()), "L", 10, 2, "L"};
    case 2: {
      const std::string over = span();
      return {fmt::format("total(water over {0}) / total(feed over {0})", over), "L/kg", 2, 0.25, "L/kg"};
    }
    case 3:
      return {fmt::format("{}(bird_weight over {})", dice_.word({"mean", "lowest", "highest"}), span()), "g",
              45, 1, "g"};
    case 4:
      return {fmt::format("spread(bird_weight over {})", span()), "g", 4, 1, "g"};
    case 5:
      return {fmt::format("total(dead_birds over {})", span()), "", 2, 1, ""};
    case 6:
      return {"birds_placed - birds", "", 4, 1, ""};
    case 7:
      return {fmt::format("total(dead_birds over {}) / birds * 1000", span()), "", 2, 0.5, ""};
    case 8:
      return {"count(air_temperature)", "", 1, 1, ""};
    case 9:
      return {fmt::format("slope(relative_humidity over {})", span()), "%/h", 0, 5, "%/h"};
    case 10:
      return {fmt::format("mean(relative_humidity over {})", span()), "%", 60, 1, "%"};
    case 11:
      return {fmt::format("mean(mains over {})", span()), "", 0.5, 0.25, ""};
    default:
      return {"relative_humidity", "%", 60, 1, "%"};
  }
}

PackWriter::Watch PackWriter::watch(bool by_probe) {
  if (by_probe) return of_one_probe();
  return dice_.chance(60) ? across() : of_amounts();
}

std::string PackWriter::at(const Watch& watch, int steps, bool by_curve) {
  if (by_curve) {
    const double shift = steps * watch.step;
    return fmt::format("air_target {} {} K", shift < 0 ? "-" : "+", std::abs(shift));
  }
  const double limit = watch.centre + steps * watch.step;
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
      return fmt::format("{}(air_temperature) {} {} °C", spread_name(), dice_.word({"<", "<=", ">", ">="}),
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

std::string houses_text(Dice& dice, int count) {
  std::string text;
  for (int i = 1; i <= count; ++i) {
    text += fmt::format("  house-{}:\n    probes:\n", i);
    text +=
        fmt::format("      air_temperature: {}\n", dice.word({"[a]", "[a, b]", "[a, b, c]", "[a, b, c, d]"}));
    text += fmt::format("      relative_humidity: [centre]\n      water: {}\n",
                        dice.word({"[main]", "[left, right]"}));
    text +=
        "      feed: [auger]\n      mains: [board]\n      bird_weight: [scale]\n      dead_birds: [book]\n";
  }
  return text;
}

std::string farm_text(Dice& dice, int houses, bool yard) {
  return "format: 1\nfarm: Made Up\ntime_zone: Test/Made-Up\nhouses:\n" + houses_text(dice, houses) +
         "plugins:\n  paper: {run: print}\npeople:\n  wren: {text: \"+44 7700 900101\"}\nduty:\n  - {who: "
         "wren}\n"
         "call_out:\n  urgent:\n    - {after: 0 min, tell: on-duty, by: text}\n  soon:\n    - {after: 0 min, "
         "tell: on-duty, by: "
         "text}\n  note: {daily: \"06:30\", tell: on-duty, by: text}\n" +
         (yard ? "packs: [yard]\n" : "");
}

std::string flock_text(Dice& dice, int house, Instant tape_begin, Duration span) {
  std::string text =
      fmt::format("format: 1\nflock: flock-{0}\nhouse: house-{0}\nplaced: 2026-03-02 09:30\n", house);
  text += "birds: 1000\nchick_weight: 42 g\npacks: [made-up]\n";
  if (dice.chance(30)) text += "unloading: 08:45-10:15\n";
  if (dice.chance(50)) text += "lights: {0 d: 23 h, 1 d: 18 h, 2 d: 12 h}\nlights_on: \"05:00\"\n";
  const Instant cleared = tape_begin + span / 2;
  if (dice.chance(10) && cleared > kPlaced + minutes(1)) {
    // Far from the change of the clocks, local time is UTC before it.
    const std::string utc = to_rfc3339(floor_minute(cleared));
    if (cleared < kPlaced + hours(24))
      text += fmt::format("cleared: {} {}\n", utc.substr(0, 10), utc.substr(11, 5));
  }
  return text;
}

}  // namespace

// SplitMix64 (Steele, Lea and Flood, "Fast Splittable Pseudorandom Number Generators", 2014).
std::uint64_t Dice::mixed(std::uint64_t bits) {
  bits = (bits ^ (bits >> 30)) * 0xbf58476d1ce4e5b9ULL;
  bits = (bits ^ (bits >> 27)) * 0x94d049bb133111ebULL;
  return bits ^ (bits >> 31);
}

int Dice::from(int low, int high) {
  state_ += 0x9e3779b97f4a7c15ULL;
  return low + static_cast<int>(mixed(state_) % static_cast<std::uint64_t>(high - low + 1));
}

std::optional<Zone> random_farm_zone(const std::string& name) {
  if (name != "Test/Made-Up") return std::nullopt;
  Zone zone;
  zone.name = name;
  zone.periods = {{Instant::min(), std::chrono::seconds(0), "MUT"},
                  {kPlaced + hours(30), std::chrono::seconds(3600), "MUST"}};
  return zone;
}

RandomFarm random_farm(Dice& dice) {
  RandomFarm farm;
  farm.tape_span = minutes(dice.from(40, 240));
  Duration age_begin = minutes(dice.from(-60, 40 * 60));
  if (dice.chance(30)) age_begin = -farm.tape_span / 2;
  farm.tape_begin = floor_minute(kPlaced + age_begin);
  if (dice.chance(50)) farm.tape_begin += std::chrono::seconds(dice.from(1, 59));

  const int houses = dice.chance(25) ? 2 : 1;
  const bool yard = dice.chance(20);
  farm.files.farm_path = "farm.yaml";
  farm.files.farm_text = farm_text(dice, houses, yard);
  for (int i = 1; i <= houses; ++i) {
    farm.files.flocks[fmt::format("flocks/{}.yaml", i)] =
        flock_text(dice, i, farm.tape_begin, farm.tape_span);
  }
  farm.files.packs["rules/made-up.yaml"] = PackWriter(dice, age_begin, farm.tape_span).flock_pack();
  if (yard) farm.files.packs["rules/yard.yaml"] = PackWriter(dice, age_begin, farm.tape_span).farm_pack();
  return farm;
}

}  // namespace underwing
