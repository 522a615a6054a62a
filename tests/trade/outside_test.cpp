// Goal: figures that others have published come out of the project's own numbers. Each test names its source.
// Where the project has no use for a computation, the figure stands as arithmetic, so that a value which is
// quoted in a pack or a page cannot drift; those tests say so.
#include <gtest/gtest.h>

#include <cmath>
#include <utility>
#include <vector>

#include "plugins/model-house/flock_tables.hpp"
#include "plugins/model-house/house_model.hpp"
#include "rules/base/units.hpp"
#include "rules/trade/flock.hpp"
#include "rules/trade/psychrometrics.hpp"

namespace underwing {
namespace {

using namespace psychrometrics;

double converted(double value, const char* from, const char* to) {
  const auto source = parse_unit(from);
  const auto target = parse_unit(to);
  EXPECT_TRUE(source && target) << from << ' ' << to;
  return source && target ? convert(value, *source, *target).value_or(std::nan("")) : std::nan("");
}

TEST(Outside, AspiratedPsychrometerAt1000Hectopascal) {
  // MetPy, relative_humidity_wet_psychrometric: 19 °C dry, 10 °C wet: 30.4333697 %, by the coefficient of Fan
  // and Whiting, 1987, for an aspirated instrument. Its own saturation pressure differs a little from
  // ASHRAE's.
  const double vapour_pa = saturation_pressure_pa(10) - 6.21e-4 * 100000 * (19 - 10);
  EXPECT_NEAR(100 * vapour_pa / saturation_pressure_pa(19), 30.4333697, 0.15);
  // A wet bulb as ASHRAE has it, at saturation without an instrument, is another thing: a point less.
  const double ratio = humidity_ratio_of_wet_bulb(19, 10, 100000);
  const double thermodynamic_pa = ratio * 100000 / (0.621945 + ratio);
  EXPECT_NEAR(100 * thermodynamic_pa / saturation_pressure_pa(19), 30.43 - 1.0, 0.1);
}

TEST(Outside, HeatIndexOfMarketBirdsAsArithmetic) {
  // Tao and Xin, Transactions of the ASAE 46, 2003: (0.85 dry + 0.15 wet) · V^-0.058, for broilers of 46 days
  // at 35 °C and more. No rule rests on it: it was not derived for chicks.
  const double rh = 100 * saturation_pressure_pa(19.4) / saturation_pressure_pa(35);
  const double wet = wet_bulb_c(35, rh);
  EXPECT_NEAR(wet, 23.94, 0.02);
  const double bracket = 0.85 * 35 + 0.15 * wet;
  EXPECT_NEAR(bracket, 33.34, 0.01);
  for (const auto& [speed_m_s, index] : {std::pair(0.2, 36.60), std::pair(0.7, 34.04), std::pair(1.2, 32.99)})
    EXPECT_NEAR(bracket * std::pow(speed_m_s, -0.058), index, 0.01);
}

TEST(Outside, AirOfBirdsAlone) {
  // Poultryperformanceplus, ventilating for the heaters: 40 000 chicks of 40 g at 0.4 m³ an hour and kg need
  // 640 m³/h. That is oxygen alone; what the model house gives them airs out their moisture, too.
  EXPECT_NEAR(40000 * 0.04 * 0.4, 640, 1e-9);
  EXPECT_GT(40000 * minimum_air_m3_h(0.04), 640);
  // University of Georgia: 25 000 day-olds at 0.00083 ft³ a minute each make 21 ft³/min; as arithmetic.
  EXPECT_NEAR(25000 * 0.00083, 21, 0.5);
}

TEST(Outside, LeastAirOfThreeTrials) {
  // British Poultry Science 22, 1981, page 493: 1.5e-4 m³/s for each kg^0.75.
  const std::vector<std::pair<double, double>> values = {
      {0.044, 0.0519}, {0.10, 0.0960}, {0.213, 0.1693}, {1.0, 0.540}, {2.0, 0.908}};
  for (const auto& [weight_kg, air_m3_h] : values) {
    EXPECT_NEAR(1.5e-4 * 3600 * std::pow(weight_kg, 0.75), air_m3_h, 0.0005) << weight_kg;
    // The model house follows a later table, of the same power and 1.4 times as much.
    EXPECT_NEAR(minimum_air_m3_h(weight_kg) / air_m3_h, 0.757 / 0.54, 0.005) << weight_kg;
  }
}

TEST(Outside, FlowOfANippleAsArithmetic) {
  // Lott, 2003, Mississippi State University: 7 mL/min for each week of age, and 20. Nothing here measures
  // it.
  EXPECT_EQ(7 * 8 + 20, 76);
}

TEST(Outside, WaterOfAHouseOf20000) {
  // University of Georgia, Poultry Housing Tips 32(5), 2020: 85 gal for 1000 birds and day; 20 h of light, 8
  // lines with a bore of 0.0041 ft².
  const double day_gal = 85.0 / 1000 * 20000;
  EXPECT_NEAR(day_gal, 1700, 1e-9);
  const double house_gal_min = day_gal / 20 / 60;
  EXPECT_NEAR(house_gal_min, 1.4, 0.05);
  EXPECT_NEAR(house_gal_min / 8, 0.18, 0.005);
  // They print 5.9 ft/min, from the rounded 0.18; unrounded it is 5.8.
  constexpr double kFt3OfGal = 231.0 / 1728;
  EXPECT_NEAR(0.18 * kFt3OfGal / 0.0041, 5.9, 0.05);
  EXPECT_NEAR(house_gal_min / 8 * kFt3OfGal / 0.0041, 5.77, 0.01);
  // The same in litres: 322 mL a bird.
  constexpr double kLitresOfGal = 3.785411784;
  EXPECT_NEAR(day_gal * kLitresOfGal / 20000 * 1000, 322, 0.5);
}

TEST(Outside, WaterBySimpleFormulaIsHalfOfToday) {
  // Pesti and others, Poultry Science 64, 1985: 5.28 mL for each day of age, 264 mL at day 50, where 322 were
  // measured in 2009 (University of Georgia, citing Watkins).
  const auto pesti_ml = [](double age_d) { return 5.28 * age_d; };
  EXPECT_NEAR(pesti_ml(50), 264, 1e-9);
  // The model's birds drink like today's: 1.5 to 2.4 times the formula.
  for (const double age_d : {7.0, 14.0, 21.0, 28.0, 35.0, 41.0}) {
    const double model_ml = feed_g_per_day(age_d) * water_to_feed(age_d);
    EXPECT_GT(model_ml, 1.5 * pesti_ml(age_d)) << age_d;
    EXPECT_LT(model_ml, 2.4 * pesti_ml(age_d)) << age_d;
  }
  // University of Georgia: about 340 mL a chick by day 7.
  double week_ml = 0;
  for (int day = 0; day < 7; ++day) week_ml += feed_g_per_day(day + 0.5) * water_to_feed(day + 0.5);
  EXPECT_NEAR(week_ml, 340, 340 * 0.25);
}

TEST(Outside, FeedConversionAsArithmetic) {
  // Livestocking: 350 kg of feed for 250 kg of birds make 1.40. No pack judges it: that is reckoned at the
  // end.
  EXPECT_NEAR(350.0 / 250, 1.40, 1e-12);
}

TEST(Outside, SevenDaysOfTheSecondBreeder) {
  // Cobb-Vantress, Cobb500 Broiler Performance and Nutrition Supplement, 2022: 42 g to 202 g on 180 g of
  // feed.
  EXPECT_NEAR(202.0 / 42, 4.81, 0.005);
  EXPECT_NEAR(180.0 / 202, 0.891, 0.0005);
}

TEST(Outside, FeedOfTheFirstBreederAddsUp) {
  // Aviagen, Ross 308/308 FF Broiler Performance Objectives, 2022: sums of the daily intake, and in the first
  // eight days the printed conversion times the weight, within the rounding of 2 g.
  double sum_g = 0;
  const std::vector<std::pair<int, double>> sums = {{7, 165},   {14, 534},  {21, 1153},
                                                    {28, 2049}, {35, 3209}, {42, 4585}};
  const std::vector<double> conversion = {0.196, 0.352, 0.476, 0.577, 0.658, 0.724, 0.780, 0.826};
  auto next = sums.begin();
  for (int day = 1; day <= 42; ++day) {
    sum_g += feed_g_per_day(day - 0.5);
    if (day <= 8) {
      EXPECT_NEAR(conversion[static_cast<std::size_t>(day) - 1] * table_weight_g(day), sum_g, 2) << day;
    }
    if (day != next->first) continue;
    EXPECT_NEAR(sum_g, next->second, 1e-9) << day;
    ++next;
  }
}

TEST(Outside, WeightsOfTheFirstBreederAtEveryPublishedDay) {
  // The same source, as hatched: every day up to 8.
  const std::vector<double> weights_g = {44, 62, 81, 102, 125, 151, 181, 213, 249};
  for (std::size_t day = 0; day < weights_g.size(); ++day)
    EXPECT_EQ(table_weight_g(static_cast<double>(day)), weights_g[day]) << day;
}

TEST(Outside, WeeklyWeightsOfTheFirstBreederFromMemory) {
  const std::vector<double> weekly_g = {528, 1012, 1616, 2296, 2998};
  for (std::size_t week = 0; week < weekly_g.size(); ++week)
    EXPECT_EQ(table_weight_g(14 + 7 * static_cast<double>(week)), weekly_g[week]) << week;
}

TEST(Outside, ChicksWeighWhatTheirParentsAgeMakesThem) {
  // University of Florida, EDIS VM099, Butcher and Nilipour, table 1: 40 g from parents of 26 to 35 weeks,
  // 43, 45, and 47 g from old ones. The model's chicks lie between.
  EXPECT_GT(HouseParameters{}.chick_weight_g, 40);
  EXPECT_LT(HouseParameters{}.chick_weight_g, 47);
}

TEST(Outside, DeadOfAFlockAsAShare) {
  EXPECT_NEAR(flock::daily_mortality_percent(200, 5000), 4, 1e-12);
}

TEST(Outside, FahrenheitAsBooksPrintIt) {
  const std::vector<std::pair<double, double>> values = {{55, 12.8},  {68, 20.0}, {75, 23.9}, {82, 27.8},
                                                         {88, 31.1},  {90, 32.2}, {94, 34.4}, {97, 36.1},
                                                         {103, 39.4}, {105, 40.6}};
  for (const auto& [fahrenheit, celsius] : values)
    EXPECT_NEAR(converted(fahrenheit, "°F", "°C"), celsius, 0.05) << fahrenheit;
}

TEST(Outside, UniformityOfNormalWeightsInTheHandbookFromMemory) {
  // Aviagen, Ross Broiler Management Handbook: a CV of 8 % goes with 79 % within a tenth, 10 % with 68 %.
  EXPECT_NEAR(flock::uniformity_of_variation_percent(8), 79, 0.5);
  EXPECT_NEAR(flock::uniformity_of_variation_percent(10), 68, 0.5);
}

}  // namespace
}  // namespace underwing
