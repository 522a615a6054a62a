// Goal: drills begin by themselves when the farm says so and never at any other hour, come first to whoever was not reached,
// make way for real calls, and are told when they are overdue. Method: the bench over days and weeks.

#include <gtest/gtest.h>

#include <nlohmann/json.hpp>

#include "daemon/json_text.hpp"
#include "daemon/words.hpp"
#include "tests/watch/bench.hpp"

namespace underwing {
namespace {

using namespace std::chrono_literals;

FarmTexts with_drills(const std::string& drills) {
  FarmTexts texts;
  FarmTexts::change(texts.farm, "packs: [yard]", "drills: {" + drills + "}\npacks: [yard]");
  return texts;
}

/// Everybody answers the drills that they are told of, but for `sleeper`. Gives "Mon 10:00 weekly", one a drill.
std::string run_and_answer(Bench& bench, Instant until, const std::string& sleeper = "") {
  const std::size_t before = bench.effects().size();
  while (bench.now() < until) {
    bench.run(1min);
    for (const auto& [id, alarm] : std::map(bench.watch().alarms())) {
      if (alarm.rule != "drill" || !alarm.life.condition()) continue;
      for (const std::string& who : alarm.told) {
        if (who == sleeper) continue;
        bench.reply(who, "OK " + alarm.code);
        break;
      }
    }
  }
  std::string drills;
  for (std::size_t i = before; i < bench.effects().size(); ++i) {
    const Effect& effect = bench.effects()[i];
    if (effect.kind != Effect::Kind::event) continue;
    const auto event = nlohmann::json::parse(effect.json);
    if (text_of(event, "event") != "drill") continue;
    const std::string who = text_of(event, "who");
    drills += to_rfc3339(effect.time).substr(5, 11) + " " + text_of(event, "why") + (who.empty() ? "" : " " + who) + "\n";
  }
  return drills;
}

TEST(DrillPlan, WeeklyOnItsDaysAtItsHour) {
  Bench bench(with_drills("weekly: {days: Wed, at: \"10:00\"}").load());  // begins on Tuesday
  EXPECT_EQ(run_and_answer(bench, march(19, 12)), "03-04T10:00 weekly\n03-11T10:00 weekly\n03-18T10:00 weekly\n");
  EXPECT_FALSE(bench.has_alarm("drill-overdue"));
  EXPECT_EQ(bench.watch().drill_status().next, march(25, 10));
  EXPECT_EQ(bench.watch().drill_status().answered, march(18, 10));
}

TEST(DrillPlan, KeepsItsHourOverTheChangeOfTheClocks) {
  Bench bench(with_drills("weekly: {days: Sun, at: \"01:30\"}").load(), march(21, 20));
  // On 29 March there is no 01:30 in London: it is 02:00 by the new time, 01:00 UTC.
  EXPECT_EQ(run_and_answer(bench, march(30, 12)), "03-22T01:30 weekly\n03-29T01:00 weekly\n");
}

TEST(DrillPlan, OneThatNobodyAnswersIsToldAndTriedAgainTheNextDay) {
  Bench bench(with_drills("weekly: {days: Wed, at: \"10:00\"}").load());
  static_cast<void>(run_and_answer(bench, march(4, 12)));
  bench.run_to(march(11, 10, 20));
  EXPECT_TRUE(bench.has_alarm("drill-unanswered"));
  bench.run_to(march(11, 13));
  EXPECT_FALSE(bench.has_alarm("drill-overdue")) << "one trouble is told twice";
  EXPECT_EQ(run_and_answer(bench, march(13, 12)), "03-12T10:00 weekly\n");
  EXPECT_FALSE(bench.has_alarm("drill-unanswered") && bench.alarm("drill-unanswered").life.condition());
}

TEST(DrillPlan, ARealCallComesFirstAndWhatIsOverdueIsTold) {
  Bench bench(with_drills("weekly: {days: Wed, at: \"10:00\"}").load());
  bench.run_to(march(4, 9, 30));
  bench.air(28);
  EXPECT_EQ(run_and_answer(bench, march(10, 19)), "");
  EXPECT_FALSE(bench.has_alarm("drill-overdue"));
  bench.run_to(march(10, 21, 2));
  ASSERT_TRUE(bench.has_alarm("drill-overdue"));
  EXPECT_EQ(bench.alarm("drill-overdue").detail, "no drill of the call-out has been answered since Tue 3 March; the law may want one every 7 days");
  bench.air(33);
  EXPECT_EQ(run_and_answer(bench, march(11, 10, 30)), "03-11T10:00 weekly\n");
  EXPECT_FALSE(bench.alarm("drill-overdue").life.condition());
}

TEST(DrillPlan, AtNightEachPersonOnceOneANight) {
  Bench bench(with_drills("night: \"02:30\"").load());
  EXPECT_EQ(bench.watch().drill_status().not_woken, (std::vector<std::string>{"ines", "tomas", "maud"}));
  EXPECT_EQ(run_and_answer(bench, march(9, 12), "tomas"), "03-04T02:30 night ines\n03-05T02:30 night tomas\n03-06T02:30 night maud\n"
                                                         "03-07T02:30 night tomas\n03-08T02:30 night tomas\n03-09T02:30 night tomas\n");
  EXPECT_EQ(bench.watch().drill_status().not_woken, (std::vector<std::string>{"tomas"}));
  EXPECT_EQ(run_and_answer(bench, march(12, 12)), "03-10T02:30 night tomas\n");
}

TEST(DrillPlan, AtNightItSaysSoAndTheSummaryNamesIt) {
  Bench bench(with_drills("night: \"02:30\"").load());
  bench.run_to(march(4, 2, 29, 59));
  static_cast<void>(bench.texts());
  bench.run_to(march(4, 2, 31));
  const std::string code = bench.code("drill");
  EXPECT_EQ(bench.texts(), (std::vector<std::string>(2, "TEST at night, a drill: nothing is wrong. Reply OK " + code)));
  bench.reply("ines", "OK");
  bench.run_to(march(4, 6, 31));
  const std::string summary = bench.texts().back();
  EXPECT_NE(summary.find("Drill: ines at night answered after 1 min."), std::string::npos) << summary;
}

TEST(DrillPlan, BeforePlacementItAsksForAllPowerOff) {
  FarmTexts texts = with_drills("before_placement: \"14:00\"");
  FarmTexts::change(texts.flock, "placed: 2026-03-02 09:30", "placed: 2026-03-07 09:30");
  Bench bench(texts.load());
  bench.run_to(march(6, 13, 59));
  static_cast<void>(bench.texts());
  bench.run_to(march(6, 14, 1));
  ASSERT_TRUE(bench.has_alarm("drill"));
  const std::vector<std::string> told = bench.texts();
  ASSERT_FALSE(told.empty());
  EXPECT_EQ(told[0], "TEST before chicks come: switch mains and generator off, both, and see that this and the alarm of the mains still come. Reply OK " + bench.code("drill"));
  EXPECT_LE(gsm_length(told[0]), kTextSeptetsMax);
  EXPECT_EQ(run_and_answer(bench, march(9, 12)), "");
  EXPECT_FALSE(bench.has_alarm("drill-overdue"));
}

TEST(DrillPlan, ChicksThatComeWithoutOneAreTold) {
  FarmTexts texts = with_drills("before_placement: \"14:00\"");
  FarmTexts::change(texts.flock, "placed: 2026-03-02 09:30", "placed: 2026-03-07 09:30");
  Bench bench(texts.load());
  bench.run_to(march(6, 12));
  bench.set("house-2/air_temperature/east", 41);  // a real call all the day
  bench.run_to(march(7, 9, 35));
  ASSERT_TRUE(bench.has_alarm("drill-overdue"));
  EXPECT_EQ(bench.alarm("drill-overdue").detail, "no drill was answered before the chicks of spring-1 came");
}

TEST(DrillPlan, OutlivesARestartAndWaitsForItsHourAfterAnOutage) {
  Bench bench(with_drills("weekly: {days: Wed, at: \"10:00\"}, night: \"02:30\"").load());
  static_cast<void>(run_and_answer(bench, march(10, 20)));
  const auto before = bench.watch().drill_status();
  bench.restart(bench.watch().snapshot(), 1min);
  EXPECT_EQ(bench.watch().drill_status().answered, before.answered);
  EXPECT_EQ(bench.watch().drill_status().not_woken, before.not_woken);
  // Down over the hour of the drill, and up again at night: it is made up for by day.
  bench.restart(bench.watch().snapshot(), 31h);
  EXPECT_EQ(run_and_answer(bench, march(13, 12)), "03-12T10:00 weekly\n");
}

}  // namespace
}  // namespace underwing
