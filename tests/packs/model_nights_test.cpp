// Goal: the nights that must go right go right with a house that obeys physics, not only on tapes by hand.
// Method: the shipped packs and the watch over the model house, minute by minute, with faults by schedule.

#include <gtest/gtest.h>

#include "tests/packs/pack_night.hpp"

namespace underwing {
namespace {

using namespace std::chrono_literals;
using What = Fault::What;

const Instant kPlaced = march(2, 9, 30);
/// 2 °C, steady, and damp.
const Outside kCold = {2, 0, 5, 85};

double minutes_from(Instant begin, Instant time) {
  return minutes_of(time) - minutes_of(begin);
}

std::string as_text(const std::vector<Told>& told) {
  std::string text;
  for (const Told& it : told) text += to_rfc3339(it.time).substr(11, 5) + " " + it.text + "\n";
  return text;
}

TEST(ModelNights, FansStopOnDay7AtTwoSpeeds) {
  // Chicks of 213 g do not warm a house so fast alone: the heater burns on, as when the house computer hangs.
  // Its size makes the speed.
  struct Case {
    double heater_kw, k_min, within_min;
  };
  for (const Case& it : {Case{141, 0.74, 3}, Case{65, 0.3, 10}}) {
    const Instant stop = march(10, 1);
    HouseParameters house;
    house.heater_kw = it.heater_kw;
    FarmModel model = model_of(kPlaced, march(9, 12), {12, 0, 5, 85},
                               {fault(What::fan_fails, stop), fault(What::heater_sticks_on, stop)}, house);
    PackNight night(PackFarm{}, march(9, 21), 30);
    night.run_model(model, stop);
    EXPECT_EQ(night.first_call().time, kNever);
    const double begin_c = model.house(0).air_c();
    night.run_model(model, stop + 3min);
    EXPECT_NEAR((model.house(0).air_c() - begin_c) / 3, it.k_min, 0.15 * it.k_min);
    night.run_model(model, stop + 15min);
    const Told call = night.first_call();
    ASSERT_NE(call.time, kNever) << it.k_min;
    // The first risen reading stands one minute after the stop.
    EXPECT_LE(minutes_from(stop + 1min, call.time), it.within_min) << call.text;
  }
}

TEST(ModelNights, FansStopOverBigBirds) {
  const Instant stop = march(30, 1);
  HouseParameters house;
  house.birds = 23000;
  FarmModel model = model_of(kPlaced, march(29, 12), {12, 0, 5, 85}, {fault(What::fan_fails, stop)}, house);
  PackNight night(PackFarm{}, march(29, 21), 21);
  night.run_model(model, stop);
  EXPECT_EQ(night.first_call().time, kNever);
  night.run_model(model, stop + 15min);
  const Told call = night.first_call();
  ASSERT_NE(call.time, kNever);
  EXPECT_LE(minutes_from(stop, call.time), 6) << call.text;
}

TEST(ModelNights, MainsCutTwiceAndTheSecondTimeTheGeneratorFails) {
  HouseParameters house;
  house.generator = true;
  FarmModel model =
      model_of(kPlaced, march(2, 12), kCold,
               {fault(What::mains_lost, march(3, 2), march(3, 2, 30)), fault(What::mains_lost, march(3, 3)),
                fault(What::generator_fails, march(3, 3))},
               house);
  PackNight night(PackFarm{}, march(3, 0), 33);
  night.run_model(model, march(3, 2, 5));
  EXPECT_LE(night.first_call().time, march(3, 2, 2));
  night.bench().reply("ines", "OK");
  night.bench().reply("ines", "HERE");
  night.run_model(model, march(3, 2, 59));
  EXPECT_NE(night.events().find("returned mains-lost"), std::string::npos);
  (void)night.told();
  night.run_model(model, march(3, 3, 5));
  EXPECT_LE(night.first_call().time, march(3, 3, 2)) << "a second cut is called afresh";
  const std::string events = night.events();
  EXPECT_NE(events.find("raised mains-lost"), std::string::npos) << events;
  EXPECT_NE(events.find("raised generator-fails"), std::string::npos) << events;
  // The air is watched all the same.
  night.run_model(model, march(3, 4));
  EXPECT_NE(night.events().find(" raised cold-air low"), std::string::npos) << model.house(0).air_c();
}

TEST(ModelNights, NothingIsHeardOfTheHouse) {
  FarmModel model =
      model_of(kPlaced, march(2, 12), kCold, {fault(What::readings_lost, march(3, 2, 4), march(3, 2, 15))});
  PackNight night(PackFarm{}, march(2, 23), 33);
  // The model has no generator.
  night.silence("generator/set");
  night.run_model(model, march(3, 2, 4));
  EXPECT_EQ(night.first_call().time, kNever);
  night.run_model(model, march(3, 2, 14));
  const std::vector<Told> told = night.told();
  ASSERT_FALSE(told.empty());
  EXPECT_LE(told.front().time, march(3, 2, 10)) << "the last readings are those of 02:04";
  std::size_t first_steps = 0;
  for (const Told& it : told) first_steps += it.step == 1 ? 1U : 0U;
  EXPECT_EQ(first_steps, 1U) << "one fault, one call: " << as_text(told);
  night.run_model(model, march(3, 2, 40));
  std::size_t sees = 0;
  for (const Told& it : night.told()) {
    if (it.who == "ines" && it.text.find("sees again") != std::string::npos) ++sees;
  }
  EXPECT_EQ(sees, 1U);
}

TEST(ModelNights, OneBrooderGoesOutAtTheSouthEnd) {
  const Instant out = march(4, 1);
  FarmModel model =
      model_of(kPlaced, march(3, 12), kCold, {fault(What::brooder_fails, out, {}, "south", -4)});
  PackNight night(PackFarm{}, march(3, 22), 32.5);
  night.run_model(model, out);
  EXPECT_EQ(night.first_call().time, kNever);
  night.run_model(model, out + 75min);
  const Told call = night.first_call();
  ASSERT_NE(call.time, kNever);
  EXPECT_NE(call.text.find("south"), std::string::npos) << call.text;
}

TEST(ModelNights, OneProbeSaysWhatBrokenProbesSay) {
  for (const double by_k : {52.5, -159.5}) {
    FarmModel model = model_of(kPlaced, march(3, 12), kCold,
                               {fault(What::probe_jumps, march(4, 1), march(4, 5, 20), "south", by_k)});
    PackNight night(PackFarm{}, march(3, 22), 32.5);
    night.run_model(model, march(4, 5, 25));
    EXPECT_EQ(as_text(night.told()), "") << by_k;
  }
}

TEST(ModelNights, PlacingDayWithDoorsOpen) {
  for (const bool recovers : {true, false}) {
    HouseParameters house;
    house.heater_kw = 250;
    house.doors_m3_h = 32000;
    // Where it does not recover, somebody has left the doors open.
    const Instant shut = recovers ? march(2, 10, 50) : Instant{};
    FarmModel model = model_of(kPlaced, march(1, 12), {8, 0, 5, 85},
                               {fault(What::doors_open, march(2, 8, 40), shut)}, house);
    PackFarm farm;
    farm.more = "unloading: 08:30-11:00\n";
    PackNight night(farm, march(2, 6), 33);
    night.run_model(model, march(2, 10, 50));
    const double down_k = model.house(0).target_c() - model.house(0).air_c();
    EXPECT_GT(down_k, 3.5);
    EXPECT_LT(down_k, 6);
    night.run_model(model, march(2, 10, 59));
    EXPECT_EQ(night.first_call().time, kNever) << "doors stand open, and somebody is there";
    night.run_model(model, march(2, 11, 30));
    const Told call = night.first_call();
    if (recovers) {
      EXPECT_EQ(call.time, kNever) << call.text;
    } else {
      EXPECT_LE(call.time, march(2, 11, 10)) << model.house(0).air_c();
    }
  }
}

TEST(ModelNights, QuietColdNightOfDay1) {
  HouseParameters house;
  house.heater_hysteresis_k = 2;
  house.heater_kw = 220;
  house.minimum_air_factor = 1.6;
  house.water_meter_start_l_min = 0.95;  // of a usual meter: it stands still over day-olds
  house.ammonia_factor = 7;              // old litter
  FarmModel model = model_of(kPlaced, march(2, 12), {-2, 2, 5, 85}, {}, house);
  PackNight night(PackFarm{}, march(2, 18), 33);
  double gas_ppm = 0;
  double ammonia_ppm = 0;
  double lowest_c = 100;
  double highest_c = 0;
  for (Instant minute = march(2, 18); minute <= march(3, 6, 29); minute += 1min) {
    night.run_model(model, minute);
    gas_ppm = std::max(gas_ppm, model.house(0).carbon_dioxide_ppm());
    ammonia_ppm = std::max(ammonia_ppm, model.house(0).ammonia_ppm());
    lowest_c = std::min(lowest_c, model.house(0).air_c());
    highest_c = std::max(highest_c, model.house(0).air_c());
  }
  EXPECT_EQ(as_text(night.told()), "");
  // It was a night as it is meant: gas of a winter's night, a saw-tooth, no water counted.
  EXPECT_GT(gas_ppm, 3500);
  EXPECT_LT(gas_ppm, 5000);
  EXPECT_GT(ammonia_ppm, 18);
  EXPECT_LT(ammonia_ppm, 25);
  EXPECT_GT(highest_c - lowest_c, 2);
  EXPECT_EQ(model.house(0).water_l(), 0);
  night.run_model(model, march(3, 6, 31));
  const std::vector<Told> summary = night.told();
  ASSERT_EQ(summary.size(), 1U) << as_text(summary);
  EXPECT_EQ(summary.front().priority, Priority::note);
}

TEST(ModelNights, HumidityProbeSticksAt99AndTheHeaterFailsLater) {
  FarmModel model =
      model_of(kPlaced, march(2, 12), kCold,
               {fault(What::humidity_sticks, march(3, 20)), fault(What::heater_fails, march(4, 3))});
  PackNight night(PackFarm{}, march(3, 19), 32);
  night.run_model(model, march(4, 3));
  EXPECT_EQ(night.first_call().time, kNever);
  night.run_model(model, march(4, 3, 30));
  EXPECT_LE(night.first_call().time, march(4, 3, 25));
}

TEST(ModelNights, ClocksChange) {
  PackFarm farm;
  farm.placed = "2026-03-27 09:30";
  FarmModel model = model_of(march(27, 9, 30), march(28, 12), kCold, {});
  PackNight night(farm, march(28, 21), 32);
  night.run_model(model, march(29, 4));
  EXPECT_EQ(as_text(night.told()), "");
}

TEST(ModelNights, Day7WeighsWhatAFlockShould) {
  FarmModel model = model_of(kPlaced, march(8, 0), {8, 3, 5, 85}, {});
  PackNight night(PackFarm{}, march(8, 0), 30);
  night.run_model(model, march(9, 23));
  const std::string events = night.events();
  for (const char* rule : {"light-birds", "behind-a-day", "light-first-week", "scale-window"})
    EXPECT_EQ(events.find(rule), std::string::npos) << events;
  EXPECT_EQ(night.first_call().time, kNever);
}

}  // namespace
}  // namespace underwing
