// Goal: other rules take the place of those in force without inventing, losing or repeating alarms. Method:
// the bench, and farms that differ in one line.

#include <gtest/gtest.h>

#include "tests/watch/bench.hpp"

namespace underwing {
namespace {

using namespace std::chrono_literals;

class Reload : public testing::Test {
 protected:
  Reload() {
    bench.air(28);
    bench.run_to(march(3, 20, 7));
    static_cast<void>(bench.told());
    static_cast<void>(bench.events());
  }
  void reload() {
    bench.watch().reload(texts.load());
    bench.settle();
  }
  FarmTexts texts;
  Bench bench;
};

TEST_F(Reload, KeepsWhatDidNotChange) {
  FarmTexts::change(texts.yard, "Open everything.", "Open all there is.");
  reload();
  bench.run_to(march(3, 20, 10));
  EXPECT_EQ(bench.events(), "");
  EXPECT_EQ(bench.told(), "20:09:00 ines text 2\n20:09:00 tomas text 2\n");
  EXPECT_EQ(bench.code("cold-air"), "E6");
}

TEST_F(Reload, KeepsDelaysThatRun) {
  bench.set("house-2/air_temperature/east", 41);
  bench.run_to(march(3, 20, 8, 30));  // since 20:08
  FarmTexts::change(texts.farm, "Sandpiper Hollow", "Sandpiper Hollows");
  reload();
  bench.run_to(march(3, 20, 9, 30));
  EXPECT_EQ(bench.events(), "20:09:00 raised hot-air high\n");
}

TEST_F(Reload, OfAnotherLimitKeepsTheStandingAlarm) {
  FarmTexts::change(texts.pack, "air_target - 2 K", "air_target - 6 K");
  reload();
  EXPECT_TRUE(bench.alarm("cold-air").life.condition());
  bench.run_to(march(3, 20, 20));
  EXPECT_EQ(bench.events(), "20:17:00 returned cold-air\n");
}

TEST_F(Reload, ThatEndsAnAlarmAtOnceSaysSoOnce) {
  FarmTexts::change(texts.pack, "air_target - 2 K", "air_target - 6 K");
  FarmTexts::change(texts.pack, "off_delay: 10 min", "off_delay: 0 min");
  reload();
  EXPECT_EQ(bench.events(), "20:07:00 returned cold-air\n");
  EXPECT_EQ(bench.told(true), "20:07:00 ines text 0 H1 back to normal: 28 C at 20:07. COLD from 20:06.\n");
}

TEST_F(Reload, WithoutARuleEndsItsAlarmAsNotWatched) {
  FarmTexts::change(texts.pack, "  cold-air:", "  chilly-air:");
  const std::string code = bench.alarm("cold-air").code;
  reload();
  EXPECT_EQ(bench.events(), "20:07:00 returned cold-air not watched\n");
  EXPECT_EQ(bench.told(true), "20:07:00 ines text 0 H1 alarm " + code + " of 20:06: its rule is gone.\n");
  bench.run_to(march(3, 20, 13));
  EXPECT_EQ(bench.events(), "20:12:00 raised chilly-air low\n");
}

TEST_F(Reload, WithoutAProbeOrAPluginEndsItsTrouble) {
  bench.silence("house-1/air_temperature/north");
  bench.watch().plugin("climate", false, "gone");
  bench.run_to(march(3, 20, 50));
  EXPECT_TRUE(bench.has_alarm("probe-bad"));
  EXPECT_TRUE(bench.has_alarm("plugin-silent"));
  FarmTexts::change(texts.farm, "[north, south]", "[south]");
  FarmTexts::change(texts.farm, "  climate: {run: mqtt", "  weather: {run: mqtt");
  reload();
  EXPECT_FALSE(bench.alarm("probe-bad").life.stands());
  EXPECT_FALSE(bench.alarm("plugin-silent").life.stands());
  EXPECT_TRUE(bench.alarm("cold-air").life.stands());
}

TEST_F(Reload, WithFewerStepsGoesOnWithTheLast) {
  bench.run_to(march(3, 20, 13));
  static_cast<void>(bench.told());
  FarmTexts::change(texts.farm, "    - {after: 6 min, tell: everyone, by: text, then_every: 5 min}\n", "");
  reload();
  bench.run_to(march(3, 20, 40));
  EXPECT_EQ(bench.told(),
            "20:17:00 ines text 2\n20:17:00 tomas text 2\n20:32:00 ines text 2\n20:32:00 tomas text 2\n");
}

TEST_F(Reload, OfAPersonWhoIsGoneTellsTheOthers) {
  FarmTexts::change(texts.farm,
                    "  tomas: {text: \"+44 7700 900102\", call: \"+44 7700 900102\", away: 25 min}\n", "");
  FarmTexts::change(texts.farm, "[ines, tomas]", "[ines, maud]");
  FarmTexts::change(texts.farm, "who: tomas", "who: maud");
  reload();
  bench.run_to(march(3, 20, 10));
  EXPECT_EQ(bench.told(), "20:09:00 ines text 2\n20:09:00 maud text 2\n");
}

}  // namespace
}  // namespace underwing
