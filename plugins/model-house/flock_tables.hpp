#pragma once

#include <utility>
#include <vector>

/// Published values about birds, as functions of age. Every number's source stands beside it in the .cpp.
namespace underwing {

/// Points (age in days or another x, value), x rising; straight lines between, level outside.
using Table = std::vector<std::pair<double, double>>;
[[nodiscard]] double look_up(const Table& table, double x);

/// Live weight in grams at an age in days (0 … 42; level outside), as hatched.
[[nodiscard]] double table_weight_g(double age_d);
/// Live weight of birds that began at `chick_weight_g`: in proportion at first, on the table from day 14.
[[nodiscard]] double weight_g(double age_d, double chick_weight_g);
/// Feed eaten in the day that holds this age, in grams a bird; 0 before placement.
[[nodiscard]] double feed_g_per_day(double age_d);
/// Litres of water drunk for each kilogram of feed.
[[nodiscard]] double water_to_feed(double age_d);
/// The share of a day's feed and water that is taken in an hour, at a time of day in hours, where lights are
/// on from `lights_on_h` for `light_h` hours. Over those hours it adds up to 1.
[[nodiscard]] double share_of_day_h(double time_of_day_h, double age_d, double lights_on_h, double light_h);
/// Air that a bird needs at least, in m³/h, at a weight in kilograms.
[[nodiscard]] double minimum_air_m3_h(double weight_kg);
/// Air temperature to aim for, °C, by age in days.
[[nodiscard]] const Table& default_target_c();

/// Heat of one bird, in watts.
struct BirdHeat {
  double total_w = 0;
  double sensible_w = 0;  ///< warms the air; the rest evaporates water
};
/// `weight_kg` above 0; `air_c` between about 5 and 40 °C.
[[nodiscard]] BirdHeat bird_heat(double weight_kg, double air_c);

/// Ammonia given off for each bird, in milligrams an hour.
[[nodiscard]] double ammonia_mg_h(double age_d);

/// Pressure of water vapour in saturated air, Pa.
[[nodiscard]] double saturation_pa(double air_c);

}  // namespace underwing
