// Goal: what is no matter of minutes is found as well, with the right urgency, and what looks like it is let
// be: water, gas, weights, losses, rounds. Method: tapes written by hand over the shipped packs and the
// watch, minute by minute.

#include <gtest/gtest.h>

#include <cmath>

#include "tests/packs/pack_night.hpp"

namespace underwing {
namespace {

using namespace std::chrono_literals;

double hour_of(Instant time) {
  return std::fmod(minutes_of(time) / 60, 24);
}

/// A meter over a flock that drinks in the light only, most when it comes on: 0.6 L a minute, and 1.1 in the
/// first half hour.
class Drinkers {
 public:
  double at(Instant time) {
    const double hour = hour_of(time);
    const bool dark = hour >= 4 && hour < 5;
    if (!stopped && !dark) litres_ += hour >= 5 && hour < 5.5 ? 1.1 : 0.6;
    litres_ += more;
    return std::floor(litres_);
  }
  bool stopped = false;
  double more = 0;

 private:
  double litres_ = 0;
};

/// A farm whose meter starts early, so that days of small birds can be judged.
PackFarm with_a_fine_meter() {
  PackFarm farm;
  farm.more = "adjust: {meter_start: 0.1 L/min}\n";
  return farm;
}

TEST(Water, StopsInTheLight) {
  PackNight night(with_a_fine_meter(), march(5, 2), 31.3);
  Drinkers drinkers;
  const auto drink = [&](Instant minute) {
    drinkers.stopped = minute >= march(6, 13);
    night.set("water/main", drinkers.at(minute));
  };
  night.run_to(march(6, 13), drink);
  EXPECT_EQ(night.first_call().time, kNever) << "the dark hours are no stop";
  night.run_to(march(6, 14), drink);
  const Told call = night.first_call();
  EXPECT_LE(call.time, march(6, 13, 46)) << call.text;
  EXPECT_NE(night.events().find("raised water-stop low"), std::string::npos);
}

TEST(Water, IsNotMissedUnderAMeterThatStartsLate) {
  // 0.6 L a minute are less than twice the start of a usual meter: its standing still says nothing.
  PackNight night(PackFarm{}, march(5, 2), 31.3);
  Drinkers drinkers;
  const auto drink = [&](Instant minute) {
    drinkers.stopped = minute >= march(6, 13);
    night.set("water/main", drinkers.at(minute));
  };
  night.run_to(march(6, 16), drink);
  EXPECT_EQ(night.first_call().time, kNever);
}

TEST(Water, RunsFromABurstLine) {
  PackNight night(with_a_fine_meter(), march(5, 2), 31.3);
  Drinkers drinkers;
  const auto drink = [&](Instant minute) {
    // A line is flushed for 20 min in the afternoon; at night it bursts.
    const bool flushed = minute >= march(6, 15) && minute < march(6, 15, 20);
    drinkers.more = flushed || minute >= march(7, 1) ? 2 : 0;
    night.set("water/main", drinkers.at(minute));
  };
  night.run_to(march(7, 1), drink);
  EXPECT_EQ(night.first_call().time, kNever) << "a flush is no burst, and neither is the light coming on";
  night.run_to(march(7, 2, 30), drink);
  const Told call = night.first_call();
  EXPECT_LE(call.time, march(7, 2, 5)) << call.text;
  EXPECT_NE(night.events().find("raised water-burst"), std::string::npos);
}

TEST(Water, MeterThatStartsAfreshIsNoStopAndNoBurst) {
  PackNight night(with_a_fine_meter(), march(5, 2), 31.3);
  Drinkers drinkers;
  const auto drink = [&](Instant minute) {
    if (minute == march(6, 20)) drinkers = Drinkers();
    night.set("water/main", drinkers.at(minute));
  };
  night.run_to(march(7, 3), drink);
  EXPECT_EQ(night.first_call().time, kNever);
}

TEST(Gas, DoesNotLastUntilMorning) {
  PackFarm farm;
  farm.probes = "      gas_level: [tank]\n";
  PackNight night(farm, march(3, 6), 32.5);
  // A percent and a half an hour, from 40 %: 10 % are left in twelve hours when the tank holds 28 %, at
  // 14:00.
  night.run_to(march(3, 18), [&](Instant minute) {
    night.set("gas_level/tank", 40 - 1.5 * (minutes_of(minute) - minutes_of(march(3, 6))) / 60);
  });
  const std::string events = night.events();
  const std::size_t at = events.find(" raised gas-short low");
  ASSERT_NE(at, std::string::npos) << events;
  EXPECT_EQ(events.substr(at - 8, 3), "14:") << events;
  EXPECT_EQ(night.first_call().time, kNever);
}

TEST(Weights, ScaleThatOnlyTakesWhatItExpects) {
  for (const bool window : {true, false}) {
    PackNight night(PackFarm{}, march(7, 12), 30);
    // Single birds spread by 10 %; the scale takes none further than 12 % from its curve.
    night.run_to(march(9, 0), [&](Instant minute) {
      const double normal =
          std::sqrt(-2 * std::log(0.9999 * std::fmod(minutes_of(minute) * 0.7548776662, 1.0) + 1e-4)) *
          std::cos(6.283185307 * std::fmod(minutes_of(minute) * 0.5698402910, 1.0));
      const double bird = 1 + 0.1 * normal;
      if (window && std::fabs(bird - 1) > 0.12) return night.silence("bird_weight/scale");
      night.set("bird_weight/scale", 150 * bird);
    });
    const std::string events = night.events();
    EXPECT_EQ(events.find("raised scale-window") != std::string::npos, window) << events;
  }
}

TEST(Weights, FlockThatFallsBehind) {
  PackNight night(PackFarm{}, march(8, 6), 30);
  night.run_to(march(9, 12), [&](Instant minute) {
    night.set("bird_weight/scale", 140 + 20 * std::sin(minutes_of(minute)));
  });
  const std::string events = night.events();
  EXPECT_NE(events.find("raised light-birds low"), std::string::npos) << events;
  EXPECT_NE(events.find("raised behind-a-day high"), std::string::npos) << events;
  EXPECT_EQ(night.first_call().time, kNever) << "it waits for the morning";
}

TEST(Losses, OfADayAreToldOnTheDayAndTheHumpIsExpected) {
  PackFarm farm;
  farm.probes = "      dead_birds: [round]\n      culled_birds: [round]\n";
  PackNight night(farm, march(5, 7), 31.5);
  // Day 3, the hump: 40 of 17 000 are 0.24 %.
  night.enter("dead_birds/round", 40);
  night.run_to(march(5, 9));
  EXPECT_TRUE(night.told().empty());
  night.enter("dead_birds/round", 40);
  night.enter("culled_birds/round", 10);
  night.run_to(march(5, 10));
  const std::vector<Told> told = night.told();
  ASSERT_FALSE(told.empty());
  EXPECT_EQ(told.front().priority, Priority::soon);
  EXPECT_NE(night.events().find("raised deaths-day high"), std::string::npos);
}

TEST(Losses, OfTheWeekAreHeldAgainstWhatItIsHeadingFor) {
  PackFarm farm;
  farm.probes = "      dead_birds: [round]\n";
  PackNight night(farm, march(4, 7), 31.5);
  // Two days old: 0.25 % is what a week of 0.7 % has by then; 51 of 17 000 are 0.3 %.
  night.enter("dead_birds/round", 51);
  night.run_to(march(4, 8));
  EXPECT_NE(night.events().find("raised deaths-week high"), std::string::npos);
}

TEST(Rounds, AreJudgedForTheirHour) {
  PackFarm farm;
  farm.packs = "air, rounds";
  farm.probes = "      crop_fill: [round]\n      dead_birds: [round]\n";
  PackNight night(farm, march(2, 9), 33);
  night.run_to(march(2, 11, 29));
  EXPECT_TRUE(night.told().empty()) << "two quiet hours";
  night.enter("crop_fill/round", 78);
  night.run_to(march(2, 13));
  EXPECT_EQ(night.events().find("crops-not-full"), std::string::npos) << "78 % at 2 h is well";
  // The same at 12 h is not, though it is entered at night: it is told, and wakes nobody.
  night.run_to(march(2, 21, 34));
  night.enter("crop_fill/round", 78);
  night.run_to(march(2, 23));
  EXPECT_NE(night.events().find("raised crops-not-full low"), std::string::npos);
  EXPECT_EQ(night.first_call().time, kNever);
}

TEST(Rounds, AColdFloorFoundByHandIsToldTheSameDay) {
  PackFarm farm;
  farm.packs = "air, rounds";
  farm.probes = "      floor_by_hand: [round]\n";
  PackNight night(farm, march(2, 8), 33);
  night.enter("floor_by_hand/round", 28);
  night.run_to(march(2, 9));
  EXPECT_TRUE(night.told().empty());
  night.enter("floor_by_hand/round", 26);
  night.run_to(march(2, 9, 10));
  const std::vector<Told> told = night.told();
  ASSERT_EQ(told.size(), 1U);
  EXPECT_EQ(told.front().text.substr(0, 18), "H1 FLOOR COLD 26 C") << told.front().text;
  EXPECT_EQ(told.front().priority, Priority::soon);
}

/// Main feeders by day 10: common practice. Drinkers and feeders at the height of the birds: likewise.
TEST(Rounds, DrinkersAndFeedersAreNotedForTheMorning) {
  PackFarm farm;
  farm.packs = "air, rounds";
  farm.probes = "      drinkers_at_height: [round]\n      feeders_at_height: [round]\n      main_feeders: [round]\n";
  PackNight night(farm, march(11, 9), 29);
  for (const char* what : {"drinkers_at_height", "feeders_at_height", "main_feeders"}) night.enter(std::string(what) + "/round", 90);
  night.run_to(march(11, 20));
  std::string events = night.events();
  EXPECT_NE(events.find("raised drinkers-off-height low"), std::string::npos) << events;
  EXPECT_NE(events.find("raised feeders-off-height low"), std::string::npos) << events;
  EXPECT_EQ(events.find("main-feeders-late"), std::string::npos) << "on day 9 there is time";
  night.run_to(march(12, 10));
  EXPECT_NE(night.events().find("raised main-feeders-late low"), std::string::npos);
  night.enter("drinkers_at_height/round", 100);
  night.run_to(march(12, 11));
  EXPECT_NE(night.events().find("returned drinkers-off-height"), std::string::npos);
}

TEST(Rounds, AreRemindedOfInWakingHours) {
  PackFarm farm;
  farm.packs = "air, rounds";
  farm.probes = "      crop_fill: [round]\n";
  PackNight night(farm, march(2, 9), 33);
  night.run_to(march(2, 11, 55));
  EXPECT_TRUE(night.told().empty());
  night.run_to(march(2, 12, 10));
  std::vector<Told> told = night.told();
  ASSERT_EQ(told.size(), 1U);
  EXPECT_EQ(told.front().priority, Priority::soon);
  EXPECT_NE(told.front().text.find("CROP"), std::string::npos) << told.front().text;
  // Done at 14:00; the one of 12 h after placement falls due at 21:30 and 22:00, and waits for the morning.
  night.run_to(march(2, 13, 59));
  night.enter("crop_fill/round", 92);
  (void)night.told();
  night.run_to(march(3, 5, 29));
  for (const Told& it : night.told()) EXPECT_LT(it.time, march(2, 21, 31)) << it.text;
  night.run_to(march(3, 5, 35));
  told = night.told();
  ASSERT_EQ(told.size(), 1U) << told.front().text << "\n" << told.back().text;
  EXPECT_NE(told.front().text.find("CROP"), std::string::npos) << told.front().text;
}

}  // namespace
}  // namespace underwing
