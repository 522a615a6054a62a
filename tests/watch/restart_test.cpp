// Goal: what a watch keeps over a restart is all of it, and it goes on where it stopped: no alarm lost, no
// step told twice, none left out but those that an outage overtook. Method: the bench is restarted from a
// snapshot and the readings of the two hours before.

#include <gtest/gtest.h>

#include "tests/watch/bench.hpp"

namespace underwing {
namespace {

using namespace std::chrono_literals;

class Restart : public testing::Test {
 protected:
  void restart(Duration outage) {
    static_cast<void>(bench.told());
    static_cast<void>(bench.events());
    bench.restart(bench.watch().snapshot(), outage);
  }
  Bench bench;
};

TEST_F(Restart, PutsBackEveryByte) {
  bench.air(28);
  bench.set("house-1/relative_humidity/centre", 80);
  bench.silence("house-2/air_temperature/east");
  bench.outcome = [](const Delivery& delivery) {
    return delivery.way == Way::call ? Delivery::Outcome::open : Delivery::Outcome::sent;
  };
  for (int minute = 0; minute < 70; ++minute) {
    bench.run(37s);
    if (minute == 10) bench.watch().reply("+44 7700 900101", "text", "OK", Watch::MayName::no, "modem/1");
    if (minute == 20) bench.air(33);
    if (minute == 45) bench.air(28);
    if (minute == 50) bench.watch().work(0, bench.now() + 10min);
    if (minute == 55) static_cast<void>(bench.watch().swap_duty("ines", "tomas", *read_date("2026-03-05"), "maud"));
    if (minute == 60) bench.watch().clock(5min);
    bench.settle();
    const std::string snapshot = bench.watch().snapshot();
    ASSERT_EQ(bench.restored(snapshot, bench.watch().engine().shared_rules())->snapshot(), snapshot)
        << minute;
  }
}

TEST_F(Restart, RefusesWhatItCannotReadAndChangesNothing) {
  bench.air(28);
  bench.run_to(march(3, 20, 10));
  const std::string snapshot = bench.watch().snapshot();
  EXPECT_FALSE(bench.watch().restore(""));
  EXPECT_FALSE(bench.watch().restore("[]"));
  EXPECT_FALSE(bench.watch().restore(R"({"format":99})"));
  EXPECT_FALSE(bench.watch().restore(R"({"format":1,"now":0})"));
  for (const char* part :
       {"\"life\"", "\"codes_used\"", "\"last_codes\"", "\"summary_from\"", "\"due\"", "\"limits\""}) {
    std::string broken = snapshot;
    const std::size_t place = broken.find(part);
    ASSERT_NE(place, std::string::npos) << part;
    broken.replace(place + 1, 1, "#");
    if (std::string(part) == "\"codes_used\"") continue;  // may be missing
    EXPECT_FALSE(bench.watch().restore(broken)) << part;
    EXPECT_EQ(bench.watch().snapshot(), snapshot) << part;
  }
  EXPECT_EQ(Watch::snapshot_time("{"), kNever);
  EXPECT_EQ(Watch::snapshot_time(snapshot), bench.watch().now());
}

TEST_F(Restart, GoesOnWithTheStepThatComesNext) {
  bench.air(28);
  bench.run_to(march(3, 20, 7));
  restart(20s);
  bench.run_to(march(3, 20, 10));
  EXPECT_EQ(bench.told(), "20:09:00 ines text 2\n20:09:00 tomas text 2\n");
  EXPECT_EQ(bench.events(), "");
  EXPECT_EQ(bench.code("cold-air"), "E6");
}

TEST_F(Restart, TakesTheLaterStepWhereTheOutageOvertookOne) {
  bench.air(28);
  bench.run_to(march(3, 20, 7));
  restart(20min);  // steps 2 and 3 fell into it
  bench.run_to(march(3, 20, 30));
  EXPECT_EQ(bench.told(), "20:27:00 ines text 3\n20:27:00 tomas text 3\n20:27:00 maud text 3\n");
}

TEST_F(Restart, RunningOnDelaysCountTheOutage) {
  bench.run_to(march(3, 20, 1));
  bench.air(28);
  bench.run_to(march(3, 20, 4));  // cold since 20:02
  restart(10min);
  bench.run_to(march(3, 20, 14, 1));
  EXPECT_EQ(bench.events(), "20:14:00 raised cold-air low\n");
}

TEST_F(Restart, OffDelaysStartAfresh) {
  bench.air(28);
  bench.run_to(march(3, 20, 7));
  bench.air(33);
  bench.run_to(march(3, 20, 12));  // back since 20:08
  restart(10min);
  bench.run_to(march(3, 20, 32));
  EXPECT_EQ(bench.events(), "");
  bench.run_to(march(3, 20, 34));
  EXPECT_EQ(bench.events(), "20:33:00 returned cold-air\n");  // ten minutes after the first reading since
}

TEST_F(Restart, InventsNoBlindness) {
  bench.run_to(march(3, 20, 7));
  restart(40min);
  bench.run_to(march(3, 21, 30));
  EXPECT_EQ(bench.events(), "");
}

TEST_F(Restart, HandsOverWhatWasOnItsWayOnceMore) {
  bench.outcome = [](const Delivery&) { return Delivery::Outcome::open; };
  bench.air(28);
  bench.run_to(march(3, 20, 6, 10));
  EXPECT_EQ(bench.told(), "20:06:00 ines text 1\n20:06:00 ines call 1\n");
  const std::vector<Delivery> before = bench.watch().open_deliveries();
  bench.outcome = [](const Delivery&) { return Delivery::Outcome::sent; };
  restart(5s);
  EXPECT_EQ(bench.told(), "20:06:15 ines text 1\n20:06:15 ines call 1\n");
  EXPECT_EQ(before.size(), 2U);
  EXPECT_TRUE(bench.watch().open_deliveries().empty());
  bench.run_to(march(3, 20, 8));
  EXPECT_EQ(bench.told(), "");
}

TEST_F(Restart, KeepsAnAnswerAndLooksAfterIt) {
  bench.air(28);
  bench.run_to(march(3, 20, 7));
  bench.reply("ines", "OK");
  restart(1min);
  bench.run_to(march(3, 20, 21));
  EXPECT_EQ(bench.told(), "");
  bench.run_to(march(3, 20, 23));
  EXPECT_EQ(bench.told(), "20:22:00 ines text 2\n20:22:00 tomas text 2\n");  // nobody is there
}

TEST_F(Restart, DoesNotWakePeopleForWhatMayWait) {
  bench.run_to(march(3, 21, 25));
  bench.set("house-1/relative_humidity/centre", 80);
  bench.run_to(march(3, 21, 28));  // told at 21:27; the next step would come at 22:27
  bench.outcome = [](const Delivery&) { return Delivery::Outcome::sent; };
  restart(2h);
  bench.run_to(march(4, 5, 29));
  EXPECT_EQ(bench.told(), "");
  bench.run_to(march(4, 5, 31));
  EXPECT_EQ(bench.told(), "05:30:00 ines text 2\n05:30:00 tomas text 2\n05:30:00 maud text 2\n");
}

TEST_F(Restart, TellsTheSummaryThatTheOutageOvertookOnce) {
  bench.run_to(march(4, 6, 20));
  restart(30min);
  bench.run_to(march(4, 7, 30));
  EXPECT_EQ(bench.told(), "06:50:00 ines text 0\n");
}

TEST_F(Restart, TakesTheWallTimeOfNow) {
  bench.watch().clock(1h);
  bench.settle();
  bench.run_to(march(3, 20, 10));
  const std::string snapshot = bench.watch().snapshot();
  const auto watch = bench.restored(snapshot, bench.watch().engine().shared_rules());
  EXPECT_EQ(watch->wall(), bench.watch().now() + 1h);
  watch->resume(march(3, 21, 20), Duration::zero());  // engine time has begun anew at the clock
  EXPECT_EQ(watch->wall(), march(3, 21, 20));
}

TEST_F(Restart, UnderOtherRulesEndsWhatIsNotWatchedAnyMore) {
  bench.air(28);
  bench.run_to(march(3, 20, 7));
  static_cast<void>(bench.told());
  static_cast<void>(bench.events());
  FarmTexts texts;
  FarmTexts::change(texts.pack, "  cold-air:", "  chilly-air:");
  bench.restart(bench.watch().snapshot(), 10s, texts.load());
  EXPECT_EQ(bench.events(), "20:07:10 returned cold-air not watched\n");
  EXPECT_FALSE(bench.alarm("cold-air").life.stands());
}

}  // namespace
}  // namespace underwing
