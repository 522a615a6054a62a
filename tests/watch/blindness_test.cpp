// Goal: rules that cannot tell are alarms of their own; those that go blind together in a silent house are
// told as one. Method: probes that fall silent on the bench.

#include <gtest/gtest.h>

#include "tests/watch/bench.hpp"

namespace underwing {
namespace {

using namespace std::chrono_literals;

/// All rules of house-1 go blind three minutes after its probes have gone stale.
std::shared_ptr<const RuleSet> alike() {
  FarmTexts texts;
  FarmTexts::change(texts.pack, "    on_delay: 1 min\n    respond_within: 4 h\n",
                    "    on_delay: 1 min\n    respond_within: 4 h\n    blind_after: 3 min\n");
  FarmTexts::change(texts.yard, "blind_after: 5 min", "blind_after: 3 min");
  return texts.load();
}

TEST(Blindness, OfOneRuleIsAnAlarm) {
  Bench bench;
  bench.run_to(march(3, 20, 10));
  bench.silence("house-2/air_temperature/east");
  bench.run_to(march(3, 20, 21));
  EXPECT_EQ(bench.events(), "20:20:00 blind hot-air\n");
  EXPECT_EQ(bench.told(true),
            "20:20:00 ines text 1 H2 CANNOT SEE air temperature: east silent. GO NOW: look at the birds, "
            "then the probes. Reply OK E6. "
            "Cannot go: PASS E6\n"
            "20:20:00 ines call 1 H2 CANNOT SEE air temperature: east silent. GO NOW: look at the birds, "
            "then the probes. Reply OK E6. "
            "Cannot go: PASS E6\n");
  bench.set("house-2/air_temperature/east", 33);
  bench.run_to(march(3, 20, 25));
  EXPECT_EQ(bench.events(), "20:24:00 sees hot-air\n");
  EXPECT_EQ(bench.texts().back(), "H2 sees again since 20:24. Blind from 20:20.");
}

TEST(Blindness, InASilentHouseIsToldAsOne) {
  Bench bench(alike());
  bench.run_to(march(3, 20, 10));
  bench.silence_house("house-1");
  bench.run_to(march(3, 20, 19));
  EXPECT_EQ(bench.events(), "20:18:00 blind cold-air\n20:18:00 blind damp-air\n20:18:00 blind hot-air\n");
  EXPECT_EQ(bench.told(), "20:18:00 ines text 1\n20:18:00 ines call 1\n");
  ASSERT_EQ(bench.watch().alarms().size(), 1U);
  EXPECT_EQ(bench.alarm("cold-air").members,
            (std::set<std::string>{"climate/cold-air", "climate/damp-air", "yard/hot-air"}));
  // One sees again, then the rest: over when all see.
  bench.air(33);
  bench.run_to(march(3, 20, 24));
  EXPECT_EQ(bench.alarm("cold-air").members, (std::set<std::string>{"climate/damp-air"}));
  bench.set("house-1/relative_humidity/centre", 60);
  bench.run_to(march(3, 20, 30));
  EXPECT_FALSE(bench.has_alarm("damp-air"));
  EXPECT_EQ(bench.alarm("cold-air").life.state(), AlarmState::returned_unacknowledged);
}

TEST(Blindness, OfARuleThatSawMeanwhileJoinsTheAlarmThatBearsItsName) {
  Bench bench(alike());
  bench.run_to(march(3, 20, 10));
  bench.silence_house("house-1");
  bench.run_to(march(3, 20, 19));
  bench.air(33);
  bench.run_to(march(3, 20, 24));
  bench.reply("ines", "OK");
  bench.silence_house("house-1");
  bench.run_to(march(3, 20, 40));
  EXPECT_EQ(bench.alarm("cold-air").members,
            (std::set<std::string>{"climate/cold-air", "climate/damp-air", "yard/hot-air"}));
  EXPECT_EQ(bench.alarm("cold-air").life.state(), AlarmState::unacknowledged);
  // That the house is silent is not told on top of it.
  EXPECT_EQ(bench.watch().alarms().size(), 2U);
  EXPECT_EQ(bench.alarm("house-silent").life.state(), AlarmState::suppressed_by_design);
}

TEST(Blindness, IsNamedInTheSummaryAsInItsText) {
  Bench bench(alike());
  bench.run_to(march(3, 20, 10));
  bench.silence("house-1/relative_humidity/centre");
  bench.run_to(march(3, 20, 40));
  EXPECT_EQ(bench.watch().summary_text(), "MORNING 20:40. H1 day 1: CANNOT SEE relative humidity 20:18-now. H2: quiet. Open now: 1.");
  EXPECT_NE(bench.watch().summary_in_full().find("H1 day 1: CANNOT SEE relative humidity 20:18-now\n"), std::string::npos) << bench.watch().summary_in_full();
  bench.silence_house("house-1");
  bench.silence_house("house-2");
  bench.watch().plugin("climate", false, "connection refused");
  bench.run_to(march(3, 21, 10));
  EXPECT_NE(bench.watch().summary_in_full().find("CANNOT SEE: climate is down"), std::string::npos) << bench.watch().summary_in_full();
}

TEST(Blindness, UnderASilentPluginIsToldAsOneForAllHouses) {
  Bench bench(alike());
  bench.run_to(march(3, 20, 10));
  bench.silence_house("house-1");
  bench.silence_house("house-2");
  bench.watch().plugin("climate", false, "connection refused");
  bench.run_to(march(3, 20, 19));
  EXPECT_EQ(bench.events(),
            "20:18:00 blind cold-air\n20:18:00 blind damp-air\n20:18:00 blind hot-air\n20:18:00 blind hot-air\n");
  EXPECT_EQ(bench.told(true),
            "20:18:00 ines text 1 H1 CANNOT SEE: climate is down: connection refused. GO NOW: look at the birds, then the "
            "probes. Reply OK E6. Cannot go: PASS E6\n"
            "20:18:00 ines call 1 H1 CANNOT SEE: climate is down: connection refused. GO NOW: look at the birds, then the "
            "probes. Reply OK E6. Cannot go: PASS E6\n");
  ASSERT_EQ(bench.watch().alarms().size(), 1U);
  const Alarm& alarm = bench.alarm("climate");
  EXPECT_EQ(alarm.members.size(), 4U);
  EXPECT_TRUE(alarm.members.contains("house-2/yard/hot-air"));
  // That the plugin is silent is known by then.
  bench.run_to(march(3, 20, 22));
  EXPECT_EQ(bench.alarm("plugin-silent").life.state(), AlarmState::suppressed_by_design);
  static_cast<void>(bench.texts());
  // Over a restart the group is kept, and ends when all see.
  bench.restart(bench.watch().snapshot(), 10s);
  bench.air(33);
  bench.set("house-1/relative_humidity/centre", 60);
  bench.run_to(march(3, 20, 27));
  EXPECT_EQ(bench.alarm("climate").members, (std::set<std::string>{"house-2/yard/hot-air"}));
  bench.set("house-2/air_temperature/east", 33);
  bench.run_to(march(3, 20, 32));
  EXPECT_EQ(bench.alarm("climate").life.state(), AlarmState::returned_unacknowledged);
  EXPECT_EQ(bench.texts().back(), "climate is up, the watch sees again since 20:30. Blind from 20:18.");
}

TEST(Blindness, SurvivesAReloadAndARestartWhileAnyRuleIsBlind) {
  Bench bench(alike());
  bench.run_to(march(3, 20, 10));
  bench.silence_house("house-1");
  bench.run_to(march(3, 20, 19));
  bench.air(33);
  bench.run_to(march(3, 20, 24));  // only damp-air is blind now
  static_cast<void>(bench.told());
  bench.watch().reload(alike());
  bench.settle();
  EXPECT_EQ(bench.alarm("cold-air").life.state(), AlarmState::unacknowledged);
  bench.restart(bench.watch().snapshot(), 10s);
  EXPECT_EQ(bench.alarm("cold-air").members, (std::set<std::string>{"climate/damp-air"}));
  EXPECT_EQ(bench.told(), "");
}

/// By 20:30 damp-air is blind, and nothing else.
void blind_for_damp_air(Bench& bench) {
  bench.run_to(march(3, 20, 10));
  bench.silence("house-1/relative_humidity/centre");
  bench.run_to(march(3, 20, 30));
}

TEST(Blindness, OfARuleThatSomebodyEditsGoesOn) {
  FarmTexts texts;
  Bench bench;
  blind_for_damp_air(bench);
  EXPECT_EQ(bench.events(), "20:25:00 blind damp-air\n");
  static_cast<void>(bench.told());
  FarmTexts::change(texts.pack, "on_delay: 1 min\n    respond_within: 4 h", "on_delay: 2 min\n    respond_within: 4 h");
  bench.watch().reload(texts.load());
  bench.run_to(march(3, 20, 40));
  EXPECT_EQ(bench.events(), "");
  EXPECT_TRUE(bench.alarm("damp-air").life.condition());
  bench.set("house-1/relative_humidity/centre", 60);
  bench.run_to(march(3, 20, 44));
  EXPECT_EQ(bench.events(), "20:43:00 sees damp-air\n");
}

TEST(Blindness, OfARuleThatIsGoneIsNoSight) {
  FarmTexts texts;
  Bench bench;
  blind_for_damp_air(bench);
  static_cast<void>(bench.events());
  FarmTexts::change(texts.pack, "  damp-air:", "  wet-air:");
  bench.watch().reload(texts.load());
  bench.settle();
  EXPECT_EQ(bench.events(), "20:30:00 sees damp-air not watched\n");
  EXPECT_EQ(bench.texts().back(), "H1 what could not be seen is no longer watched.");
}

TEST(Blindness, AStandingAlarmWhoseRuleIsBlindGoesOnCalling) {
  Bench bench;
  bench.air(28);
  bench.run_to(march(3, 20, 13));
  bench.silence_house("house-1");
  bench.run_to(march(3, 21));
  EXPECT_EQ(bench.alarm("cold-air").life.state(), AlarmState::unacknowledged);
  static_cast<void>(bench.told());
  bench.run_to(march(3, 21, 5));
  EXPECT_NE(bench.told(), "");
}

}  // namespace
}  // namespace underwing
