// Goal: nights on which nobody must be woken. A false call teaches people to pull the plug.
// Method: tapes written by hand over the shipped packs and the watch, minute by minute.

#include <gtest/gtest.h>

#include <cmath>

#include "tests/packs/pack_night.hpp"

namespace underwing {
namespace {

using namespace std::chrono_literals;

/// From -1 to 1, straight up and straight down again in `period` minutes.
double saw_tooth(Instant time, double period) {
  const double phase = std::fmod(minutes_of(time), period) / period;
  return phase < 0.5 ? 4 * phase - 1 : 3 - 4 * phase;
}

std::string as_text(const std::vector<Told>& told) {
  std::string text;
  for (const Told& it : told) text += to_rfc3339(it.time).substr(11, 5) + " " + it.text + "\n";
  return text;
}

TEST(QuietNights, ColdWithAHeaterThatComesAndGoes) {
  PackNight night(PackFarm{}, march(2, 18), 32.7);
  double water_l = 0;
  const auto quiet = [&](Instant minute) {
    const double air_c = 33 - 3.0 / 7 * (minutes_of(minute) - minutes_of(march(2, 9, 30))) / 1440;
    night.air(air_c + 1.5 * saw_tooth(minute, 20));
    const bool heats = std::fmod(minutes_of(minute), 20) < 10;
    night.set("heat_asked/computer", heats ? 1 : 0);
    night.set("heater_running/heater", heats ? 1 : 0);
    night.set("fan_running/timer", std::fmod(minutes_of(minute), 5) < 1 ? 1 : 0);
    night.set("carbon_dioxide/centre", 4200 + 250 * saw_tooth(minute, 20) + 100 * saw_tooth(minute, 5));
    night.set("ammonia/centre", 22 + 0.3 * saw_tooth(minute, 60));
    night.set("relative_humidity/centre", 74 - 6 * saw_tooth(minute, 20));
    night.set("outside_temperature/yard", -4);
    // Day-olds drink less than the meter's start: it stands still for 3 h, and in the dark of 04:00 to 05:00.
    const bool drinks =
        (minute < march(2, 23) || minute >= march(3, 2)) && (minute < march(3, 4) || minute >= march(3, 5));
    if (drinks) water_l += 0.6;
    night.set("water/main", std::floor(water_l));
  };
  night.run_to(march(3, 6, 29), quiet);
  EXPECT_EQ(as_text(night.told()), "");
  // What the mail says of it, with water that was drunk all the same.
  const std::string full = night.bench().watch().summary_in_full();
  for (const char* part : {"NH3 up to 22 ppm, CO2 up to 4350 ppm, humidity 68 to 80 %.", "water "}) {
    EXPECT_NE(full.find(part), std::string::npos) << full;
  }
  night.run_to(march(3, 6, 31), quiet);
  const std::vector<Told> summary = night.told();
  ASSERT_EQ(summary.size(), 1U) << as_text(summary);
  EXPECT_EQ(summary.front().priority, Priority::note);
  EXPECT_EQ(summary.front().text,
            "MORNING 06:30. H1 day 1: AMMONIA 19:00-now. NH3 up to 22 ppm, CO2 up to 4350 ppm, humidity 68 to 80 %. Open now: 1.");
  EXPECT_NE(night.events().find("raised ammonia high"), std::string::npos);
}

TEST(QuietNights, OneProbeJumpsToWhatBrokenProbesSay) {
  for (const double broken : {85.0, -127.0}) {
    PackNight night(PackFarm{}, march(4, 0), 32.2);
    night.run_to(march(4, 1));
    night.run_to(march(4, 5, 25), [&](Instant) { night.set("air_temperature/south", broken); });
    EXPECT_EQ(as_text(night.told()), "") << broken;
    // In waking hours it is told.
    night.run_to(march(4, 5, 40), [&](Instant) { night.set("air_temperature/south", broken); });
    EXPECT_NE(as_text(night.told()).find("south"), std::string::npos) << broken;
  }
}

TEST(QuietNights, HumidityProbeSticksAt99) {
  PackNight night(PackFarm{}, march(3, 20), 32.4);
  const auto stuck = [&](Instant) { night.set("relative_humidity/centre", 99); };
  night.run_to(march(4, 3), stuck);
  EXPECT_EQ(night.first_call().time, kNever);
  // The rules go on with the dry bulb: the house is cold, and it is called.
  night.air(29.5);
  night.run_to(march(4, 3, 20), stuck);
  EXPECT_NE(night.first_call().time, kNever);
}

TEST(QuietNights, ClocksChange) {
  PackFarm farm;
  farm.placed = "2026-03-27 09:30";
  PackNight night(farm, march(28, 22), 32.4);
  night.run_to(march(29, 4));
  EXPECT_EQ(as_text(night.told()), "");
}

TEST(QuietNights, Day7WeighsWhatAFlockShould) {
  PackNight night(PackFarm{}, march(8, 12), 30);
  // 189 g at 18:00 and 194 g at 21:00, single birds spread by 10 %; a weighing a minute.
  const auto scale = [&](Instant minute) {
    const double hours = (minutes_of(minute) - minutes_of(march(9, 18))) / 60;
    const double mean_g = 189 + (hours > 0 ? 5.0 / 3 : 31.0 / 24) * hours;
    const double normal =
        std::sqrt(-2 * std::log(0.9999 * std::fmod(minutes_of(minute) * 0.7548776662, 1.0) + 1e-4)) *
        std::cos(6.283185307 * std::fmod(minutes_of(minute) * 0.5698402910, 1.0));
    night.set("bird_weight/scale", mean_g * (1 + 0.1 * normal));
  };
  night.run_to(march(9, 23), scale);
  const std::string events = night.events();
  for (const char* rule : {"light-birds", "behind-a-day", "light-first-week", "scale-window"})
    EXPECT_EQ(events.find(rule), std::string::npos) << events;
  EXPECT_EQ(night.first_call().time, kNever);
}

TEST(QuietNights, EmptyHouse) {
  PackFarm farm;
  farm.more = "cleared: 2026-03-05 07:00\n";
  PackNight night(farm, march(5, 6), 31.5);
  night.run_to(march(5, 7));
  (void)night.told();
  night.run_to(march(6, 5), [&](Instant minute) {
    night.air(std::max(8.0, 31.5 - 0.2 * (minutes_of(minute) - minutes_of(march(5, 7)))));
  });
  EXPECT_EQ(as_text(night.told()), "");
}

}  // namespace
}  // namespace underwing
