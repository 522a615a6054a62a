#include "plugins/model-house/flock_tables.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <cstddef>
#include <numbers>

namespace underwing {
namespace {

// Aviagen, Ross 308/308 FF Broiler Performance Objectives, 2022, as hatched. Days 0 to 8 as in the table;
// days 14 to 42 weekly, from memory.
const Table kWeight = {{0, 44},  {1, 62},  {2, 81},   {3, 102},   {4, 125},   {5, 151},   {6, 181},
                       {7, 213}, {8, 249}, {14, 528}, {21, 1012}, {28, 1616}, {35, 2296}, {42, 2998}};

// Same source, daily intake, days 1 to 42.
constexpr std::array<double, 42> kFeed = {
    12,  16,  20,  24,  27,  31,  35,  39,  44,  48,  52,  57,  62,  67,  72,  77,  83,  88,  94,  100, 105,
    111, 117, 122, 128, 134, 139, 145, 150, 156, 161, 166, 171, 176, 180, 185, 189, 193, 197, 201, 204, 207};

// About 3 in the first days and 2.5 over week 1: University of Georgia, Czarick, Mou and Fairchild, after
// Alqhtani 2016. 1.8 later, upper end of 1.6 to 1.8: Aviagen 2014. The way between is ours.
const Table kWaterToFeed = {{0, 3.0}, {3, 2.6}, {7, 2.2}, {14, 1.8}};

// Cobb-Vantress, Broiler Management Guide, 2012 to 2018, parent flock over 30 weeks; from memory.
const Table kTarget = {{0, 33}, {7, 30}, {14, 27}, {21, 24}, {28, 21}, {35, 19}, {42, 18}};

}  // namespace

double look_up(const Table& table, double x) {
  if (x <= table.front().first) return table.front().second;
  for (std::size_t i = 1; i < table.size(); ++i) {
    const auto& [x0, y0] = table[i - 1];
    const auto& [x1, y1] = table[i];
    if (x <= x1) return y0 + (y1 - y0) * (x - x0) / (x1 - x0);
  }
  return table.back().second;
}

double table_weight_g(double age_d) {
  return look_up(kWeight, age_d);
}

double weight_g(double age_d, double chick_weight_g) {
  // That a light chick catches up by day 14 is our simplification.
  constexpr double kCaughtUp_d = 14;
  const double share = std::clamp(1 - age_d / kCaughtUp_d, 0.0, 1.0);
  const double start = chick_weight_g / kWeight.front().second;
  return table_weight_g(age_d) * (1 + (start - 1) * share);
}

double feed_g_per_day(double age_d) {
  if (age_d < 0) return 0;
  const auto day = static_cast<std::size_t>(age_d);
  return kFeed[std::min(day, kFeed.size() - 1)];
}

double water_to_feed(double age_d) {
  return look_up(kWaterToFeed, age_d);
}

double share_of_day_h(double time_of_day_h, double age_d, double lights_on_h, double light_h) {
  // A day after placement the busy half of the day drinks twice as much as the quiet one, by day 7 less than
  // a fifth more, also under steady light: University of Georgia, The cyclic nature of chicks. A sine with
  // its height at 14:00 is ours; twice as much in one half is a swing of pi / 6.
  constexpr double kHeight_h = 14;
  const double swing = look_up({{1, std::numbers::pi / 6}, {7, std::numbers::pi / 22}}, age_d);
  const double turn = 2 * std::numbers::pi / 24;
  const auto sum_to = [&](double hour) { return hour + swing * std::sin(turn * (hour - kHeight_h)) / turn; };
  const double whole = sum_to(lights_on_h + light_h) - sum_to(lights_on_h);
  return (1 + swing * std::cos(turn * (time_of_day_h - kHeight_h))) / whole;
}

double minimum_air_m3_h(double weight_kg) {
  // Aviagen, Ross Broiler Management Handbook, minimum ventilation table for −1 to 16 °C outside, from
  // memory; the table equals this formula to its last digit.
  return 0.757 * std::pow(weight_kg, 0.75);
}

const Table& default_target_c() {
  return kTarget;
}

BirdHeat bird_heat(double weight_kg, double air_c) {
  // CIGR (Pedersen and Sällvik), 4th Report of Working Group on Climatization of Animal Houses, Heat and
  // moisture production at animal and house levels, 2002, broilers; from memory. Total at 20 °C is 10.62 W
  // for a bird of 1 kg; both corrections are for each 1000 W of it. They were made for feathered birds: below
  // about a week of age, at 30 °C and more, they are an extension of ours.
  const double at_20 = 10.62 * std::pow(weight_kg, 0.75);
  const double total = 1 + 0.020 * (20 - air_c);
  const double sensible = 0.61 * total - 0.000228 * air_c * air_c;
  return {at_20 * std::max(total, 0.0), at_20 * std::clamp(sensible, 0.0, std::max(total, 0.0))};
}

double ammonia_mg_h(double age_d) {
  // Rising with age so that a flock of 42 days averages about 9 mg/h, the 80 g a bird place and year that
  // European inventories use; from memory, and the straight line is ours.
  return 0.43 * std::max(age_d, 0.0);
}

double saturation_pa(double air_c) {
  // WMO-No. 8, Guide to Instruments and Methods of Observation, over water; from memory.
  return 611.2 * std::exp(17.62 * air_c / (243.12 + air_c));
}

}  // namespace underwing
