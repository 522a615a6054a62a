// Goal: the model house goes wrong as houses do, at the speeds and levels that are published, and its
// balances close while it does. Method: single faults against figures whose source is named; short runs.
#include <gtest/gtest.h>

#include <algorithm>
#include <array>
#include <cmath>
#include <map>

#include "plugins/model-house/farm_model.hpp"
#include "tests/plugins/plain_house.hpp"

namespace underwing {
namespace {

constexpr double kDay_s = 86400;

/// At this age, after two hours in which it settles.
HouseModel settled(const HouseParameters& house, double outside_c, double age_d) {
  HouseModel model(house, steady(outside_c), kPlaced_s + age_d * kDay_s - 2 * kHour_s);
  model.advance(kPlaced_s + age_d * kDay_s);
  return model;
}

TEST(HouseFaults, FanStopRisesAsPublished) {
  // Cobb-Vantress, Barnwell and Wilson, The importance of minimum ventilation, table
  // 2: 20.0, 23.9, 27.8, 31.1 °C after 0, 5, 10 and 15 min, 0.74 K a minute; age and weight are not given.
  // Here 39 kg of birds on a m² at day 35.
  HouseParameters house = a_house();
  house.birds = 23500;
  house.target_c = {{0, 20}};
  HouseModel model = settled(house, 16, 35);
  const double begin_c = model.air_c();
  const double begin_s = model.time_s();
  model.set_broken({.fans = true});
  double before = begin_c;
  for (const auto& [minutes, published_c] : {std::pair(5, 23.9), std::pair(10, 27.8), std::pair(15, 31.1)}) {
    model.advance(begin_s + minutes * 60);
    EXPECT_NEAR(model.air_c() - begin_c, published_c - 20, 3) << minutes;
    EXPECT_GT(model.air_c(), before + 1);
    before = model.air_c();
  }
  // The model is a quarter slower: its litter and fittings take heat, and warmer birds give off less.
  EXPECT_NEAR((model.air_c() - begin_c) / 15, 0.74, 0.22);
}

TEST(HouseFaults, BrokenFansOverChicksHideBehindTheHeaterAndSpoilTheAir) {
  HouseModel model = settled(a_house(), 2, 1);
  const double gas_ppm = model.carbon_dioxide_ppm();
  model.set_broken({.fans = true});
  model.advance(model.time_s() + 2 * kHour_s);
  EXPECT_NEAR(model.air_c(), model.target_c(), 1);
  EXPECT_GT(model.carbon_dioxide_ppm(), gas_ppm + 1500);
}

TEST(HouseModel, ColdNightWithHeatersHasTheGasThatIsUsual) {
  // 3000 to 4500 ppm on a cold night is usual in the first days, and 65 of 80 data sets of a winter averaged
  // over 3000 (Cruise, University of Manitoba, 2022). With little more air than the birds need.
  HouseParameters house = a_house();
  house.minimum_air_factor = 1.3;
  HouseModel model = settled(house, 0, 1.5);
  double sum = 0;
  double humid = 0;
  constexpr int kMinutes = 8 * 60;
  for (int i = 0; i < kMinutes; ++i) {
    model.advance(model.time_s() + 60);
    sum += model.carbon_dioxide_ppm() / kMinutes;
    humid += model.humidity_percent() / kMinutes;
  }
  EXPECT_GT(sum, 3000);
  EXPECT_LT(sum, 4500);
  // 30 to 75 % has little effect (University of Kentucky, Poultry Production Manual, chapter 7).
  EXPECT_GT(humid, 30);
  EXPECT_LT(humid, 75);
}

TEST(HouseModel, WarmingItsAirDriesIt) {
  // Warming air by 1 °C lowers its humidity by about 5 points: Cobb-Vantress, Optimum Broiler Development; at
  // 60 to 80 % and 30 °C it is 3 to 5 of 80.
  const double warmed = 80 * saturation_pa(20) / saturation_pa(21);
  EXPECT_NEAR(80 - warmed, 5, 0.5);
}

TEST(HouseModel, BalanceClosesThroughEveryFault) {
  const std::array faults = {
      Broken{.heater = true}, Broken{.fans = true},         Broken{.mains = true},
      Broken{.gas = true},    Broken{.heater_stuck = true}, Broken{.inlets = true},
      Broken{.doors = true},  Broken{.low_voltage = true},  Broken{.controller = true},
  };
  HouseModel model = settled(a_house(), 2, 9);
  const auto stored = [&] {
    return model.air_c() * model.air_capacity_j_k() + model.litter_c() * model.litter_capacity_j_k();
  };
  for (const Broken& broken : faults) {
    model.set_broken(broken);
    const double before = stored();
    double into_j = 0;
    double turned_j = 0;
    for (int i = 0; i < 120; ++i) {
      model.advance(model.time_s() + HouseModel::kStep_s);
      const auto& f = model.flows();
      const double now_j =
          (f.birds_w + f.heater_w + f.envelope_w + f.ventilation_w + f.ground_w) * HouseModel::kStep_s;
      into_j += now_j;
      turned_j += std::abs(now_j);
    }
    EXPECT_NEAR(stored() - before, into_j, turned_j * 1e-9 + 1);
  }
}

TEST(HouseModel, CoolsInTheShapeThatIsComputedWhenTheGasIsOut) {
  // Heat is lost in proportion to the distance from outside (University of Georgia), so that each hour takes
  // the same share of it, once the air lives on the litter's warmth. No rate was found published.
  HouseParameters house = a_house();
  house.birds = 0;
  HouseModel model = settled(house, 0, 1);
  model.set_broken({.gas = true});
  model.advance(model.time_s() + 2 * kHour_s);
  std::array<double, 3> share{};
  for (double& it : share) {
    const double before = model.air_c();
    model.advance(model.time_s() + kHour_s);
    it = model.air_c() / before;
  }
  EXPECT_NEAR(share[0], share[1], 0.01);
  EXPECT_NEAR(share[1], share[2], 0.01);
  EXPECT_LT(share[0], 0.98);
  EXPECT_GT(share[0], 0.85);
}

TEST(HouseFaults, StuckHeaterAndJammedInletsHeatTheHouse) {
  for (const Broken& broken : {Broken{.heater_stuck = true, .inlets = true}, Broken{.inlets = true}}) {
    HouseModel model = settled(a_house(), 12, 28);
    const double before = model.air_c();
    model.set_broken(broken);
    model.advance(model.time_s() + 20 * 60);
    EXPECT_TRUE(model.fans_running()) << "they turn, and move little";
    EXPECT_GT(model.air_c(), before + 3);
  }
}

TEST(HouseFaults, LowVoltageStallsFans) {
  HouseModel sound = settled(a_house(), 12, 28);
  HouseModel slow = settled(a_house(), 12, 28);
  slow.set_broken({.low_voltage = true});
  sound.advance(sound.time_s() + kHour_s);
  slow.advance(slow.time_s() + kHour_s);
  EXPECT_GT(slow.air_c(), sound.air_c() + 0.5);
  EXPECT_GT(slow.carbon_dioxide_ppm(), sound.carbon_dioxide_ppm() + 100);
}

TEST(HouseFaults, HungComputerLeavesAllAsItIs) {
  HouseModel model = settled(a_house(), 2, 1);
  while (!model.heater_running() || model.fans_running()) model.advance(model.time_s() + HouseModel::kStep_s);
  model.set_broken({.controller = true});
  model.advance(model.time_s() + kHour_s);
  EXPECT_TRUE(model.heater_running());
  EXPECT_GT(model.air_c(), model.target_c() + 3);
}

TEST(HouseFaults, GeneratorTakesOverAndFails) {
  HouseParameters house = a_house();
  house.generator = true;
  HouseModel model = settled(house, 2, 1);
  model.set_broken({.mains = true});
  model.advance(model.time_s() + 10);
  EXPECT_FALSE(model.generator_running());
  EXPECT_FALSE(model.light());
  model.advance(model.time_s() + 30 * 60);
  EXPECT_TRUE(model.generator_running());
  EXPECT_TRUE(model.light());
  EXPECT_NEAR(model.air_c(), model.target_c(), 1.5);
  model.set_broken({.mains = true, .generator = true});
  model.advance(model.time_s() + 30 * 60);
  EXPECT_FALSE(model.generator_running());
  EXPECT_LT(model.air_c(), model.target_c() - 1.5);
}

TEST(HouseFaults, TankRunsDry) {
  HouseParameters house = a_house();
  house.gas_tank_kg = 100;
  house.gas_at_start_percent = 20;
  HouseModel model(house, steady(-5), kPlaced_s);
  double level = 20;
  while (level > 0 && model.time_s() < kPlaced_s + 24 * kHour_s) {
    model.advance(model.time_s() + 60);
    EXPECT_LE(model.gas_level_percent(), level);
    level = model.gas_level_percent();
  }
  EXPECT_EQ(level, 0);
  model.advance(model.time_s() + kHour_s);
  EXPECT_FALSE(model.heater_running());
  EXPECT_TRUE(model.heat_asked());
  EXPECT_LT(model.air_c(), model.target_c() - 2);
}

TEST(HouseFaults, WaterStopsAndBursts) {
  HouseModel model = settled(a_house(), 2, 3);
  const auto hour_l = [&] {
    const double before = model.water_l();
    model.advance(model.time_s() + kHour_s);
    return model.water_l() - before;
  };
  const double usual_l = hour_l();
  EXPECT_GT(usual_l, 10);
  model.set_broken({.water_shut = true});
  EXPECT_EQ(hour_l(), 0);
  model.set_broken({.water_burst = true});
  EXPECT_GT(hour_l(), usual_l + 1500);
  model.set_broken({.feed = true});
  const double feed_kg = model.feed_kg();
  EXPECT_NEAR(hour_l(), usual_l, usual_l * 0.2);
  EXPECT_EQ(model.feed_kg(), feed_kg);
}

TEST(HouseModel, CoarseMeterSeesNothingOfDayOlds) {
  // A usual house meter starts at 0.95 L a minute, more than 25 000 day-olds drink (University of Georgia).
  HouseParameters house = a_house();
  house.water_meter_start_l_min = 0.95;
  HouseModel model(house, steady(2), kPlaced_s);
  model.advance(kPlaced_s + 12 * kHour_s);
  EXPECT_EQ(model.water_l(), 0);
  model.advance(kPlaced_s + 5 * kDay_s);
  EXPECT_GT(model.water_l(), 0);
}

TEST(FlockTables, ChicksDrinkTwiceAsMuchByDayAndLaterHardly) {
  // University of Georgia, The cyclic nature of chicks: under steady light, by day about twice as much as by
  // night on the day after placement; by day 7 less than a fifth more.
  const auto half = [](double from_h, double age_d) {
    double sum = 0;
    for (double hour = from_h; hour < from_h + 12; hour += 0.1)
      sum += 0.1 * share_of_day_h(hour, age_d, 0, 24);
    return sum;
  };
  EXPECT_NEAR(half(8, 1) / half(20, 1), 2, 0.05);
  EXPECT_NEAR(half(8, 7) / half(20, 7), 1.2, 0.03);
  EXPECT_NEAR(half(8, 1) + half(20, 1), 1, 1e-3);
}

TEST(Outside, FollowsItsHours) {
  Outside outside;
  outside.hours_from_s = kPlaced_s;
  outside.air_by_hour = {{0, 4}, {6, -2}, {12, 10}};
  outside.humidity_by_hour = {{0, 90}, {12, 60}};
  EXPECT_NEAR(outside.air_c(kPlaced_s + 3 * kHour_s), 1, 1e-9);
  EXPECT_NEAR(outside.air_c(kPlaced_s + 20 * kHour_s), 10, 1e-9);
  EXPECT_NEAR(outside.humidity_at(kPlaced_s + 6 * kHour_s), 75, 1e-9);
}

/// The last reading of each probe of house-1 after so many minutes with one fault from the first one on.
std::map<std::string, double> after(Fault::What what, double minutes, double by_k = 10) {
  Setup setup;
  setup.houses = {{"house-1", a_house(), {}}};
  Fault fault;
  fault.at_s = kPlaced_s + kHour_s;
  fault.what = what;
  fault.house = "house-1";
  fault.probe = "south";
  fault.by_k = by_k;
  setup.faults = {fault};
  FarmModel model(setup, kPlaced_s);
  std::vector<ModelReading> readings;
  model.advance(kPlaced_s + kHour_s, readings);
  readings.clear();
  model.advance(kPlaced_s + kHour_s + minutes * 60, readings);
  std::map<std::string, double> last;
  for (const ModelReading& it : readings) last[std::string(it.measure) + "/" + it.probe] = it.value;
  return last;
}

TEST(HouseFaults, OneEndWalksAway) {
  const auto early = after(Fault::What::brooder_fails, 10, -4);
  const auto late = after(Fault::What::brooder_fails, 40, -4);
  EXPECT_GT(early.at("air_temperature/south"), early.at("air_temperature/centre") - 2.2);
  EXPECT_NEAR(late.at("air_temperature/south") - late.at("air_temperature/centre"), 0.2 - 3.6, 0.4);
}

TEST(HouseFaults, InstrumentsFail) {
  EXPECT_TRUE(after(Fault::What::readings_lost, 30).empty());
  EXPECT_EQ(after(Fault::What::humidity_sticks, 30).at("relative_humidity/centre"), 99);
  EXPECT_FALSE(after(Fault::What::probe_silent, 30).contains("air_temperature/south"));
}

TEST(Faults, AllHaveANameAndWords) {
  std::string names = known_faults();
  EXPECT_EQ(std::count(names.begin(), names.end(), ','), 21);
  for (int i = 0; i <= static_cast<int>(Fault::What::probe_jumps); ++i) {
    Fault fault;
    fault.what = static_cast<Fault::What>(i);
    fault.house = "house-1";
    fault.probe = "north";
    EXPECT_EQ(parse_fault(kind_of(fault.what).name), fault.what);
    EXPECT_NE(sentence(fault, true).find("house-1"), std::string::npos);
    EXPECT_EQ(sentence(fault, false).back(), '.');
    EXPECT_EQ(sentence(fault, true).find("north") != std::string::npos, names_a_probe(fault.what));
  }
}

}  // namespace
}  // namespace underwing
