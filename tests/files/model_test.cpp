// Goal: what is loaded is what the files say, in the order and the units that the engine relies on.
// Method: one farm of two houses with an adjusted pack, looked at piece by piece.

#include <gtest/gtest.h>

#include "rules/files/load.hpp"
#include "tests/files/support.hpp"

namespace underwing {
namespace {

using namespace std::chrono_literals;
using testing::at_utc;

constexpr const char* kFarm = R"(format: 1
farm: Sandpiper Hollow
time_zone: Europe/London
houses:
  south: {probes: {air_temperature: [b, a], mains: [grid]}}
  north: {probes: {air_temperature: [x], water: [main]}}
plugins:
  paper: {run: print, settings: {file: 010, list: [a, "b\"c"], none: , port: 1883, part: -0.5e1, on: true, text: "7"}}
people:
  ines: {text: "+44 7700 900101"}
  tomas: {text: "+44 7700 900102", away: 25 min}
duty:
  - {who: ines, days: Fri-Mon, from: "20:00", to: "08:00"}
  - {who: tomas}
call_out:
  urgent:
    - {after: 0 min, tell: on-duty, by: [text, call]}
    - {after: 90 s, tell: [ines, tomas], by: text, then_every: 5 min}
  soon: {hours: 05:30-21:30, steps: [{after: 0 min, tell: everyone, by: text}]}
  note: {daily: "06:30", tell: on-duty, by: text}
packs: [power]
)";

constexpr const char* kFlock = R"(format: 1
flock: spring
house: south
placed: 2026-03-28 09:30
unloading: 08:30-11:00
birds: 17000
chick_weight: 0.042 kg
lights: {0 d: 23 h, 7 d: 18 h}
packs: [air]
adjust:
  cold-air: {on_delay: 3 min, low: air_target - 3.6 F°}
  air_temperature: {stale_after: 10 min, plausible: [0, 50]}
)";

constexpr const char* kAir = R"(format: 1
pack: air
measures:
  air_temperature: {max_rate: 3 K/min, max_apart: 9 F°, flat_after: 30 min}
curves:
  air_target: {unit: °F, points: {0 d: 91.4, 7 d: 82.4 °F}}
rules:
  odd-probe:
    watch: air_temperature - median(air_temperature)
    high: 3 K
    each: probe
    priority: note
  cold-air:
    watch: median(air_temperature)
    low: air_target - 2 K
    deadband: 0.9 F°
    on_delay: 5 min
    priority: soon
    respond_within: 1 h
    do: Look.
  ammonia:
    watch: highest(ammonia)
    high: 20 ppm
    priority: note
)";

constexpr const char* kPower = R"(format: 1
pack: power
rules:
  mains-lost: {when: mains is off, priority: urgent, respond_within: 10 min, do: Start the generator.}
)";

FarmFiles farm_files() {
  FarmFiles files;
  files.farm_path = "farm.yaml";
  files.farm_text = kFarm;
  files.flocks["flocks/spring.yaml"] = kFlock;
  files.packs["rules/air.yaml"] = kAir;
  files.shipped["packs/power.yaml"] = kPower;
  files.shipped["packs/unused.yaml"] = "format: 1\npack: unused\nrules: nonsense\n";
  return files;
}

class Model : public ::testing::Test {
 protected:
  Model() : loaded_(load_farm(farm_files(), testing::zone_named)) {}
  void SetUp() override {
    for (const Issue& issue : loaded_.issues)
      EXPECT_NE(issue.severity, Issue::Severity::error) << to_text(issue, "");
    ASSERT_TRUE(loaded_.ok());
  }
  const RuleSet& set() const { return *loaded_.rules; }
  const WatchedRule& rule(const std::string& name) const {
    for (const WatchedRule& it : set().rules) {
      if (it.name == name) return it;
    }
    throw std::runtime_error(name);
  }
  Loaded loaded_;
};

TEST_F(Model, IsSortedByName) {
  ASSERT_EQ(set().houses.size(), 2u);
  EXPECT_EQ(set().houses[0].name, "north");
  std::vector<std::string> probes;
  for (std::size_t i = 0; i < set().probes.size(); ++i) probes.push_back(set().full_name(i));
  EXPECT_EQ(probes, (std::vector<std::string>{"north/air_temperature/x", "north/water/main",
                                              "south/air_temperature/a", "south/air_temperature/b",
                                              "south/mains/grid"}));
  for (std::size_t i = 0; i < probes.size(); ++i) EXPECT_EQ(set().find_probe(probes[i]), i);
  EXPECT_FALSE(set().find_probe("south/air_temperature/c"));
  std::vector<std::string> rules;
  for (const WatchedRule& it : set().rules) {
    rules.push_back(it.pack + "/" + it.name + (it.probe ? "/" + set().probes[*it.probe].name : ""));
  }
  EXPECT_EQ(rules, (std::vector<std::string>{"air/cold-air", "air/odd-probe/a", "air/odd-probe/b",
                                             "power/mains-lost"}));
}

TEST_F(Model, ListsRulesWithoutProbes) {
  ASSERT_EQ(set().unwatched.size(), 2u);
  EXPECT_EQ(set().unwatched[0].rule, "mains-lost");
  EXPECT_EQ(set().houses[set().unwatched[0].house].name, "north");
  EXPECT_EQ(set().unwatched[1].rule, "ammonia");
  EXPECT_EQ(set().unwatched[1].measure, "ammonia");
}

TEST_F(Model, IsCanonical) {
  const WatchedRule& cold = rule("cold-air");
  EXPECT_EQ(cold.on_delay, 3min);
  EXPECT_EQ(cold.unit.text, "°C");
  EXPECT_NEAR(cold.deadband, 0.5, 1e-12);
  ASSERT_EQ(cold.limits.size(), 1u);
  ASSERT_EQ(cold.limits[0].expression->kind, Expression::Kind::subtract);
  EXPECT_NEAR(cold.limits[0].expression->children[1]->number, 2, 1e-12);
  ASSERT_EQ(cold.curves.size(), 1u);
  EXPECT_NEAR(cold.curves[0]->points[0].second, 33, 1e-9);
  EXPECT_NEAR(cold.curves[0]->points[1].second, 28, 1e-9);
  EXPECT_EQ(rule("odd-probe").unit.text, "K");
  EXPECT_EQ(set().flocks[0].chick_weight_g, 42);
}

TEST_F(Model, AdjustsProbesOfItsHouseOnly) {
  const Probe& here = set().probes[*set().find_probe("south/air_temperature/a")];
  const Probe& there = set().probes[*set().find_probe("north/air_temperature/x")];
  EXPECT_EQ(here.quality.stale_after, 10min);
  EXPECT_EQ(here.quality.plausible_high, 50);
  EXPECT_EQ(there.quality.stale_after, 5min);
  EXPECT_EQ(there.quality.plausible_high, 60);
  EXPECT_NEAR(*here.quality.max_rate_per_min, 3, 1e-12);
  EXPECT_NEAR(*here.quality.max_apart, 5, 1e-12);
  EXPECT_EQ(here.quality.flat_after, 30min);
}

TEST_F(Model, HoldsPeopleAndSteps) {
  const Farm& farm = set().farm;
  ASSERT_EQ(farm.duty.size(), 2u);
  EXPECT_EQ(farm.duty[0].days, 0b1110001);
  EXPECT_FALSE(farm.duty[0].all_day);
  EXPECT_TRUE(farm.duty[1].all_day);
  const CallPlan& urgent = farm.call_out.at(Priority::urgent);
  ASSERT_EQ(urgent.steps.size(), 2u);
  EXPECT_EQ(urgent.steps[1].after, 90s);
  EXPECT_EQ(urgent.steps[1].then_every, 5min);
  EXPECT_EQ(urgent.steps[0].by, (std::vector<Way>{Way::text, Way::call}));
  EXPECT_EQ(farm.call_out.at(Priority::soon).hours, std::pair(Duration(5h + 30min), Duration(21h + 30min)));
  EXPECT_EQ(farm.call_out.at(Priority::note).daily, 6h + 30min);
  EXPECT_EQ(farm.plugins[0].settings_json, R"({"file":"010","list":["a","b\"c"],"none":null,"port":1883,"part":-0.5e1,"on":true,"text":"7"})");
}

TEST_F(Model, PlacesFlocksInUtc) {
  const Flock& flock = set().flocks[0];
  EXPECT_EQ(flock.placed, at_utc(2026, 3, 28, 9, 30));
  EXPECT_EQ(flock.unloading, std::pair(at_utc(2026, 3, 28, 8, 30), at_utc(2026, 3, 28, 11)));
  const std::size_t south = *set().find_house("south");
  EXPECT_EQ(set().flock_in(south, at_utc(2026, 1, 1, 0)), 0u);
  EXPECT_FALSE(set().flock_in(*set().find_house("north"), at_utc(2026, 4, 1, 0)));
}

TEST(ModelHash, FollowsTheTexts) {
  const auto hash = [](const FarmFiles& files) { return load_farm(files, testing::zone_named).rules->hash; };
  FarmFiles files = farm_files();
  const std::string first = hash(files);
  EXPECT_EQ(first.size(), 16u);
  EXPECT_EQ(first, hash(farm_files()));
  files.shipped["packs/unused.yaml"] += "\n";
  EXPECT_EQ(first, hash(files));
  files.packs["rules/air.yaml"] += "\n";
  EXPECT_NE(first, hash(files));
}

TEST(ModelShipped, GiveWayToTheFarmsOwn) {
  FarmFiles files = farm_files();
  files.packs["rules/power.yaml"] =
      "format: 1\npack: power\nrules:\n  grid-gone: {when: mains is off, priority: note}\n";
  const Loaded loaded = load_farm(files, testing::zone_named);
  ASSERT_TRUE(loaded.ok());
  EXPECT_EQ(loaded.rules->rules.back().name, "grid-gone");
}

}  // namespace
}  // namespace underwing
