#include "tests/reference/random_farm.hpp"

#include <fmt/format.h>

namespace underwing {
namespace {

using std::chrono::hours;
using std::chrono::minutes;

/// 2026-03-02 09:30 in a zone that is at UTC then: placement of every flock.
constexpr Instant kPlaced{std::chrono::sys_days{std::chrono::year{2026} / 3 / 2} + hours(9) + minutes(30)};

std::string houses_text(Dice& dice, int count) {
  std::string text;
  for (int i = 1; i <= count; ++i) {
    text += fmt::format("  house-{}:\n    probes:\n", i);
    text +=
        fmt::format("      air_temperature: {}\n", dice.word({"[a]", "[a, b]", "[a, b, c]", "[a, b, c, d]"}));
    text += fmt::format("      relative_humidity: [centre]\n      water: {}\n",
                        dice.word({"[main]", "[main, spare]"}));
    text +=
        "      feed: [auger]\n      mains: [board]\n      bird_weight: [scale]\n      dead_birds: [book]\n   "
        "   crop_fill: [check]\n";
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
  if (dice.chance(50)) text += "goal_day_7: 190 g\n";
  if (dice.chance(30)) text += "unloading: 08:45-10:15\n";
  if (dice.chance(50)) text += "lights: {0 d: 23 h, 1 d: 18 h, 2 d: 12 h}\nlights_on: \"05:00\"\n";
  if (dice.chance(35)) {
    const auto age_min = std::chrono::duration_cast<minutes>(tape_begin - kPlaced).count();
    const auto age = [&] { return age_min + dice.from(-5, static_cast<int>(span / minutes(1))); };
    text += fmt::format("counts_from: {{a: {} min", age());
    for (const char* probe : {"main", "scale", "centre"}) {
      if (dice.chance(25)) text += fmt::format(", {}: {} min", probe, age());
    }
    text += "}\n";
  }
  if (dice.chance(30)) {
    text += fmt::format("adjust:\n  rule-{}: {{on_delay: {}, blind_after: {}}}\n", dice.from(0, 1),
                        dice.word({"0 min", "45 s", "4 min"}), dice.word({"1 min", "5 min"}));
    if (dice.chance(50)) text += fmt::format("  air_temperature: {{stale_after: {}}}\n", dice.word({"1 min", "4 min"}));
  }
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
  farm.files.packs["rules/made-up.yaml"] = random_flock_pack(dice, age_begin, farm.tape_span);
  if (yard) farm.files.packs["rules/yard.yaml"] = random_farm_pack(dice);
  return farm;
}

}  // namespace underwing
