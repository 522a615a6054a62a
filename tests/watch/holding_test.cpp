// Goal: one fault is told once: what follows a told cause waits, what comes and goes is one alarm, what is
// shelved stays so for a while and no longer. Method: a made-up farm on a bench, deliveries and events
// compared as text.

#include <gtest/gtest.h>

#include "tests/watch/bench.hpp"

namespace underwing {
namespace {

using namespace std::chrono_literals;

/// damp-air is judged without urgency, and follows cold-air.
std::shared_ptr<const RuleSet> with_follower(const std::string& line = "    follows: [cold-air]\n") {
  FarmTexts texts;
  FarmTexts::change(texts.pack, "      - {high: 90 %, priority: urgent}\n", "");
  FarmTexts::change(texts.pack, "    respond_within: 4 h\n    do: Air the house.\n",
                    "    off_delay: 2 min\n    respond_within: 4 h\n    do: Air the house.\n" + line);
  return texts.load();
}

TEST(Follows, WhatFollowsAToldCauseIsSuppressedByDesign) {
  Bench bench(with_follower(), march(3, 18));
  bench.air(28);
  bench.set("house-1/relative_humidity/centre", 60);
  bench.run_to(march(3, 18, 10));
  bench.reply("tomas", "OK");
  static_cast<void>(bench.told());
  bench.set("house-1/relative_humidity/centre", 80);
  bench.run_to(march(3, 18, 20));
  EXPECT_EQ(bench.alarm("damp-air").life.state(), AlarmState::suppressed_by_design);
  EXPECT_EQ(bench.told(), "");
  // The cause is over: the follower is told after its own off_delay.
  bench.air(33);
  bench.run_to(march(3, 18, 40));
  EXPECT_EQ(bench.alarm("damp-air").life.state(), AlarmState::unacknowledged);
  EXPECT_NE(bench.told().find("18:33:00 tomas text 1\n"), std::string::npos) << "cold-air returned at 18:31";
}

TEST(Follows, AnotherHousesTroubleIsNoCauseWhereTheHouseIsWatchedItself) {
  Bench bench(with_follower("    follows: [hot-air]\n"), march(3, 18));
  bench.set("house-2/air_temperature/east", 41);
  bench.run_to(march(3, 18, 10));
  bench.reply("tomas", "OK");
  static_cast<void>(bench.told());
  bench.set("house-1/relative_humidity/centre", 80);
  bench.run_to(march(3, 18, 13));
  const std::string told = bench.told(true);
  EXPECT_NE(told.find("H1 DAMP AIR 80 %"), std::string::npos) << told;
  EXPECT_EQ(told.find("HOT"), std::string::npos) << told;
}

TEST(Follows, WhatWorsensIsToldAtOnce) {
  Bench bench(with_follower(), march(3, 18));
  bench.air(28);
  bench.set("house-1/relative_humidity/centre", 60);
  bench.run_to(march(3, 18, 10));
  bench.reply("tomas", "OK");
  bench.set("house-1/relative_humidity/centre", 72);
  bench.run_to(march(3, 18, 15));
  EXPECT_EQ(bench.alarm("damp-air").life.state(), AlarmState::suppressed_by_design);
  static_cast<void>(bench.told());
  bench.set("house-1/relative_humidity/centre", 80);
  bench.run_to(march(3, 18, 17));
  EXPECT_EQ(bench.alarm("damp-air").life.state(), AlarmState::unacknowledged);
  EXPECT_EQ(bench.told(), "18:17:00 tomas text 1\n");
}

TEST(Follows, WhatStandsForItsOwnTimeToRespondIsTold) {
  FarmTexts texts;
  FarmTexts::change(texts.pack, "      - {high: 90 %, priority: urgent}\n", "");
  FarmTexts::change(texts.pack, "    respond_within: 4 h\n    do: Air the house.\n",
                    "    respond_within: 30 min\n    do: Air the house.\n    follows: [cold-air]\n");
  Bench bench(texts.load(), march(3, 18));
  bench.air(28);
  bench.set("house-1/relative_humidity/centre", 60);
  bench.run_to(march(3, 18, 10));
  bench.set("house-1/relative_humidity/centre", 80);
  bench.run_to(march(3, 18, 41));
  EXPECT_EQ(bench.alarm("damp-air").life.state(), AlarmState::suppressed_by_design);
  bench.run_to(march(3, 18, 42));  // raised at 18:12
  EXPECT_EQ(bench.alarm("damp-air").life.state(), AlarmState::unacknowledged);
}

TEST(Follows, AnUrgentAlarmIsNeverHeldBackAndNamesItsCause) {
  FarmTexts texts;
  FarmTexts::change(texts.pack, "    do: Look at the chicks first. Then gas, heaters, curtains.\n",
                    "    do: Look at the chicks first.\n    follows: [damp-air]\n");
  Bench bench(texts.load(), march(3, 18));
  bench.air(33);
  bench.set("house-1/relative_humidity/centre", 80);
  bench.run_to(march(3, 18, 5));
  bench.air(28);
  static_cast<void>(bench.told());
  bench.run_to(march(3, 18, 20));
  EXPECT_EQ(bench.told(true).find("18:11:00 tomas text 1 H1 COLD 28 C, wants 32.3 (day 1). DAMP AIR since "
                                  "18:02. GO NOW: Look at the chicks first."),
            0U);
}

TEST(Follows, WhatIsOverBeforeAnybodyHeardOfItNeedsNoAnswer) {
  Bench bench(with_follower(), march(3, 18));
  bench.air(28);
  bench.set("house-1/relative_humidity/centre", 60);
  bench.run_to(march(3, 18, 10));
  bench.set("house-1/relative_humidity/centre", 80);
  bench.run_to(march(3, 18, 15));
  bench.set("house-1/relative_humidity/centre", 60);
  bench.run_to(march(3, 18, 20));
  EXPECT_FALSE(bench.has_alarm("damp-air"));
}

TEST(Chattering, TheFifthRaiseWithinAnHourIsOneAlarmOfItsOwn) {
  Bench bench(with_follower(""), march(3, 12));
  bench.air(33);
  for (int round = 0; round < 5; ++round) {
    bench.set("house-1/relative_humidity/centre", 80);
    bench.run(4min);
    bench.set("house-1/relative_humidity/centre", 60);
    bench.run(4min);
  }
  const std::string told = bench.told(true);
  EXPECT_NE(told.find("CHATTERING: DAMP AIR comes and goes, 5 times within an hour"), std::string::npos)
      << told;
  ASSERT_TRUE(bench.has_alarm("chattering"));
  // A raise that then stands for ten minutes is told as a new alarm.
  static_cast<void>(bench.told());
  bench.set("house-1/relative_humidity/centre", 80);
  bench.run(8min);
  EXPECT_EQ(bench.told().find("text 1"), std::string::npos);
  bench.run(10min);
  EXPECT_NE(bench.told(true).find("DAMP AIR 80 %"), std::string::npos);
  // Quiet for an hour: over.
  bench.set("house-1/relative_humidity/centre", 60);
  bench.run(70min);
  EXPECT_FALSE(bench.has_alarm("chattering") && bench.alarm("chattering").life.condition());
}

TEST(Again, ASecondUrgentRaiseWithinTheHourBeginsAtTheSecondStep) {
  Bench bench;
  bench.air(28);
  bench.run_to(march(3, 20, 7));
  bench.reply("ines", "OK");
  bench.air(33);
  bench.run_to(march(3, 20, 30));
  bench.air(28);
  static_cast<void>(bench.told());
  bench.run_to(march(3, 20, 38));
  const std::string told = bench.told(true);
  EXPECT_EQ(told.find("20:36:00 ines text 2 H1 COLD AGAIN 28 C"), 0U) << told;
  EXPECT_NE(told.find("20:36:00 tomas text 2"), std::string::npos);
}

TEST(Shelving, AlwaysHasAnEndAndAReason) {
  Bench bench(with_follower(""));
  Watch& watch = bench.watch();
  bench.run(1min);
  const auto shelve = [&](const std::string& rule, Duration span, const std::string& why,
                          Watch::EvenUrgent even = Watch::EvenUrgent::no) {
    return watch.shelve("house-1", rule, span, why, "ines", even).text;
  };
  EXPECT_EQ(shelve("damp-air", 2h, ""), "Say why: whoever comes next has to know.");
  EXPECT_EQ(shelve("damp-air", 0h, "wet feet"), "Say for how long.");
  EXPECT_EQ(shelve("damp-air", 13h, "wet feet"), "13 h is longer than 12 h; nothing was shelved.");
  EXPECT_EQ(shelve("wet-air", 2h, "wet feet"), "house-1 has no rule 'wet-air' that is watched.");
  EXPECT_EQ(shelve("cold-air", 2h, "new probe"),
            "cold-air can be urgent; it is only shelved with --even-urgent.");
  EXPECT_EQ(shelve("damp-air", 2h, "probe is being cleaned"), "damp-air in house-1 is shelved until 22:01.");
  EXPECT_EQ(shelve("cold-air", 1h, "new probe", Watch::EvenUrgent::yes),
            "cold-air in house-1 is shelved until 21:01.");
}

TEST(Shelving, EndsByItselfSaysSoAndNeverLandsInAcknowledged) {
  Bench bench(with_follower(""), march(3, 12));
  bench.air(33);
  bench.set("house-1/relative_humidity/centre", 80);
  bench.run_to(march(3, 12, 5));
  bench.reply("tomas", "OK");
  ASSERT_EQ(bench.alarm("damp-air").life.state(), AlarmState::acknowledged);
  ASSERT_TRUE(
      bench.watch().shelve("house-1", "damp-air", 30min, "cleaning", "tomas", Watch::EvenUrgent::no).done);
  bench.settle();
  EXPECT_EQ(bench.alarm("damp-air").life.state(), AlarmState::shelved);
  static_cast<void>(bench.told());
  bench.run_to(march(3, 12, 34));
  EXPECT_EQ(bench.told(), "");
  bench.run_to(march(3, 12, 36));
  EXPECT_EQ(bench.alarm("damp-air").life.state(), AlarmState::unacknowledged);
  EXPECT_NE(bench.told(true).find("H1 DAMP AIR is watched again: its time is over."), std::string::npos);
}

TEST(Shelving, EndsAtOnceWhenItBecomesUrgent) {
  FarmTexts texts;
  Bench bench(texts.load(), march(3, 12));
  bench.air(33);
  bench.set("house-1/relative_humidity/centre", 60);
  bench.run_to(march(3, 12, 5));
  // The whole rule can be urgent: shelving it takes a second word, and then holds.
  ASSERT_TRUE(
      bench.watch().shelve("house-1", "damp-air", 2h, "cleaning", "tomas", Watch::EvenUrgent::yes).done);
  bench.set("house-1/relative_humidity/centre", 95);
  bench.run_to(march(3, 12, 20));
  EXPECT_EQ(bench.alarm("damp-air").life.state(), AlarmState::shelved);
  EXPECT_EQ(bench.told(), "");
}

TEST(Shelving, OutlivesARestart) {
  Bench bench(with_follower(""), march(3, 12));
  bench.air(33);
  bench.set("house-1/relative_humidity/centre", 80);
  bench.run_to(march(3, 12, 5));
  ASSERT_TRUE(
      bench.watch().shelve("house-1", "damp-air", 2h, "cleaning", "tomas", Watch::EvenUrgent::no).done);
  bench.settle();
  bench.restart(bench.watch().snapshot(), 1min);
  EXPECT_EQ(bench.alarm("damp-air").life.state(), AlarmState::shelved);
  bench.run_to(march(3, 14, 6));
  EXPECT_EQ(bench.alarm("damp-air").life.state(), AlarmState::unacknowledged);
}

TEST(Shelving, ThatEndsBecauseItIsUrgentTellsOnce) {
  Bench bench;
  ASSERT_TRUE(
      bench.watch()
          .shelve("house-1", "cold-air", 2h, "the heater is being mended", "tomas", Watch::EvenUrgent::yes)
          .done);
  ASSERT_TRUE(
      bench.watch().shelve("house-1", "damp-air", 2h, "washing", "tomas", Watch::EvenUrgent::yes).done);
  bench.settle();
  bench.set("house-1/relative_humidity/centre", 95);
  bench.run_to(march(3, 20, 10));
  EXPECT_EQ(bench.told(), "");
  FarmTexts texts;
  FarmTexts::change(texts.pack, "      - {high: 90 %, priority: urgent}\n", "");
  Bench other(texts.load());
  ASSERT_TRUE(other.watch().shelve("house-1", "damp-air", 2h, "washing", "", Watch::EvenUrgent::no).done);
  other.watch().reload(FarmTexts().load());
  other.settle();
  other.set("house-1/relative_humidity/centre", 95);
  other.run_to(march(3, 20, 4));
  EXPECT_EQ(other.told(), "20:02:00 ines text 1\n20:02:00 ines call 1\n");
  EXPECT_EQ(other.alarm("damp-air").life.state(), AlarmState::unacknowledged);
}

TEST(Follows, AFollowerAndItsCauseMayGoInOneReload) {
  Bench bench(with_follower(), march(3, 18));
  bench.air(28);
  bench.set("house-1/relative_humidity/centre", 60);
  bench.run_to(march(3, 18, 10));
  bench.set("house-1/relative_humidity/centre", 80);
  bench.run_to(march(3, 18, 20));
  ASSERT_EQ(bench.alarm("damp-air").life.state(), AlarmState::suppressed_by_design);
  FarmTexts texts;
  FarmTexts::change(texts.pack, "  cold-air:", "  chilly-air:");
  FarmTexts::change(texts.pack, "  damp-air:", "  wet-air:");
  bench.watch().reload(texts.load());
  bench.settle();
  EXPECT_FALSE(bench.has_alarm("damp-air"));
  EXPECT_FALSE(bench.alarm("cold-air").life.stands());
}

}  // namespace
}  // namespace underwing
