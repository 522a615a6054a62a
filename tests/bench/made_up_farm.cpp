#include "tests/bench/made_up_farm.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <cmath>
#include <cstdio>
#include <cstdlib>
#include <filesystem>

#include "daemon/farm_files.hpp"
#include "daemon/zone_files.hpp"
#include "rules/engine/program.hpp"

namespace underwing {

namespace {

struct Kind {
  const char* measure;
  int probes;
  double level, noise, step;  ///< values are level +- noise, in whole steps
};

/// Sixty probes of a big house, more of what differs from place to place.
constexpr std::array<Kind, 23> kKinds = {{
    {"air_temperature", 12, 0, 0.3, 0.1},
    {"air_speed", 2, 0.3, 0.1, 0.01},
    {"ammonia", 2, 8, 1, 0.1},
    {"bird_weight", 1, 0, 0, 1},
    {"carbon_dioxide", 2, 1800, 100, 10},
    {"carbon_monoxide", 2, 4, 1, 1},
    {"fan_running", 2, 1, 0, 1},
    {"feed", 4, 0, 0, 0.01},
    {"feed_in_bin", 2, 8000, 20, 1},
    {"floor_temperature", 4, 29, 0.3, 0.1},
    {"gas_level", 1, 70, 1, 1},
    {"generator", 1, 0, 0, 1},
    {"heat_asked", 1, 1, 0, 1},
    {"heater_running", 2, 1, 0, 1},
    {"light", 3, 30, 2, 1},
    {"litter_temperature", 4, 29, 0.2, 0.1},
    {"mains", 1, 1, 0, 1},
    {"outside_humidity", 1, 80, 2, 1},
    {"outside_temperature", 1, 4, 0.5, 0.1},
    {"relative_humidity", 4, 55, 2, 0.1},
    {"static_pressure", 2, 20, 3, 1},
    {"water", 4, 0, 0, 0.01},
    {"water_pressure", 2, 20000, 500, 100},
}};
static_assert([] {
  int sum = 0;
  for (const Kind& kind : kKinds) sum += kind.probes;
  return sum;
}() == static_cast<int>(kProbesPerHouse));

std::string probes_text() {
  std::string text;
  for (const Kind& kind : kKinds) {
    text += fmt::format("      {}: [", kind.measure);
    for (int i = 1; i <= kind.probes; ++i) text += fmt::format("{}p{}", i == 1 ? "" : ", ", i);
    text += "]\n";
  }
  return text;
}

std::string flock_text(std::size_t house, const std::string& packs) {
  return fmt::format(
      "format: 1\nflock: flock-{0}\nhouse: house-{0}\nplaced: 2026-03-02 10:00\nbirds: 20000\nchick_weight: 42 g\n"
      "packs: [{1}]\nlights: {{0 d: 23 h, 7 d: 18 h}}\nlights_on: \"05:00\"\n",
      house, packs);
}

/// A whole number in [0, 1000) from a place and a time, the same on every machine (SplitMix64, Steele, Lea and Flood,
/// 2014).
int roll(std::uint64_t a, std::uint64_t b) {
  std::uint64_t bits = (a + 1) * 0x9e3779b97f4a7c15ULL + b * 0xd1342543de82ef95ULL;
  bits = (bits ^ (bits >> 30)) * 0xbf58476d1ce4e5b9ULL;
  bits = (bits ^ (bits >> 27)) * 0x94d049bb133111ebULL;
  return static_cast<int>((bits ^ (bits >> 31)) % 1000);
}

/// How much colder than wanted: every twelve hours, from the second on, down by 4 K in ten minutes, and back.
double cold_spell_K(Duration since_begin) {
  const double minutes = std::fmod(hours_of(since_begin) * 60.0, 720.0) - 120.0;
  if (minutes < 0 || minutes > 40) return 0;
  return 4.0 * std::min({1.0, minutes / 10.0, (40.0 - minutes) / 10.0});
}

const Curve* find_curve(const RuleSet& rules, const std::string& name) {
  for (const WatchedRule& rule : rules.rules) {
    for (const auto& curve : rule.curves) {
      if (curve->name == name) return curve.get();
    }
  }
  return nullptr;
}

/// What one probe says; `number` counts its readings from 0.
class Voice {
 public:
  explicit Voice(const RuleSet& rules)
      : air_target_(find_curve(rules, "warm_start")), weight_target_(find_curve(rules, "weight_target")) {}

  [[nodiscard]] double value(const Probe& probe, std::size_t index, std::uint64_t number, Instant time) const {
    const std::string& name = probe.quality.name;
    const Kind& kind = *std::find_if(kKinds.begin(), kKinds.end(), [&](const Kind& k) { return name == k.measure; });
    const double noise = roll(index, number) / 499.5 - 1.0;
    const double age_h = hours_of(time - (kReadingsBegin - std::chrono::hours(192)));
    double level = kind.level + kind.noise * noise;
    if (name == "air_temperature") level += wanted_C(age_h) - cold_spell_K(time - kReadingsBegin);
    if (name == "bird_weight" && weight_target_) level = curve_at(*weight_target_, age_h) * (1 + 0.1 * noise);
    if (name == "feed") level = static_cast<double>(number) * 0.05;
    if (name == "water") level = static_cast<double>(number) * 0.09;
    // Divided, not multiplied: the nearest number to a short decimal, as an instrument writes it.
    return kind.step < 1 ? std::round(level / kind.step) / std::round(1 / kind.step) : std::round(level / kind.step) * kind.step;
  }

 private:
  [[nodiscard]] double wanted_C(double age_h) const {
    // Canonical temperatures may count from elsewhere; the probes speak °C.
    return air_target_ ? (curve_at(*air_target_, age_h) - air_target_->unit.offset) / air_target_->unit.factor : 30.0;
  }
  const Curve* air_target_;
  const Curve* weight_target_;
};

}  // namespace

FarmFiles made_up_farm(std::size_t houses, const std::string& packs, const std::map<std::string, std::string>& own) {
  FarmFiles files;
  files.farm_path = "farm.yaml";
  files.farm_text = "format: 1\nfarm: Invented\ntime_zone: Europe/London\nhouses:\n";
  for (std::size_t i = 1; i <= houses; ++i) {
    files.farm_text += fmt::format("  house-{}:\n    probes:\n{}", i, probes_text());
    files.flocks[fmt::format("flocks/{}.yaml", i)] = flock_text(i, packs);
  }
  files.farm_text += kPluginsText;
  files.farm_text +=
      "people:\n  wren: {text: \"+44 7700 900101\"}\nduty:\n  - {who: wren}\n"
      "call_out:\n  urgent:\n    - {after: 0 min, tell: on-duty, by: text, then_every: 15 min}\n  soon:\n"
      "    - {after: 0 min, tell: on-duty, by: text}\n  note: {daily: \"06:30\", tell: on-duty, by: text}\n"
      "packs: [power]\n";
  files.packs = own;
  if (auto shipped = read_yaml_files(shipped_pack_folder()); shipped.ok()) files.shipped = *shipped;
  return files;
}

std::shared_ptr<const RuleSet> load_or_exit(const FarmFiles& files) {
  const Loaded loaded = load_farm(files, load_zone);
  if (loaded.ok()) return loaded.rules;
  for (const Issue& issue : loaded.issues) {
    if (issue.severity == Issue::Severity::error) fmt::print(stderr, "{}:{}: {}\n", issue.file, issue.line, issue.text);
  }
  std::exit(2);
}

std::shared_ptr<const RuleSet> multiplied(const RuleSet& one, std::size_t houses) {
  auto many = std::make_shared<RuleSet>(one);
  const auto name_of = [](std::size_t house) { return fmt::format("house-{:06}", house); };
  many->houses.front().name = name_of(0);
  for (std::size_t house = 1; house < houses; ++house) {
    const std::size_t probes = house * one.probes.size();
    many->houses.push_back(one.houses.front());
    many->houses.back().name = name_of(house);
    for (auto& [measure, list] : many->houses.back().probes) {
      for (std::size_t& probe : list) probe += probes;
    }
    for (Probe probe : one.probes) {
      probe.house = house;
      many->probes.push_back(probe);
    }
    for (Flock flock : one.flocks) {
      flock.house = house;
      many->flocks.push_back(flock);
    }
    for (WatchedRule rule : one.rules) {
      rule.house = house;
      if (rule.flock) *rule.flock += house * one.flocks.size();
      if (rule.probe) *rule.probe += probes;
      many->rules.push_back(rule);
    }
  }
  return many;
}

std::vector<BenchReading> made_up_readings(const RuleSet& rules, Duration span) {
  const Voice voice(rules);
  const auto rounds = static_cast<std::uint64_t>(span / kReadingEvery);
  std::vector<BenchReading> readings;
  readings.reserve(rounds * rules.probes.size());
  const std::size_t houses = rules.houses.size();
  for (std::uint64_t round = 0; round < rounds; ++round) {
    const Instant begin = kReadingsBegin + kReadingEvery * static_cast<std::int64_t>(round);
    for (std::size_t i = 0; i < rules.probes.size(); ++i) {
      const Probe& probe = rules.probes[i];
      const auto phase = Duration(static_cast<std::int64_t>(9000 * probe.house / houses + i % kProbesPerHouse));
      readings.push_back({begin + phase, static_cast<std::uint32_t>(i), voice.value(probe, i, round, begin)});
    }
  }
  std::stable_sort(readings.begin(), readings.end(), [](const auto& a, const auto& b) { return a.time < b.time; });
  return readings;
}

}  // namespace underwing
