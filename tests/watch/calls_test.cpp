// Goal: people are told in the steps of the farm file, at their minutes, until one of them answers; what
// fails is followed at once by the next. Method: a made-up farm on a bench, the list of deliveries compared
// as text.

#include <gtest/gtest.h>

#include "tests/watch/bench.hpp"

namespace underwing {
namespace {

using namespace std::chrono_literals;
using Outcome = Delivery::Outcome;

TEST(Calls, StepsComeAtTheirMinutesAndTheLastOneRepeats) {
  Bench bench;
  bench.air(28);
  bench.run_to(march(3, 20, 20));
  EXPECT_EQ(bench.events(), "20:06:00 raised cold-air low\n");
  EXPECT_EQ(bench.told(),
            "20:06:00 ines text 1\n"
            "20:06:00 ines call 1\n"
            "20:09:00 ines text 2\n"
            "20:09:00 tomas text 2\n"
            "20:12:00 ines text 3\n"
            "20:12:00 tomas text 3\n"
            "20:12:00 maud text 3\n"
            "20:17:00 ines text 3\n"
            "20:17:00 tomas text 3\n"
            "20:17:00 maud text 3\n");
  bench.run_to(march(4, 20, 20));
  // Nobody answers for a day: every five minutes three people.
  EXPECT_EQ(bench.texts().size(),
            3U * 24 * 12 + 2);  // the evening check is at 21:00 and the summary at 06:30
  EXPECT_TRUE(bench.alarm("cold-air").calling.running);
}

TEST(Calls, TheFirstTextSaysWhatIsWrongAndWhatToDo) {
  Bench bench;
  bench.air(28);
  bench.run_to(march(3, 20, 6));
  EXPECT_EQ(bench.told(true),
            "20:06:00 ines text 1 H1 COLD 28 C, wants 32.3 (day 1). GO NOW: Look at the chicks first. Then "
            "gas, heaters, curtains. "
            "Reply OK E6. Cannot go: PASS E6\n"
            "20:06:00 ines call 1 H1 COLD 28 C, wants 32.3 (day 1). GO NOW: Look at the chicks first. Then "
            "gas, heaters, curtains. "
            "Reply OK E6. Cannot go: PASS E6\n");
}

TEST(Calls, WithoutThenEveryTheLastUrgentStepRepeatsAfterFifteenMinutes) {
  FarmTexts texts;
  FarmTexts::change(texts.farm, ", then_every: 5 min", "");
  Bench bench(texts.load());
  bench.air(28);
  bench.run_to(march(3, 20, 11));
  static_cast<void>(bench.told());
  bench.run_to(march(3, 20, 45));
  EXPECT_EQ(bench.told(),
            "20:12:00 ines text 3\n20:12:00 tomas text 3\n20:12:00 maud text 3\n"
            "20:27:00 ines text 3\n20:27:00 tomas text 3\n20:27:00 maud text 3\n"
            "20:42:00 ines text 3\n20:42:00 tomas text 3\n20:42:00 maud text 3\n");
}

TEST(Calls, WhereNobodyHasDutyEveryoneIsTold) {
  FarmTexts texts;
  FarmTexts::change(texts.farm, "  - {who: tomas}\n", "");
  FarmTexts::change(texts.farm, "days: Mon-Fri", "days: Sat");
  Bench bench(texts.load());
  bench.air(28);
  bench.run_to(march(3, 20, 6));
  EXPECT_EQ(bench.told(),
            "20:06:00 ines text 1\n20:06:00 ines call 1\n20:06:00 tomas text 1\n20:06:00 tomas call "
            "1\n20:06:00 maud text 1\n");
}

TEST(Calls, OnDutyIsWhoeverHasDutyAtThatMoment) {
  Bench bench(FarmTexts().load(), march(4, 7, 50));
  bench.air(28);
  bench.outcome = [](const Delivery& delivery) { return delivery.step == 1 ? Outcome::sent : Outcome::open; };
  bench.run_to(march(4, 7, 56));
  EXPECT_EQ(bench.told(), "07:56:00 ines text 1\n07:56:00 ines call 1\n");
  Bench later(FarmTexts().load(), march(4, 7, 55));
  later.air(28);
  later.run_to(march(4, 8, 1));
  EXPECT_EQ(later.told(), "08:01:00 tomas text 1\n08:01:00 tomas call 1\n");
}

TEST(Calls, AFailedStepIsFollowedAtOnceAndTheLastIsTriedAgainDoubling) {
  Bench bench;
  bench.outcome = [](const Delivery&) { return Outcome::failed; };
  bench.air(28);
  bench.run_to(march(3, 20, 19));
  // What comes for one person within 20 s of a text waits for their end, as after any text.
  EXPECT_EQ(bench.told(),
            "20:06:00 ines text 1\n"
            "20:06:00 ines call 1\n"
            "20:06:00 tomas text 2\n"
            "20:06:20 ines text 2\n"
            "20:06:20 tomas text 3\n"
            "20:06:20 maud text 3\n"
            "20:06:40 ines text 3\n"
            "20:07:40 ines text 3\n20:07:40 tomas text 3\n20:07:40 maud text 3\n"
            "20:09:40 ines text 3\n20:09:40 tomas text 3\n20:09:40 maud text 3\n"
            "20:13:40 ines text 3\n20:13:40 tomas text 3\n20:13:40 maud text 3\n"
            "20:18:40 ines text 3\n20:18:40 tomas text 3\n20:18:40 maud text 3\n");
}

TEST(Calls, NoReceiptWithinAMinuteIsAFailure) {
  Bench bench;
  bench.outcome = [](const Delivery&) { return Outcome::open; };
  bench.air(28);
  bench.run_to(march(3, 20, 14));
  EXPECT_EQ(bench.told(),
            "20:06:00 ines text 1\n20:06:00 ines call 1\n"
            "20:07:00 ines text 2\n20:07:00 tomas text 2\n"
            "20:08:00 ines text 3\n20:08:00 tomas text 3\n20:08:00 maud text 3\n"
            "20:10:00 ines text 3\n20:10:00 tomas text 3\n20:10:00 maud text 3\n"
            "20:13:00 ines text 3\n20:13:00 tomas text 3\n20:13:00 maud text 3\n");
}

TEST(Calls, OneDeliveryThatArrivesIsEnough) {
  Bench bench;
  bench.outcome = [](const Delivery& delivery) {
    return delivery.way == Way::call ? Outcome::failed : Outcome::delivered;
  };
  bench.air(28);
  bench.run_to(march(3, 20, 8));
  EXPECT_EQ(bench.told(), "20:06:00 ines text 1\n20:06:00 ines call 1\n");
}

TEST(Calls, ARepeatThatArrivesEndsTheRetries) {
  Bench bench;
  bool up = false;
  bench.outcome = [&](const Delivery&) { return up ? Outcome::sent : Outcome::failed; };
  bench.air(28);
  bench.run_to(march(3, 20, 7));
  up = true;
  static_cast<void>(bench.told());
  bench.run_to(march(3, 20, 18));
  EXPECT_EQ(bench.told(),
            "20:07:40 ines text 3\n20:07:40 tomas text 3\n20:07:40 maud text 3\n"
            "20:12:40 ines text 3\n20:12:40 tomas text 3\n20:12:40 maud text 3\n"
            "20:17:40 ines text 3\n20:17:40 tomas text 3\n20:17:40 maud text 3\n");
}

TEST(Calls, AStepForWhomThereIsNoNumberFailsAtOnce) {
  FarmTexts texts;
  FarmTexts::change(texts.farm, "  - {who: ines, days: Mon-Fri, from: \"20:00\", to: \"08:00\"}\n",
                    "  - {who: maud}\n");
  FarmTexts::change(texts.farm, "tell: on-duty, by: [text, call]}", "tell: on-duty, by: call}");
  Bench bench(texts.load());
  bench.air(28);
  bench.run_to(march(3, 20, 6));
  EXPECT_EQ(bench.told(), "20:06:00 ines text 2\n20:06:00 tomas text 2\n");
}

TEST(Calls, ALateReceiptOfAnEarlierStepChangesNothing) {
  Bench bench;
  std::vector<std::string> open;
  bench.outcome = [&](const Delivery& delivery) {
    if (delivery.step == 1) open.push_back(delivery.id);
    return delivery.step == 1 ? Outcome::open : Outcome::sent;
  };
  bench.air(28);
  bench.run_to(march(3, 20, 7, 30));
  EXPECT_EQ(bench.told(),
            "20:06:00 ines text 1\n20:06:00 ines call 1\n20:07:00 ines text 2\n20:07:00 tomas text 2\n");
  for (const std::string& id : open) bench.watch().receipt(id, Outcome::failed, "late");
  bench.watch().receipt("d-999999", Outcome::failed, "of nobody's");
  bench.settle();
  bench.run_to(march(3, 20, 11));
  EXPECT_EQ(bench.told(), "");
}

TEST(Calls, AWorsenedAlarmEndsAnAnswerAndStartsTheStepsOfItsNewPriority) {
  Bench bench;
  bench.set("house-1/relative_humidity/centre", 72);
  bench.run_to(march(3, 20, 3));
  EXPECT_EQ(bench.told(), "");  // a note is for the morning
  bench.set("house-1/relative_humidity/centre", 80);
  bench.run_to(march(3, 20, 5));
  EXPECT_EQ(bench.told(), "20:05:00 ines text 1\n");
  bench.reply("ines", "OK");
  EXPECT_EQ(bench.alarm("damp-air").life.state(), AlarmState::acknowledged);
  bench.set("house-1/relative_humidity/centre", 95);
  bench.run_to(march(3, 20, 11));
  EXPECT_EQ(
      bench.events(),
      "20:02:00 raised damp-air high\n20:05:00 worsened damp-air high\n20:05:00 acknowledged damp-air ines\n"
      "20:07:00 worsened damp-air high\n");
  EXPECT_EQ(bench.told(),
            "20:05:20 ines text 0\n"  // that she has it
            "20:07:00 ines text 1\n20:07:00 ines call 1\n20:10:00 ines text 2\n20:10:00 tomas text 2\n");
  EXPECT_EQ(bench.watch().alarms().size(), 1U);
}

TEST(Calls, AnEasedAlarmGoesOnWithTheLastStepOfItsLesserPriority) {
  Bench bench;
  bench.set("house-1/relative_humidity/centre", 95);
  bench.run_to(march(3, 20, 3));
  EXPECT_EQ(bench.told(), "20:02:00 ines text 1\n20:02:00 ines call 1\n");
  bench.set("house-1/relative_humidity/centre", 80);
  bench.run_to(march(4, 5, 29));
  EXPECT_EQ(bench.events(), "20:02:00 raised damp-air high\n20:04:00 eased damp-air high\n");
  EXPECT_EQ(bench.told(), "21:00:00 ines text 0\n");  // the evening check
  bench.run_to(march(4, 5, 31));
  EXPECT_EQ(bench.told(), "05:30:00 ines text 2\n05:30:00 tomas text 2\n05:30:00 maud text 2\n");
}

TEST(Calls, SoonWaitsForItsHours) {
  Bench bench(FarmTexts().load(), march(3, 22));
  bench.set("house-1/relative_humidity/centre", 80);
  bench.run_to(march(4, 5, 29));
  EXPECT_EQ(bench.events(), "22:02:00 raised damp-air high\n");
  EXPECT_EQ(bench.told(), "");
  bench.run_to(march(4, 9));
  EXPECT_EQ(bench.told(),
            "05:30:00 ines text 1\n"
            "06:30:00 ines text 2\n06:30:00 tomas text 2\n06:30:00 maud text 2\n"
            "06:30:20 ines text 0\n"  // the summary
            "08:30:00 ines text 2\n08:30:00 tomas text 2\n08:30:00 maud text 2\n");
}

TEST(Calls, RaisedAgainIsANewAlarmWithACodeOfItsOwn) {
  Bench bench;
  bench.air(28);
  bench.run_to(march(3, 20, 7));
  EXPECT_EQ(bench.code("cold-air"), "E6");
  bench.reply("ines", "OK E6");
  bench.air(33);
  bench.run_to(march(3, 20, 19));
  EXPECT_TRUE(bench.watch().alarms().empty());
  static_cast<void>(bench.told());
  bench.air(28);
  bench.run_to(march(3, 20, 25));
  EXPECT_NE(bench.code("cold-air"), "E6");
  EXPECT_EQ(bench.alarm("cold-air").life.state(), AlarmState::unacknowledged);
  // Urgent again within the hour: from the second step.
  EXPECT_EQ(bench.told(), "20:25:00 ines text 2\n20:25:00 tomas text 2\n");
}

TEST(Calls, ALatchedAlarmCallsUntilAnsweredAndStaysUntilReset) {
  FarmTexts texts;
  FarmTexts::change(texts.pack, "    respond_within: 20 min\n",
                    "    respond_within: 20 min\n    latch: true\n");
  Bench bench(texts.load());
  bench.air(28);
  bench.run_to(march(3, 20, 7));
  EXPECT_FALSE(bench.watch().reset("E6", "ines").done);  // it is still cold
  bench.air(33);
  bench.run_to(march(3, 20, 17, 30));
  EXPECT_EQ(bench.alarm("cold-air").life.state(), AlarmState::unacknowledged);
  bench.run_to(march(3, 20, 18));
  EXPECT_EQ(bench.alarm("cold-air").life.state(), AlarmState::latched_unacknowledged);
  static_cast<void>(bench.told());
  bench.run_to(march(3, 20, 23));
  EXPECT_EQ(bench.told(), "20:22:00 ines text 3\n20:22:00 tomas text 3\n20:22:00 maud text 3\n");
  bench.reply("tomas", "OK");
  bench.run_to(march(3, 20, 50));
  EXPECT_EQ(bench.alarm("cold-air").life.state(), AlarmState::latched_acknowledged);
  EXPECT_EQ(
      bench.events(),
      "20:06:00 raised cold-air low\n20:18:00 returned cold-air\n20:23:00 acknowledged cold-air tomas\n");
  // Cold again: the same alarm, and it calls.
  bench.air(28);
  bench.run_to(march(3, 20, 56));
  EXPECT_EQ(bench.watch().alarms().size(), 1U);
  EXPECT_EQ(bench.code("cold-air"), "E6");
  EXPECT_EQ(bench.alarm("cold-air").life.state(), AlarmState::unacknowledged);
  bench.reply("ines", "OK");
  bench.air(33);
  bench.run_to(march(3, 21, 8));
  EXPECT_TRUE(bench.watch().reset("E6", "ines").done);
  EXPECT_TRUE(bench.watch().alarms().empty());
}

TEST(Calls, CodesAreNotGivenAgainWithinSevenDays) {
  FarmTexts texts;
  FarmTexts::change(texts.yard, "on_delay: 1 min\n    off_delay: 1 min",
                    "on_delay: 0 min\n    off_delay: 0 min");
  Bench bench(texts.load());
  std::map<std::string, Instant> given;
  std::size_t raised = 0;
  for (int cycle = 0; cycle < 6'000; ++cycle) {  // eight days of a probe that flaps every other minute
    bench.set("house-2/air_temperature/east", 41);
    bench.run(1min);
    const std::string code = bench.code("hot-air");
    ASSERT_GE(code.size(), 2U);
    ASSERT_LE(code.size(), 4U);
    const auto before = given.find(code);
    // There are 5700 codes; who needs more in a week gets the oldest one again.
    if (raised++ < 5'000 && before != given.end()) {
      ASSERT_GE(bench.now() - before->second, 7 * 24h) << code;
    }
    given[code] = bench.now();
    bench.set("house-2/air_temperature/east", 33);
    bench.run(1min);
    static_cast<void>(bench.told());
  }
  EXPECT_GT(given.size(), 5'000U);
  EXPECT_EQ(given.begin()->first.find_first_of("0125BDGILOQSUVZ8"), std::string::npos);
}

}  // namespace
}  // namespace underwing
