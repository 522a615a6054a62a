// Goal: a sign of life goes out once a minute while the watch works, and that nobody outside answers is told, once, also over
// a restart. Method: the bench, whose other end answers or does not.

#include <gtest/gtest.h>

#include <nlohmann/json.hpp>

#include "tests/watch/bench.hpp"

namespace underwing {
namespace {

using namespace std::chrono_literals;

FarmTexts with_heartbeat() {
  FarmTexts texts;
  FarmTexts::change(texts.farm, "packs: [yard]", "heartbeat: {over: climate, to: underwing/heartbeat}\npacks: [yard]");
  return texts;
}

std::string beats(const Bench& bench) {
  std::string times;
  for (const Effect& effect : bench.effects()) {
    if (effect.kind == Effect::Kind::heartbeat) times += to_rfc3339(effect.time).substr(11, 8) + " ";
  }
  return times;
}

std::size_t told_of_heartbeat(Bench& bench) {
  std::size_t count = 0;
  for (const std::string& text : bench.texts()) count += text.find("HEARTBEAT") != std::string::npos;
  return count;
}

TEST(Heartbeat, GoesOutOnceAMinuteAndSaysWhatTheFarmIs) {
  Bench bench(with_heartbeat().load(), march(3, 20, 0, 20));
  bench.run_to(march(3, 20, 3));
  EXPECT_EQ(beats(bench), "20:01:00 20:02:00 20:03:00 ");
  const auto last = std::find_if(bench.effects().rbegin(), bench.effects().rend(), [](const Effect& effect) { return effect.kind == Effect::Kind::heartbeat; });
  EXPECT_EQ(last->json, R"({"beating":true,"farm":"Sandpiper Hollow","time":"2026-03-03T20:03:00.000Z","alarms":0})");
  EXPECT_TRUE(bench.watch().heartbeat_status()->answered);
}

TEST(Heartbeat, NoneGoesOutWhereTheFarmHasNone) {
  Bench bench;
  bench.run(5min);
  EXPECT_EQ(beats(bench), "");
  EXPECT_FALSE(bench.watch().heartbeat_status());
}

TEST(Heartbeat, UnansweredForFiveMinutesIsToldOnceAndEndsWithAnAnswer) {
  Bench bench(with_heartbeat().load());
  bench.run_to(march(3, 20, 10));
  bench.heard_outside = false;
  bench.run_to(march(3, 20, 14));
  EXPECT_FALSE(bench.has_alarm("heartbeat-unanswered"));
  EXPECT_FALSE(bench.watch().heartbeat_status()->answered);
  bench.run_to(march(3, 20, 16));
  ASSERT_TRUE(bench.has_alarm("heartbeat-unanswered"));
  EXPECT_EQ(bench.alarm("heartbeat-unanswered").priority, Priority::soon);
  const std::vector<std::string> texts = bench.texts();
  ASSERT_EQ(texts.size(), 1U);
  EXPECT_EQ(texts[0], "FARM HEARTBEAT UNANSWERED: nobody outside has answered climate since 20:10: no connection. Reply OK " + bench.code("heartbeat-unanswered"));
  bench.run_to(march(3, 20, 50));
  EXPECT_EQ(told_of_heartbeat(bench), 0U);
  bench.heard_outside = true;
  bench.run_to(march(3, 20, 52));
  EXPECT_FALSE(bench.alarm("heartbeat-unanswered").life.condition());
}

TEST(Heartbeat, OneThatComesSeldomIsGivenFiveOfThem) {
  FarmTexts texts = with_heartbeat();
  FarmTexts::change(texts.farm, "to: underwing/heartbeat", "to: underwing/heartbeat, every: 5 min");
  Bench bench(texts.load());
  bench.heard_outside = false;
  bench.run_to(march(3, 20, 24));
  EXPECT_FALSE(bench.has_alarm("heartbeat-unanswered"));
  bench.run_to(march(3, 20, 26));
  EXPECT_TRUE(bench.has_alarm("heartbeat-unanswered"));
  EXPECT_EQ(beats(bench), "20:05:00 20:10:00 20:15:00 20:20:00 20:25:00 ");
}

TEST(Heartbeat, IsAPointOfTheEveningCheck) {
  Bench bench(with_heartbeat().load());
  bench.run_to(march(3, 20, 30));
  EXPECT_EQ(bench.watch().evening_text(), "Ready for the night. H1 day 1. All probes live. Outside heartbeat answered. On duty: ines.");
  bench.heard_outside = false;
  bench.run_to(march(3, 20, 33));
  EXPECT_EQ(bench.watch().evening_text(), "NOT ready for the night: outside heartbeat not answered.");
  bench.run_to(march(3, 20, 40));
  EXPECT_EQ(bench.watch().evening_text(),
            "NOT ready for the night: FARM HEARTBEAT UNANSWERED: nobody outside has answered climate since 20:30: no connection.");
}

TEST(Heartbeat, ItsAlarmOutlivesARestartAndAnOutageIsNoSilenceOfTheOthers) {
  Bench bench(with_heartbeat().load());
  bench.run_to(march(3, 20, 2));
  bench.restart(bench.watch().snapshot(), 20min);
  bench.run(3min);
  EXPECT_FALSE(bench.has_alarm("heartbeat-unanswered"));
  bench.heard_outside = false;
  bench.run(6min);
  ASSERT_TRUE(bench.has_alarm("heartbeat-unanswered"));
  static_cast<void>(bench.texts());
  bench.restart(bench.watch().snapshot(), 1min);
  bench.run(10min);
  EXPECT_TRUE(bench.alarm("heartbeat-unanswered").life.condition());
  EXPECT_EQ(told_of_heartbeat(bench), 0U);
}

TEST(Heartbeat, AReloadWithoutOneEndsItsAlarm) {
  Bench bench(with_heartbeat().load());
  bench.heard_outside = false;
  bench.run(6min);
  ASSERT_TRUE(bench.has_alarm("heartbeat-unanswered"));
  bench.watch().reload(FarmTexts().load());
  bench.settle();
  EXPECT_FALSE(bench.alarm("heartbeat-unanswered").life.condition());
  bench.run(10min);
  bench.watch().reload(with_heartbeat().load());
  bench.heard_outside = true;
  bench.run(6min);
  EXPECT_TRUE(bench.watch().heartbeat_status()->answered);
}

}  // namespace
}  // namespace underwing
