// Goal: a first text goes out at once, what else comes for the same person within 20 s as one text at their
// end; one OK answers all that stands in it; and nothing waits behind good news. Method: alarms of one
// instant on the bench.

#include <gtest/gtest.h>

#include "daemon/words.hpp"
#include "tests/watch/bench.hpp"

namespace underwing {
namespace {

using namespace std::chrono_literals;

TEST(Gathering, WhatComesWithinTwentySecondsGoesOutTogether) {
  Bench bench;
  bench.run_to(march(3, 20, 1));
  bench.air(28);
  bench.run_to(march(3, 20, 5));
  bench.set("house-1/relative_humidity/centre", 95);
  bench.set("house-2/air_temperature/east", 41);
  bench.run_to(march(3, 20, 7, 30));
  EXPECT_EQ(bench.events(),
            "20:07:00 raised cold-air low\n20:07:00 raised damp-air high\n20:07:00 raised hot-air high\n");
  EXPECT_EQ(bench.told(true),
            "20:07:00 ines text 1 H1 COLD 28 C, wants 32.3 (day 1). GO NOW: Look at the chicks first. Then "
            "gas, heaters, curtains. "
            "Reply OK E6. Cannot go: PASS E6\n"
            "20:07:00 ines call 1 H1 COLD 28 C, wants 32.3 (day 1). GO NOW: Look at the chicks first. Then "
            "gas, heaters, curtains. "
            "Reply OK E6. Cannot go: PASS E6\n"
            "20:07:20 ines text 1 H1 DAMP AIR 95 %; H2 HOT 41 C. Reply OK (all of them)\n"
            "20:07:20 ines call 1 H1 DAMP AIR 95 %; H2 HOT 41 C. Reply OK (all of them)\n");
  bench.reply("ines", "OK");
  EXPECT_EQ(bench.alarm("damp-air").life.state(), AlarmState::acknowledged);
  EXPECT_EQ(bench.alarm("hot-air").life.state(), AlarmState::acknowledged);
  EXPECT_EQ(bench.alarm("cold-air").life.state(), AlarmState::unacknowledged);
}

TEST(Gathering, AnAnswerWithinTheTwentySecondsTakesItsTextAway) {
  Bench bench;
  bench.air(28);
  bench.set("house-1/relative_humidity/centre", 95);
  bench.run_to(march(3, 20, 6));  // damp at 20:02 to ines; cold at 20:06
  static_cast<void>(bench.told());
  bench.watch().acknowledge(bench.code("damp-air"), "maud");
  bench.settle();
  bench.run_to(march(3, 20, 6, 30));
  for (const std::string& text : bench.texts())
    EXPECT_EQ(text.find("DAMP AIR 95 %, limit"), std::string::npos) << text;
}

TEST(Gathering, ManyHeadsFitOneTextWithTheWayToAnswer) {
  FarmTexts texts;
  std::string houses;
  for (int i = 10; i < 40; ++i)
    houses += "  barn-by-the-long-wood-" + std::to_string(i) + ":\n    probes: {air_temperature: [east]}\n";
  FarmTexts::change(texts.farm, "  house-2:\n    probes:\n      air_temperature: [east]\n", houses);
  Bench bench(texts.load());
  for (int i = 10; i < 40; ++i)
    bench.set("barn-by-the-long-wood-" + std::to_string(i) + "/air_temperature/east", 41);
  bench.run_to(march(3, 20, 3));
  std::size_t longest = 0;
  for (const std::string& text : bench.texts()) {
    EXPECT_LE(gsm_length(text), 160U);
    if (text.find(" more. Reply OK (all of them)") != std::string::npos) ++longest;
  }
  EXPECT_GE(longest, 1U);
  bench.reply("ines", "OK");
  for (const auto& [id, alarm] : bench.watch().alarms()) {
    if (alarm.house != "barn-by-the-long-wood-10") {
      EXPECT_EQ(alarm.life.state(), AlarmState::acknowledged) << alarm.house;
    }
  }
}

TEST(Gathering, ALongOneCrowdsNobodyElseOut) {
  Bench bench;
  bench.air(28);
  bench.run_to(march(3, 20, 7));
  static_cast<void>(bench.told());
  bench.air(33);
  bench.run_to(march(3, 20, 17));
  static_cast<void>(bench.told());
  bench.set("house-2/air_temperature/east", 41);
  bench.run_to(march(3, 20, 17, 59));
  bench.watch().trouble("disk", true, "the gateway's disk is full");
  bench.watch().trouble("clock", true, "the gateway's clock went back by 1 h 30 min: whoever changed it may want to look at the lights and at all else that keeps time");
  bench.settle();
  bench.run_to(march(3, 20, 18, 30));
  EXPECT_EQ(bench.texts().back(),
            "FARM CLOCK: the gateway's clock went back by 1 h 30 min: whoever changed it may want; "
            "H1 back to normal: 33 C at 20:18. COLD from 20:06. Reply OK (all of them)");
}

TEST(Gathering, GoodNewsOfLesserThingsWaitsForMorningAndDelaysNothing) {
  Bench bench;
  bench.set("house-1/relative_humidity/centre", 80);
  bench.run_to(march(3, 22));  // told at 20:02
  bench.set("house-1/relative_humidity/centre", 60);
  bench.run_to(march(3, 23));
  static_cast<void>(bench.told());
  bench.air(28);
  bench.run_to(march(3, 23, 7));
  EXPECT_EQ(bench.told(true).substr(0, 46), "23:06:00 ines text 1 H1 COLD 28 C, wants 32.2 ");
  bench.reply("ines", "OK");
  bench.reply("ines", "HERE");
  bench.air(33);
  bench.run_to(march(4, 5, 29));
  static_cast<void>(bench.told());
  bench.run_to(march(4, 5, 31));
  EXPECT_EQ(bench.told(true),
            "05:30:00 ines text 0 H1 back to normal: 60 % at 22:01. DAMP AIR from 20:02.\n"
            "05:30:00 maud text 0 H1 back to normal: 60 % at 22:01. DAMP AIR from 20:02.\n"
            "05:30:00 tomas text 0 H1 back to normal: 60 % at 22:01. DAMP AIR from 20:02.\n");
}

}  // namespace
}  // namespace underwing
