// Goal: the model house keeps the laws that it claims, at rates that a house could have, and repeats itself
// byte for byte. Method: balances by hand, the published anchors of the tables, and short runs.
#include "plugins/model-house/house_model.hpp"

#include <gtest/gtest.h>

#include <cmath>
#include <map>

#include "plugins/model-house/farm_model.hpp"
#include "plugins/model-house/model_settings.hpp"
#include "plugins/shared/senml.hpp"
#include "tests/plugins/plain_house.hpp"

namespace underwing {
namespace {

/// Empty, tight, unheated, with the litter at the air's temperature: only the named losses act.
HouseParameters bare_house() {
  HouseParameters house = a_house();
  house.birds = 0;
  house.heater_kw = 0;
  house.leak_changes_h = 0;
  house.floor_loss_w_m2k = 0;
  house.litter_exchange_w_m2k = 0;
  return house;
}

TEST(FlockTables, HoldThePublishedValues) {
  EXPECT_EQ(table_weight_g(0), 44);
  EXPECT_EQ(table_weight_g(7), 213);
  EXPECT_EQ(table_weight_g(3.5), 113.5);
  EXPECT_EQ(table_weight_g(50), 2998);
  double eaten = 0;
  for (int day = 0; day < 42; ++day) eaten += feed_g_per_day(day + 0.5);
  EXPECT_EQ(eaten, 4585);  // Sum of the daily intakes of the same table.
  EXPECT_EQ(feed_g_per_day(-0.1), 0);
  // Aviagen's minimum ventilation table, two of its cells.
  EXPECT_NEAR(minimum_air_m3_h(0.05), 0.080, 0.0005);
  EXPECT_NEAR(minimum_air_m3_h(2.0), 1.273, 0.0005);
}

TEST(FlockTables, LetALightChickCatchUp) {
  EXPECT_DOUBLE_EQ(weight_g(0, 40), 40);
  EXPECT_LT(weight_g(7, 40), table_weight_g(7));
  EXPECT_DOUBLE_EQ(weight_g(14, 40), table_weight_g(14));
}

TEST(FlockTables, GiveBirdHeatThatAddsUp) {
  // CIGR 2002: 10.62 W for a bird of 1 kg at 20 °C; sensible 0.61 − 0.000228 × 400 of it.
  EXPECT_NEAR(bird_heat(1, 20).total_w, 10.62, 1e-9);
  EXPECT_NEAR(bird_heat(1, 20).sensible_w, 10.62 * (0.61 - 0.0912), 1e-9);
  for (double air_c = 0; air_c <= 60; air_c += 5) {
    const BirdHeat heat = bird_heat(0.5, air_c);
    EXPECT_GE(heat.sensible_w, 0) << air_c;
    EXPECT_LE(heat.sensible_w, heat.total_w) << air_c;
  }
}

TEST(FlockTables, GiveSaturationPressuresOfTheWmoFormula) {
  EXPECT_NEAR(saturation_pa(20), 2333, 1);
  EXPECT_NEAR(saturation_pa(33), 5020, 1);
}

TEST(HouseModel, CoolsThroughItsWallsAsTheHandCalculationSays) {
  const HouseParameters house = bare_house();
  HouseModel model(house, steady(3), kPlaced_s);
  const double begin_c = model.air_c();
  model.advance(kPlaced_s + kHour_s);
  // One store of heat, one loss: T(t) = To + (T0 − To) exp(−UA t / C).
  const double capacity = 4900 * 1.2 * 1006 + 4'000'000;
  EXPECT_DOUBLE_EQ(model.air_capacity_j_k(), capacity);
  const double expected = 3 + (begin_c - 3) * std::exp(-2000 * 0.5 * kHour_s / capacity);
  EXPECT_NEAR(model.air_c(), expected, 0.05);
}

TEST(HouseModel, LosesNoHeatAndMakesNone) {
  HouseModel model(a_house(), steady(2), kPlaced_s);
  double into_j = 0;
  auto stored = [&] {
    return model.air_c() * model.air_capacity_j_k() + model.litter_c() * model.litter_capacity_j_k();
  };
  const double before = stored();
  for (int i = 1; i <= 360; ++i) {
    model.advance(kPlaced_s + i * HouseModel::kStep_s);
    const auto& f = model.flows();
    into_j += (f.birds_w + f.heater_w + f.envelope_w + f.ventilation_w + f.ground_w) * HouseModel::kStep_s;
  }
  EXPECT_NEAR(stored() - before, into_j, std::abs(into_j) * 1e-9 + 1);
}

TEST(HouseModel, HoldsItsTarget) {
  HouseModel model(a_house(), steady(2), kPlaced_s);
  double lowest = 100;
  double highest = 0;
  for (int i = 1; i <= 24 * 60; ++i) {
    model.advance(kPlaced_s + i * 60);
    lowest = std::min(lowest, model.air_c() - model.target_c());
    highest = std::max(highest, model.air_c() - model.target_c());
  }
  EXPECT_GT(lowest, -1.5);
  EXPECT_LT(highest, 1.0);
  EXPECT_GT(model.humidity_percent(), 20);
  EXPECT_LT(model.humidity_percent(), 80);
  EXPECT_LT(model.carbon_dioxide_ppm(), 5000);
}

TEST(HouseModel, CoolsPlausiblyWhenTheHeaterFails) {
  // No published rate was found for this. The bounds: faster than the litter alone would allow (heat losses
  // over both stores, about 2 K an hour) and slower than the air alone (over 20 K an hour).
  HouseModel model(a_house(), steady(2), kPlaced_s + 16 * kHour_s);
  model.advance(kPlaced_s + 18 * kHour_s);
  const double before = model.air_c();
  model.set_broken({.heater = true});
  model.advance(model.time_s() + 15 * 60);
  EXPECT_LT(model.air_c(), before - 1);
  EXPECT_GT(model.air_c(), before - 6);
  model.advance(model.time_s() + 45 * 60);
  EXPECT_LT(model.air_c(), before - 4);
  EXPECT_GT(model.air_c(), before - 12);
  model.set_broken({});
  model.advance(model.time_s() + kHour_s);
  EXPECT_NEAR(model.air_c(), model.target_c(), 1.5);
}

TEST(HouseModel, HeatsUpWhenTheFansStopOverBigBirds) {
  HouseParameters house = a_house();
  house.birds = 24000;
  const double day_35 = kPlaced_s + 35 * 86400.0;
  HouseModel model(house, steady(18), day_35);
  model.advance(day_35 + 2 * kHour_s);
  const double before = model.air_c();
  model.set_broken({.fans = true});
  model.advance(model.time_s() + 15 * 60);
  // Cobb (Barnwell and Wilson), Table 2: 11.1 K in 15 min in a stocked house; age and weight are not given.
  EXPECT_GT(model.air_c(), before + 2);
  EXPECT_LT(model.air_c(), before + 15);
}

TEST(HouseModel, StandsStillInTheDarkWhenTheMainsAreLost) {
  HouseModel model(a_house(), steady(2), kPlaced_s);
  model.advance(kPlaced_s + 2 * kHour_s);
  const double water = model.water_l();
  EXPECT_GT(water, 0);
  model.set_broken({.mains = true});
  model.advance(model.time_s() + kHour_s);
  EXPECT_FALSE(model.light());
  EXPECT_FALSE(model.heater_running());
  EXPECT_FALSE(model.fans_running());
  EXPECT_EQ(model.water_l(), water);
}

TEST(HouseModel, FeedsADayByTheTable) {
  HouseModel model(a_house(), steady(2), kPlaced_s);
  model.advance(kPlaced_s + 86400);
  EXPECT_NEAR(model.feed_kg(), 17000 * 0.012, 1.5);  // Day 1 of the table: 12 g a bird.
  EXPECT_NEAR(model.water_l() / model.feed_kg(), 2.9, 0.15);
}

TEST(HouseModel, GivesTheSameWithLongAndShortSteps) {
  HouseModel one(a_house(), steady(2), kPlaced_s);
  HouseModel many(a_house(), steady(2), kPlaced_s);
  one.advance(kPlaced_s + kHour_s);
  for (int i = 1; i <= 360; ++i) many.advance(kPlaced_s + i * 10);
  EXPECT_EQ(one.air_c(), many.air_c());
  EXPECT_EQ(one.carbon_dioxide_ppm(), many.carbon_dioxide_ppm());
}

nlohmann::json farm_settings() {
  return nlohmann::json::parse(R"({"seed":7,"outside":{"mean_c":3},
    "houses":[{"house":"house-1","placed":"2026-03-02 09:30"},{"house":"house-2","placed":"2026-03-02 09:30"}],
    "faults":[{"at":"30 min","what":"probe_sticks","house":"house-1","probe":"north","until":"60 min"},
              {"at":"2026-03-02 10:00","what":"probe_silent","house":"house-1","probe":"south","until":"60 min"},
              {"at":"30 min","what":"probe_jumps","house":"house-2","probe":"north","by_k":5},
              {"at":"40 min","what":"heater_fails","house":"house-2"},
              {"at":"50 min","what":"heater_repaired","house":"house-2"}]})");
}

FarmModel a_farm(const nlohmann::json& json) {
  Settings settings(json, "settings");
  FarmModel model(read_setup(settings, kPlaced_s), kPlaced_s);
  settings.finish();
  return model;
}

std::string run(const nlohmann::json& json, double minutes) {
  FarmModel model = a_farm(json);
  std::vector<ModelReading> readings;
  model.advance(kPlaced_s + minutes * 60, readings);
  std::string lines;
  for (const auto& r : readings)
    append_senml(lines, r.house + "/" + r.measure + "/" + r.probe, r.unit, r.value, r.time_s);
  return lines;
}

TEST(FarmModel, RepeatsItselfByteForByte) {
  const auto json = farm_settings();
  EXPECT_EQ(run(json, 300), run(json, 300));
  auto other = json;
  other["seed"] = 8;
  EXPECT_NE(run(json, 300), run(other, 300));
}

TEST(FarmModel, DoesNotMindHowOftenItIsAsked) {
  FarmModel model = a_farm(farm_settings());
  std::vector<ModelReading> once, often;
  model.advance(kPlaced_s + 7200, once);
  FarmModel again = a_farm(farm_settings());
  for (int t = 7; t <= 7200; t += 7) again.advance(kPlaced_s + t, often);
  again.advance(kPlaced_s + 7200, often);
  ASSERT_EQ(once.size(), often.size());
  for (std::size_t i = 0; i < once.size(); ++i) {
    EXPECT_EQ(once[i].value, often[i].value);
    EXPECT_EQ(once[i].time_s, often[i].time_s);
    EXPECT_GE(once[i].time_s, once[i == 0 ? 0 : i - 1].time_s);
  }
}

TEST(FarmModel, PlaysItsFaults) {
  FarmModel model = a_farm(farm_settings());
  std::vector<ModelReading> readings;
  model.advance(kPlaced_s + 7200, readings);
  std::map<std::pair<std::string, std::string>, std::map<int, double>> air;
  for (const auto& r : readings) {
    if (std::string_view(r.measure) == "air_temperature") {
      air[{r.house, r.probe}][static_cast<int>((r.time_s - kPlaced_s) / 60)] = r.value;
    }
  }
  const auto& north = air[{"house-1", "north"}];
  EXPECT_EQ(north.at(31), north.at(45));
  EXPECT_EQ(north.at(31), north.at(60));
  EXPECT_NE(north.at(62), north.at(45));
  const auto& south = air[{"house-1", "south"}];
  EXPECT_TRUE(south.contains(30));
  EXPECT_FALSE(south.contains(31));
  EXPECT_FALSE(south.contains(60));
  EXPECT_TRUE(south.contains(61));
  EXPECT_NEAR((air[{"house-2", "north"}].at(31)) - (air[{"house-2", "centre"}].at(31)), 4.8, 0.4);
  std::vector<std::string> story;
  for (const auto& line : model.take_story()) story.push_back(line.text);
  EXPECT_EQ(story,
            (std::vector<std::string>{
                "The air probe north in house-1 sticks.", "The air probe south in house-1 falls silent.",
                "The air probe north in house-2 reads 5 K wrong.", "The heater in house-2 goes out.",
                "The heater in house-2 burns again.", "The air probe north in house-1 moves again.",
                "The air probe south in house-1 reports again."}));
}

TEST(FarmModel, WeighsSingleBirdsAroundTheMean) {
  auto json = farm_settings();
  json["houses"].erase(1);
  json["faults"] = nlohmann::json::array();
  FarmModel model = a_farm(json);
  std::vector<ModelReading> readings;
  model.advance(kPlaced_s + 86400, readings);
  double sum = 0, squares = 0;
  int count = 0;
  for (const auto& r : readings) {
    if (std::string_view(r.measure) != "bird_weight") continue;
    ++count;
    sum += r.value;
    squares += r.value * r.value;
  }
  const double mean = sum / count;
  EXPECT_NEAR(count, 23 * 60, 150);  // 60 an hour of light, and an hour of dark.
  EXPECT_NEAR(mean, (42 + 62) / 2.0, 3);
  EXPECT_GT(std::sqrt(squares / count - mean * mean), 4);
}

std::string refusal(const char* change) {
  auto json = farm_settings();
  json.merge_patch(nlohmann::json::parse(change));
  try {
    a_farm(json);
  } catch (const SettingsError& problem) {
    return problem.what();
  }
  return "fine";
}

TEST(ModelSettings, RefuseInWords) {
  EXPECT_EQ(refusal("{}"), "fine");
  EXPECT_EQ(refusal(R"({"every":"7 s"})"), "settings.every must divide a minute, such as 10 s.");
  EXPECT_EQ(refusal(R"({"houses":[]})"), "settings.houses must name at least one house.");
  EXPECT_EQ(refusal(R"({"houses":[{"house":"house-1","birdz":3}],"faults":[]})"),
            "settings.houses[1] has the key 'birdz', which nobody knows here.");
  EXPECT_EQ(refusal(R"({"faults":[{"at":"5 min","what":"heater_falls","house":"house-1"}]})"),
            "settings.faults[1].what 'heater_falls' is not known; known are " + known_faults() + ".");
  EXPECT_EQ(refusal(R"({"faults":[{"at":"5 min","what":"probe_sticks","house":"house-1","probe":"west"}]})"),
            "settings.faults[1].probe 'west' is no air probe of house-1.");
  EXPECT_EQ(refusal(R"({"faults":[{"at":"noon","what":"fan_fails","house":"house-1"}]})"),
            "settings.faults[1].at 'noon' is no time; it looks like 2026-03-02 09:30.");
}

}  // namespace
}  // namespace underwing
