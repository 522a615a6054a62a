#include "plugins/model-house/house_model.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>

namespace underwing {
namespace {

constexpr double kAirDensity_kg_m3 = 1.2;
constexpr double kAirHeat_j_kgk = 1006;       // ASHRAE Handbook, Fundamentals, 2017, chapter 1.
constexpr double kEvaporation_j_kg = 2.43e6;  // Of water near 30 °C; from memory.
constexpr double kPressure_pa = 101325;
constexpr double kOutsideCo2_ppm = 420;  // Open air in the 2020s; from memory.
// CIGR 2002 and Pedersen et al. 2008: 0.185 m³ an hour for each 1000 W of total heat; from memory.
constexpr double kCo2_m3_h_per_w = 0.185 / 1000;
// Propane: C3H8 + 5 O2 = 3 CO2 + 4 H2O, 46.35 MJ/kg (lower heating value; from memory).
constexpr double kPropane_j_kg = 46.35e6;
constexpr double kPropaneWater_kg_kg = 4 * 18.015 / 44.097;
constexpr double kPropaneCo2_m3_kg = 3 * 0.0245 / 0.044097;  // One mol of gas near 25 °C fills 0.0245 m³.
constexpr double kAmmonia_mg_per_m3_ppm = 0.70;              // At 25 °C: 17.03 g / 24.5 L.
constexpr double kStartHumidity_percent = 55;
constexpr double kDay_s = 86400;
constexpr double kHeatersEnd_d = 21;
// What jammed inlets, and fans at low voltage, leave of the flow; our estimates. That voltage which only sags
// stalls fans and has killed stock: Defra, PB1147, Emergencies on Livestock Farms.
constexpr double kShareThroughGaps = 0.05;
constexpr double kShareAtLowVoltage = 0.4;
// 6.5 % for each K: Aviagen, Ross Broiler Management Handbook, 2018, from memory. That it counts from the
// target, and its bounds, are ours.
constexpr double kThirst_per_k = 0.065;

double time_of_day_h(double time_s) {
  return std::fmod(time_s, kDay_s) / 3600;
}

double vapour_at(double air_c, double humidity_percent) {
  // Humidity ratio; ASHRAE Handbook, Fundamentals, 2017, chapter 1.
  const double pressure = saturation_pa(air_c) * humidity_percent / 100;
  return 0.621945 * pressure / (kPressure_pa - pressure);
}

/// The value of the last point at or before `x`.
double step_table(const Table& table, double x) {
  double value = table.front().second;
  for (const auto& [from, then] : table) {
    if (from <= x) value = then;
  }
  return value;
}

}  // namespace

double Outside::air_c(double time_s) const {
  if (!air_by_hour.empty()) return look_up(air_by_hour, (time_s - hours_from_s) / 3600);
  return mean_c - swing_k * std::cos(2 * std::numbers::pi * (time_of_day_h(time_s) - coldest_h) / 24);
}

double Outside::humidity_at(double time_s) const {
  if (humidity_by_hour.empty()) return humidity_percent;
  return look_up(humidity_by_hour, (time_s - hours_from_s) / 3600);
}

HouseModel::HouseModel(const HouseParameters& parameters, const Outside& outside, double start_s)
    : house_(parameters), outside_(outside), time_s_(start_s), co2_ppm_(kOutsideCo2_ppm + 1500) {
  air_c_ = target_c();
  // Litter lies a little below the air, as the guides want it: about 30 °C under 32 to 33 °C of air.
  litter_c_ = air_c_ - 2;
  vapour_kg_kg_ = vapour_at(air_c_, kStartHumidity_percent);
}

void HouseModel::advance(double time_s) {
  while (time_s_ < time_s) {
    const double next = (std::floor(time_s_ / kStep_s) + 1) * kStep_s;
    step(std::min(next, time_s) - time_s_);
  }
}

void HouseModel::step(double seconds) {
  if (!broken_.controller) {
    control();
    ask_for_air(seconds);
  }
  turn_fans();
  const bool burns = (heat_asked_ || broken_.heater_stuck) && !broken_.heater && powered();
  heater_w_ = burns && !broken_.gas && gas_level_percent() > 0 ? house_.heater_kw * 1000 : 0;
  balance_heat(seconds);
  balance_air(seconds);
  eat_and_drink(seconds);
  time_s_ += seconds;
}

void HouseModel::set_broken(const Broken& broken) {
  if (broken.mains && !broken_.mains) cut_s_ = time_s_;
  broken_ = broken;
}

bool HouseModel::generator_running() const {
  return broken_.mains && house_.generator && !broken_.generator &&
         time_s_ >= cut_s_ + house_.generator_starts_s;
}

bool HouseModel::powered() const {
  return !broken_.mains || generator_running();
}

double HouseModel::gas_level_percent() const {
  if (house_.gas_tank_kg <= 0) return 100;
  return std::max(0.0, house_.gas_at_start_percent - 100 * gas_burnt_kg_ / house_.gas_tank_kg);
}

void HouseModel::control() {
  const double half = house_.heater_hysteresis_k / 2;
  if (air_c_ < target_c() - half) heat_asked_ = true;
  if (air_c_ > target_c() + half) heat_asked_ = false;
}

/// The timer's fans run for the first part of each cycle, as long as the birds' need asks; further fans come
/// in by temperature. The mean over the step counts.
void HouseModel::ask_for_air(double seconds) {
  asked_m3_h_ = 0;
  if (birds_in()) {
    // What is aired for the heaters beside the birds' need ends as the heaters do; the straight line is ours.
    const double heated = std::clamp(1 - age_d() / kHeatersEnd_d, 0.0, 1.0);
    const double factor = 1 + (house_.minimum_air_factor - 1) * heated;
    const double need = house_.birds * minimum_air_m3_h(bird_weight_g() / 1000) * factor;
    // As the birds grow further fans join the timer, so that it never runs for more than four fifths.
    const double timer_fans_m3_h = std::max(house_.minimum_fans_m3_h, need * 1.25);
    const double on_s = need / timer_fans_m3_h * house_.timer_s;
    const double into_s = std::fmod(time_s_, house_.timer_s);
    const double share = std::clamp((on_s - into_s) / seconds, 0.0, 1.0);
    asked_m3_h_ = timer_fans_m3_h * share;
  }
  const double over = (air_c_ - target_c() - house_.fans_from_k) / (house_.fans_all_k - house_.fans_from_k);
  asked_m3_h_ = std::max(asked_m3_h_, std::clamp(over, 0.0, 1.0) * house_.most_fans_m3_h);
}

void HouseModel::turn_fans() {
  fans_m3_h_ = broken_.fans || !powered() ? 0 : asked_m3_h_;
  if (broken_.inlets) fans_m3_h_ *= kShareThroughGaps;
  if (broken_.low_voltage) fans_m3_h_ *= kShareAtLowVoltage;
}

double HouseModel::air_exchange_m3_s() const {
  const double doors_m3_h = broken_.doors ? house_.doors_m3_h : 0;
  return (fans_m3_h_ + doors_m3_h + house_.leak_changes_h * house_.volume_m3) / 3600;
}

double HouseModel::air_capacity_j_k() const {
  return house_.volume_m3 * kAirDensity_kg_m3 * kAirHeat_j_kgk + house_.fittings_kj_per_k * 1000;
}

double HouseModel::litter_capacity_j_k() const {
  return house_.floor_area_m2 * house_.litter_kg_m2 * house_.litter_kj_kg_k * 1000;
}

void HouseModel::balance_heat(double seconds) {
  const double outside_c = outside_.air_c(time_s_);
  const double inside_over_outside = air_c_ - outside_c;
  flows_.birds_w = birds_in() ? house_.birds * bird_heat(bird_weight_g() / 1000, air_c_).sensible_w : 0;
  flows_.heater_w = heater_w_;
  flows_.envelope_w = -house_.envelope_area_m2 * house_.u_value_w_m2k * inside_over_outside;
  flows_.ventilation_w = -air_exchange_m3_s() * kAirDensity_kg_m3 * kAirHeat_j_kgk * inside_over_outside;
  flows_.litter_w = house_.floor_area_m2 * house_.litter_exchange_w_m2k * (litter_c_ - air_c_);
  flows_.ground_w = house_.floor_area_m2 * house_.floor_loss_w_m2k * (house_.ground_c - litter_c_);
  const double to_air =
      flows_.birds_w + flows_.heater_w + flows_.envelope_w + flows_.ventilation_w + flows_.litter_w;
  air_c_ += to_air * seconds / air_capacity_j_k();
  litter_c_ += (flows_.ground_w - flows_.litter_w) * seconds / litter_capacity_j_k();
}

void HouseModel::balance_air(double seconds) {
  const double air_kg = house_.volume_m3 * kAirDensity_kg_m3;
  const double exchange = air_exchange_m3_s();
  gas_burnt_kg_ += heater_w_ / kPropane_j_kg * seconds;
  const double burnt_kg_s = house_.heater_vented ? 0 : heater_w_ / kPropane_j_kg;
  double water_kg_s = burnt_kg_s * kPropaneWater_kg_kg;
  double co2_m3_s = burnt_kg_s * kPropaneCo2_m3_kg;
  double ammonia_mg_s = 0;
  if (birds_in()) {
    const BirdHeat heat = bird_heat(bird_weight_g() / 1000, air_c_);
    water_kg_s += house_.birds * (heat.total_w - heat.sensible_w) / kEvaporation_j_kg;
    co2_m3_s += house_.birds * heat.total_w * kCo2_m3_h_per_w / 3600;
    ammonia_mg_s = house_.birds * ammonia_mg_h(age_d()) * house_.ammonia_factor / 3600;
  }
  const double outside_vapour = vapour_at(outside_.air_c(time_s_), outside_.humidity_at(time_s_));
  vapour_kg_kg_ +=
      (water_kg_s + exchange * kAirDensity_kg_m3 * (outside_vapour - vapour_kg_kg_)) * seconds / air_kg;
  // What the air cannot hold runs down the walls.
  vapour_kg_kg_ = std::min(vapour_kg_kg_, vapour_at(air_c_, 100));
  const double changes = exchange * seconds / house_.volume_m3;
  co2_ppm_ += co2_m3_s * seconds / house_.volume_m3 * 1e6 + changes * (kOutsideCo2_ppm - co2_ppm_);
  ammonia_ppm_ += ammonia_mg_s * seconds / house_.volume_m3 / kAmmonia_mg_per_m3_ppm - changes * ammonia_ppm_;
}

bool HouseModel::light() const {
  if (!powered()) return false;
  const double hours = step_table(house_.light_h, age_d());
  const double since_on = std::fmod(time_of_day_h(time_s_) - house_.lights_on_h + 24, 24);
  return since_on < hours;
}

/// Birds eat and drink in the light only, by the hour, and drink more where it is too warm. A burst line runs
/// day and night.
void HouseModel::eat_and_drink(double seconds) {
  double flow_l_s = broken_.water_burst ? house_.burst_l_min / 60 : 0;
  if (birds_in() && light()) {
    const double hours = step_table(house_.light_h, age_d());
    const double share_s = share_of_day_h(time_of_day_h(time_s_), age_d(), house_.lights_on_h, hours) / 3600;
    const double feed_kg_s = house_.birds * feed_g_per_day(age_d()) / 1000 * share_s;
    const double thirst = std::clamp(1 + kThirst_per_k * (air_c_ - target_c()), 0.7, 1.7);
    flow_l_s += feed_kg_s * water_to_feed(age_d()) * thirst;
    if (!broken_.feed) feed_kg_ += feed_kg_s * seconds;
  }
  const bool counted = flow_l_s * 60 >= house_.water_meter_start_l_min;
  if (counted && !broken_.water_shut) water_l_ += flow_l_s * seconds;
}

double HouseModel::humidity_percent() const {
  const double pressure = kPressure_pa * vapour_kg_kg_ / (0.621945 + vapour_kg_kg_);
  return std::min(100.0, 100 * pressure / saturation_pa(air_c_));
}

double HouseModel::water_l() const {
  return std::floor(water_l_ / house_.water_pulse_l) * house_.water_pulse_l;
}

double HouseModel::feed_kg() const {
  return std::floor(feed_kg_ / house_.feed_pulse_kg) * house_.feed_pulse_kg;
}

}  // namespace underwing
