// Goal: whoever asks why a rule is or is not watching hears it in plain sentences, with what each probe does.
// Method: the bench, brought into each of these states.

#include <fmt/format.h>
#include <gtest/gtest.h>

#include "daemon/watch_explain.hpp"
#include "tests/watch/bench.hpp"

namespace underwing {
namespace {

using namespace std::chrono_literals;
using nlohmann::json;

json now(Bench& bench, const std::string& name, const std::string& house = "house-1") {
  const RuleSet& rules = bench.watch().rules();
  for (std::size_t i = 0; i < rules.rules.size(); ++i) {
    if (rules.rules[i].name == name && rules.houses[rules.rules[i].house].name == house)
      return explain_now(bench.watch(), i);
  }
  throw std::runtime_error("no rule " + name);
}

std::string why(const json& entry) {
  std::string text = entry.at("watching") ? "watching:" : "not watching:";
  for (const json& sentence : entry.at("why")) text += " " + sentence.get<std::string>();
  return text;
}

TEST(ExplainNow, OfARuleThatIsContent) {
  Bench bench;
  bench.run_to(march(3, 20, 10));
  const json entry = now(bench, "cold-air");
  EXPECT_EQ(why(entry), "watching: It can tell. Nothing is wrong by this rule.");
  EXPECT_EQ(entry.at("time_local"), "2026-03-03 20:10");
  EXPECT_EQ(entry.at("flock"), "spring-1");
  EXPECT_EQ(entry.at("value"), 33);
  EXPECT_EQ(entry.at("unit"), "°C");
  ASSERT_EQ(entry.at("limits").size(), 1U);
  // 33 °C less half a kelvin a day for 34 h 40 min, less 2 K.
  EXPECT_NEAR(entry.at("limits")[0].at("limit"), 30.278, 0.001);
  EXPECT_EQ(entry.at("limits")[0].at("active"), false);
  ASSERT_EQ(entry.at("probes").size(), 2U);
  EXPECT_EQ(entry.at("probes")[0].at("probe"), "air_temperature/north");
  EXPECT_EQ(entry.at("probes")[0].at("usable"), true);
  EXPECT_EQ(entry.at("code"), nullptr);
}

TEST(ExplainNow, OfADelayThatRunsAnAlarmThatStandsAndOneOnItsWayBack) {
  Bench bench;
  bench.run_to(march(3, 20, 10));
  bench.air(29);
  bench.run_to(march(3, 20, 13));
  EXPECT_EQ(why(now(bench, "cold-air")),
            "watching: It can tell. The low limit of 30.3 °C is broken since 20:11: an alarm at 20:16 if "
            "that lasts.");
  bench.run_to(march(3, 20, 20));
  const json standing = now(bench, "cold-air");
  EXPECT_EQ(
      why(standing),
      fmt::format(
          "watching: It can tell. The low limit of 30.3 °C is broken: an alarm stands, {} (unacknowledged).",
          bench.code("cold-air")));
  EXPECT_EQ(standing.at("code"), bench.code("cold-air"));
  EXPECT_EQ(standing.at("limits")[0].at("active"), true);
  bench.air(33);
  bench.run_to(march(3, 20, 25));
  EXPECT_EQ(why(now(bench, "cold-air")),
            "watching: It can tell. The low limit of 30.3 °C is kept again since 20:21; the alarm ends at "
            "20:31 if that "
            "lasts.");
}

TEST(ExplainNow, OfSilentProbes) {
  Bench bench;
  bench.run_to(march(3, 20, 10));
  bench.silence_house("house-1");
  // The last readings hold until 20:15; the alarm for not seeing comes 3 min later.
  bench.run_to(march(3, 20, 16));
  json entry = now(bench, "cold-air");
  EXPECT_EQ(why(entry), "watching: It cannot tell since 20:15; after 3 min that is an alarm.");
  EXPECT_EQ(entry.at("value"), nullptr);
  EXPECT_EQ(entry.at("probes")[0].at("usable"), false);
  EXPECT_EQ(entry.at("probes")[0].at("text"), "no good reading since 20:10; one holds for 5 min");
  EXPECT_NEAR(entry.at("probes")[0].at("age_s").get<double>(), 360, 1);
  bench.run_to(march(3, 20, 30));
  entry = now(bench, "cold-air");
  EXPECT_EQ(why(entry), "watching: It is blind: it cannot tell since 20:15.");
  EXPECT_EQ(entry.at("blind"), true);
  // After midnight the evening before needs its date.
  bench.run_to(march(4, 0, 30));
  EXPECT_EQ(why(now(bench, "cold-air")), "watching: It is blind: it cannot tell since 2026-03-03 20:15.");
}

TEST(ExplainNow, OfWorkInTheHouse) {
  Bench bench;
  bench.run_to(march(3, 20, 10));
  bench.watch().work(0, march(3, 20, 55));
  bench.run_to(march(3, 20, 12));
  EXPECT_EQ(why(now(bench, "cold-air")), "not watching: People work in the house until 20:55.");
  EXPECT_EQ(why(now(bench, "hot-air")), "not watching: People work in the house until 20:55.");
  EXPECT_EQ(why(now(bench, "hot-air", "house-2")), "watching: It can tell. Nothing is wrong by this rule.");
}

TEST(ExplainNow, OfAConditionThatHoldsAndIsNotBroken) {
  FarmTexts texts;
  FarmTexts::change(texts.yard, "watch: median(air_temperature)\n    high: 40 °C", "when: median(air_temperature) > 40 °C");
  Bench bench(texts.load());
  bench.run_to(march(3, 20, 10));
  bench.air(41);
  bench.run_to(march(3, 20, 30));
  EXPECT_EQ(why(now(bench, "hot-air")), fmt::format("watching: It can tell. Its condition holds: an alarm stands, {} (unacknowledged).", bench.code("hot-air")));
}

TEST(ExplainNow, OfARuleThatIsShelved) {
  Bench bench;
  bench.run_to(march(3, 20, 10));
  ASSERT_TRUE(bench.watch().shelve("house-1", "cold-air", 2h, "probe is being cleaned", "tomas", Watch::EvenUrgent::yes).done);
  const std::string shelved = "It is shelved until 22:10 by tomas (probe is being cleaned): till then its alarms tell nobody.";
  EXPECT_TRUE(why(now(bench, "cold-air")).starts_with("watching: " + shelved + " It can tell.")) << why(now(bench, "cold-air"));
  bench.run_to(march(3, 22, 11));
  EXPECT_EQ(why(now(bench, "cold-air")).find("shelved"), std::string::npos);
}

TEST(ExplainNow, OfAgesAndConditions) {
  FarmTexts texts;
  FarmTexts::change(texts.pack, "    low: air_target - 2 K\n", "    low: air_target - 2 K\n    until: 1 d\n");
  FarmTexts::change(texts.pack, "    watch: relative_humidity\n",
                    "    watch: relative_humidity\n    only_if: hour_of_day < 6\n");
  FarmTexts::change(texts.flock, "birds: 17000\n", "birds: 17000\ncleared: 2026-03-04 07:00\n");
  Bench bench(texts.load());
  bench.run_to(march(3, 20, 10));
  EXPECT_EQ(why(now(bench, "cold-air")), "not watching: It ended on 2026-03-03 09:30, at an age of 1 d.");
  EXPECT_EQ(why(now(bench, "damp-air")), "not watching: What 'only_if' asks for does not hold now.");
  bench.run_to(march(4, 7, 10));
  EXPECT_EQ(why(now(bench, "damp-air")), "not watching: The house was cleared on 2026-03-04 07:00.");

  FarmTexts later;
  FarmTexts::change(later.flock, "placed: 2026-03-02 09:30", "placed: 2026-03-10 09:30");
  Bench early(later.load());
  early.run_to(march(3, 20, 10));
  EXPECT_EQ(why(now(early, "cold-air")), "not watching: It begins on 2026-03-09 09:30.");
}

TEST(ExplainNow, OfColdGoesByTheStatedTimeConstantUntilTheHouseWasSeenToCool) {
  FarmTexts texts;
  FarmTexts::change(texts.farm, "  house-1:\n", "  house-1:\n    time_constant: 90 min\n    outside: -5 °C\n");
  Bench bench(texts.load());
  bench.run_to(march(3, 20, 10));
  const auto danger = bench.watch().danger(0, Limit::Side::low);
  ASSERT_TRUE(danger && danger->minutes);
  EXPECT_EQ(danger->by, "reckoned");
  // 90 min · ln(38 K / 35.28 K): from 33 °C to what 34.7 h of age want, less 2 K.
  EXPECT_NEAR(*danger->minutes, 6.7, 0.1);
  EXPECT_NE(why(now(bench, "cold-air")).find("with a time constant of 90 min, by farm.yaml."), std::string::npos) << why(now(bench, "cold-air"));
}

}  // namespace
}  // namespace underwing
