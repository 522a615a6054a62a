// Goal: an answer counts when it comes from a person and names an alarm that is current; it stops the steps,
// the others hear of it, and whoever does not come is called again. Method: the bench, and replies as texts.

#include <gtest/gtest.h>

#include "tests/watch/bench.hpp"

namespace underwing {
namespace {

using namespace std::chrono_literals;

class Answers : public testing::Test {
 protected:
  Answers() {
    bench.air(28);
    bench.run_to(march(3, 20, 10));  // ines was told at 20:06, ines and tomas at 20:09
    static_cast<void>(bench.told());
    static_cast<void>(bench.events());
  }
  Bench bench;
};

TEST_F(Answers, StopTheStepsAndTellTheOthers) {
  bench.reply("ines", "ok e6");
  EXPECT_EQ(bench.told(true),
            "20:10:00 tomas text 0 ines has it: H1 COLD 28 C.\n"
            "20:10:00 ines text 0 You have H1 COLD 28 C (E6). Send HERE when you are there.\n");
  EXPECT_EQ(bench.alarm("cold-air").life.state(), AlarmState::acknowledged);
  bench.run_to(march(3, 20, 24));
  EXPECT_EQ(bench.told(), "");
  EXPECT_EQ(bench.events(), "20:10:00 acknowledged cold-air ines\n");
}

TEST_F(Answers, PlainOkIsForTheLastText) {
  bench.reply("tomas", "OK");
  EXPECT_EQ(bench.alarm("cold-air").acknowledged_by, "tomas");
}

TEST_F(Answers, MayComeWithSpacesInTheNumber) {
  bench.reply("+447700900102", " Ok  E6 ");
  EXPECT_EQ(bench.alarm("cold-air").acknowledged_by, "tomas");
}

TEST_F(Answers, OfStrangersAreKeptAndNothingElse) {
  bench.reply("+44 7700 900199", "OK E6");
  bench.reply("", "OK E6");
  EXPECT_EQ(bench.told(), "");
  EXPECT_EQ(bench.alarm("cold-air").life.state(), AlarmState::unacknowledged);
  EXPECT_EQ(bench.effects().back().kind, Effect::Kind::answer);
}

TEST_F(Answers, WithACodeThatIsNotCurrentChangeNothingAndSaySo) {
  bench.reply("tomas", "OK Z9");
  EXPECT_EQ(bench.told(true), "20:10:00 tomas text 0 There is no alarm Z9 now; nothing was changed.\n");
  EXPECT_EQ(bench.alarm("cold-air").life.state(), AlarmState::unacknowledged);
  bench.run_to(march(3, 20, 12));
  EXPECT_EQ(bench.told(), "20:12:00 ines text 3\n20:12:00 tomas text 3\n20:12:00 maud text 3\n");
}

TEST_F(Answers, OfOneWhoWasToldOfNothingSaySo) {
  bench.reply("maud", "OK");
  EXPECT_EQ(bench.told(true), "20:10:00 maud text 0 Nothing is open that you have been told of.\n");
}

TEST_F(Answers, OfOtherWordsAreExplained) {
  bench.reply("tomas", "what is it?");
  EXPECT_EQ(bench.told(true),
            "20:10:00 tomas text 0 Not understood. OK K7: I have it. HERE: I am in the house. PASS: I cannot. HELP "
            "tells the rest.\n");
}

TEST_F(Answers, LongOrBrokenTextsDoNoHarm) {
  bench.reply("+44 7700 900199", std::string(159, 'a') + "é");
  bench.reply("tomas", std::string("OK \xff\xfe E6"));
  bench.reply("tomas", std::string(10'000, 'x'));
  bench.reply("tomas", "");
  bench.reply("tomas", "!?");
  EXPECT_FALSE(bench.watch().snapshot().empty());
}

TEST_F(Answers, WithoutHereWithinTheWayThereCallAgainFromTheSecondStep) {
  bench.reply("ines", "OK");
  static_cast<void>(bench.told());
  bench.run_to(march(3, 20, 29));
  // 10 minutes away and 5 more: 20:25.
  EXPECT_EQ(bench.told(),
            "20:25:00 ines text 2\n20:25:00 tomas text 2\n"
            "20:28:00 ines text 3\n20:28:00 tomas text 3\n20:28:00 maud text 3\n");
  EXPECT_EQ(bench.alarm("cold-air").life.state(), AlarmState::unacknowledged);
}

TEST_F(Answers, HereKeepsItQuietUntilTheResponseIsOverdue) {
  bench.reply("ines", "OK");
  bench.run_to(march(3, 20, 20));
  bench.reply("ines", "HERE");
  static_cast<void>(bench.told());
  bench.run_to(march(3, 20, 41));
  // Not back to normal 20 minutes after somebody is in the house.
  EXPECT_EQ(bench.told(), "20:40:00 ines text 2\n20:40:00 tomas text 2\n");
}

TEST_F(Answers, PassTakesTheNextStepAtOnce) {
  bench.reply("ines", "PASS E6");
  EXPECT_EQ(bench.told(), "20:10:00 ines text 3\n20:10:00 tomas text 3\n20:10:00 maud text 3\n");
}

TEST_F(Answers, PassAfterOkCallsAgain) {
  bench.reply("ines", "OK");
  bench.run_to(march(3, 20, 11));
  static_cast<void>(bench.told());
  bench.reply("ines", "PASS");
  EXPECT_EQ(bench.told(), "20:11:00 ines text 2\n20:11:00 tomas text 2\n");
}

TEST_F(Answers, BackToNormalIsToldToThoseWhoHadBeenTold) {
  bench.reply("ines", "OK");
  bench.run_to(march(3, 20, 11));
  static_cast<void>(bench.told());
  bench.air(33);
  bench.run_to(march(3, 20, 30));
  EXPECT_EQ(bench.told(true),
            "20:22:00 ines text 0 H1 back to normal: 33 C at 20:22. COLD from 20:06.\n"
            "20:22:00 tomas text 0 H1 back to normal: 33 C at 20:22. COLD from 20:06.\n");
  EXPECT_TRUE(bench.watch().alarms().empty());
}

TEST_F(Answers, UnansweredItStaysListedUntilSomebodyAnswers) {
  bench.air(33);
  bench.run_to(march(3, 20, 30));
  EXPECT_EQ(bench.alarm("cold-air").life.state(), AlarmState::returned_unacknowledged);
  static_cast<void>(bench.told());
  bench.run_to(march(3, 20, 50));
  EXPECT_EQ(bench.told(), "");
  bench.reply("tomas", "OK");
  EXPECT_TRUE(bench.watch().alarms().empty());
  EXPECT_EQ(bench.told(true), "20:50:00 tomas text 0 H1 COLD 33 C (E6) is over already.\n");
}

TEST_F(Answers, OrUntilTheSummaryHasNamedIt) {
  bench.air(33);
  bench.run_to(march(4, 6, 31));
  EXPECT_FALSE(bench.has_alarm("cold-air"));
}

TEST_F(Answers, FromTheCommandLineSayWhatWasDone) {
  Watch& watch = bench.watch();
  EXPECT_EQ(watch.acknowledge("Q9", "tomas").text, "There is no alarm Q9 now; nothing was changed.");
  const Watch::Answered answered = watch.acknowledge("e6", "tomas");
  EXPECT_TRUE(answered.done);
  EXPECT_EQ(answered.text, "tomas has E6 (H1 COLD 28 C).");
  EXPECT_EQ(watch.acknowledge("E6", "ines").text, "E6 (H1 COLD 28 C) has been answered already, by tomas.");
  EXPECT_FALSE(watch.reset("E6", "ines").done);
}

TEST_F(Answers, OverMqttComeFromAPersonsName) {
  bench.watch().reply("maud", "mqtt", "OK E6", Watch::MayName::yes);
  bench.watch().reply("+44 7700 900102", "mqtt", "PASS E6", Watch::MayName::yes);
  bench.settle();
  EXPECT_EQ(bench.alarm("cold-air").acknowledged_by, "maud");
}

}  // namespace
}  // namespace underwing
