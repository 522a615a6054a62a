// Goal: the watch's own troubles are alarms: probes, plugins, paths, clock, disk. Method: the bench.

#include <gtest/gtest.h>

#include "daemon/words.hpp"
#include "tests/watch/bench.hpp"

namespace underwing {
namespace {

using namespace std::chrono_literals;

TEST(Troubles, AProbeThatIsSilentForHalfAnHour) {
  Bench bench;
  bench.run_to(march(3, 20, 10));
  bench.silence("house-1/air_temperature/north");
  bench.run_to(march(3, 20, 46));
  EXPECT_EQ(bench.events(), "20:45:00 trouble air_temperature/north probe-bad\n");
  EXPECT_EQ(bench.told(true),
            "20:45:00 ines text 1 H1 PROBE BAD: air temperature north is silent. Reply OK E6\n");
  bench.reply("ines", "OK");
  bench.set("house-1/air_temperature/north", 33);
  bench.run_to(march(3, 20, 48));
  EXPECT_EQ(bench.told(true),
            "20:46:00 ines text 0 You have H1 PROBE BAD: air temperature north is silent (E6).\n"
            "20:47:00 ines text 0 H1 over at 20:47: air temperature north is silent.\n");
  EXPECT_TRUE(bench.watch().alarms().empty());
}

TEST(Troubles, ASilentProbeIsNotWellBecauseItsHouseFallsSilent) {
  Bench bench;
  bench.run_to(march(3, 20, 10));
  bench.silence("house-1/air_temperature/north");
  bench.run_to(march(3, 20, 46));
  static_cast<void>(bench.told());
  bench.silence_house("house-1");
  bench.run_to(march(3, 21, 40));
  EXPECT_TRUE(bench.alarm("probe-bad").life.condition());
  for (const std::string& text : bench.texts()) EXPECT_EQ(text.find("over at"), std::string::npos) << text;
}

TEST(Troubles, NorBecauseOfAReloadOrARestart) {
  Bench bench;
  bench.run_to(march(3, 20, 10));
  bench.silence("house-1/air_temperature/north");
  bench.run_to(march(3, 20, 50));
  static_cast<void>(bench.told());
  bench.watch().reload(FarmTexts().load());
  bench.settle();
  bench.run_to(march(3, 20, 55));
  EXPECT_EQ(bench.told(), "");
  bench.restart(bench.watch().snapshot(), 30s);
  bench.run_to(march(3, 20, 59));
  EXPECT_EQ(bench.told(), "");
  EXPECT_TRUE(bench.alarm("probe-bad").life.condition());
}

TEST(Troubles, ProbesOfAnEmptyHouseTroubleNobody) {
  Bench bench;
  bench.silence("house-2/air_temperature/east");
  bench.run_to(march(3, 21, 30));
  EXPECT_FALSE(bench.has_alarm("probe-bad"));
}

TEST(Troubles, APluginThatStaysDown) {
  Bench bench;
  bench.run_to(march(3, 20, 9, 59));
  bench.watch().plugin("climate", false, "exit status 1");
  bench.run_to(march(3, 20, 19));
  EXPECT_EQ(bench.events(), "");
  bench.run_to(march(3, 20, 21));
  EXPECT_EQ(bench.events(), "20:20:00 trouble climate plugin-silent\n");
  EXPECT_EQ(bench.told(true),
            "20:20:00 ines text 1 FARM PLUGIN SILENT: climate has been down since 20:09: exit status 1. "
            "Reply OK E6\n");
  bench.watch().plugin("climate", true, "");
  bench.settle();
  EXPECT_EQ(bench.alarm("plugin-silent").life.state(), AlarmState::returned_unacknowledged);
}

/// A farm whose one rule of house-1 knows no blindness within the hour.
std::shared_ptr<const RuleSet> patient() {
  FarmTexts texts;
  FarmTexts::change(texts.pack, "blind_after: 3 min", "blind_after: 90 min");
  FarmTexts::change(texts.pack, "    on_delay: 1 min\n    respond_within: 4 h\n",
                    "    on_delay: 1 min\n    respond_within: 4 h\n    blind_after: 90 min\n");
  FarmTexts::change(texts.yard, "blind_after: 5 min", "blind_after: 90 min");
  return texts.load();
}

TEST(Troubles, AHouseFromWhichNothingIsHeard) {
  Bench bench(patient());
  bench.run_to(march(3, 20, 10));
  bench.silence_house("house-1");
  bench.run_to(march(3, 20, 24));
  EXPECT_EQ(bench.events(), "");
  bench.run_to(march(3, 20, 26));
  EXPECT_EQ(bench.events(), "20:25:00 trouble house-silent\n");
  EXPECT_EQ(bench.told(true),
            "20:25:00 ines text 1 H1 HOUSE SILENT: nothing is heard from the house since 20:15. Reply OK E6\n");
  bench.air(33);
  bench.run_to(march(3, 20, 30));
  EXPECT_EQ(bench.alarm("house-silent").life.state(), AlarmState::returned_unacknowledged);
}

TEST(Troubles, AnEmptyHouseMayBeSilent) {
  Bench bench(patient());
  bench.silence_house("house-2");
  bench.run_to(march(3, 20, 55));
  EXPECT_FALSE(bench.has_alarm("house-silent"));
}

TEST(Troubles, ASilentHouseWhoseRulesAreBlindIsToldOnce) {
  Bench bench;
  bench.run_to(march(3, 20, 10));
  bench.silence_house("house-1");
  bench.run_to(march(3, 20, 17));
  static_cast<void>(bench.told());
  bench.run_to(march(3, 20, 19));
  bench.reply("ines", "OK");
  bench.run_to(march(3, 20, 40));
  bench.reply("ines", "OK");
  for (const std::string& text : bench.texts()) EXPECT_EQ(text.find("HOUSE SILENT"), std::string::npos) << text;
  EXPECT_EQ(bench.alarm("house-silent").life.state(), AlarmState::suppressed_by_design);
  // When all is heard again, nothing is left of it.
  bench.air(33);
  bench.set("house-1/relative_humidity/centre", 60);
  bench.run_to(march(3, 20, 50));
  EXPECT_FALSE(bench.has_alarm("house-silent"));
  for (const std::string& text : bench.texts()) EXPECT_EQ(text.find("HOUSE SILENT"), std::string::npos) << text;
}

TEST(Troubles, APathThatIsDownIsSaidSooner) {
  Bench bench;
  bench.run_to(march(3, 20, 9, 59));
  bench.watch().plugin("modem", false, std::string(400, 'x') + "€");
  bench.run_to(march(3, 20, 13));
  EXPECT_EQ(bench.events(), "20:12:00 trouble modem path-down\n");
  const std::vector<std::string> texts = bench.texts();
  ASSERT_EQ(texts.size(), 1U);
  EXPECT_EQ(gsm_length(texts[0]), 160U);
  EXPECT_TRUE(texts[0].ends_with(". Reply OK E6")) << texts[0];
}

TEST(Troubles, AJumpOfTheClockIsSaidAndTheWatchGoesOnJudging) {
  Bench bench;
  bench.air(28);
  bench.run_to(march(3, 20, 3));
  bench.watch().clock(-1h);
  bench.settle();
  EXPECT_EQ(bench.told(true),
            "20:03:00 tomas text 1 FARM CLOCK: the gateway's clock jumped back by 1 h; the watch goes on by "
            "its own time. Reply OK E6\n");
  bench.run_to(march(3, 20, 7));
  EXPECT_EQ(bench.events(), "20:03:00 trouble clock\n20:06:00 raised cold-air low\n");
  bench.watch().clock(9h);
  bench.settle();
  bench.run_to(march(3, 20, 18));
  EXPECT_EQ(bench.alarm("clock").life.state(), AlarmState::returned_unacknowledged);
  EXPECT_TRUE(bench.alarm("cold-air").life.stands());
}

TEST(Troubles, TheDiskIsSaidOnce) {
  Bench bench;
  bench.watch().trouble("disk", true, "the disk is full");
  bench.watch().trouble("disk", true, "the disk is full");
  bench.settle();
  EXPECT_EQ(bench.events(), "20:00:00 trouble disk\n");
  bench.watch().trouble("disk", false, "");
  bench.settle();
  EXPECT_EQ(bench.alarm("disk").life.state(), AlarmState::returned_unacknowledged);
}

}  // namespace
}  // namespace underwing
