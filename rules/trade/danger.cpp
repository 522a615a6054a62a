#include "rules/trade/danger.hpp"

#include <algorithm>
#include <cmath>

namespace underwing::danger {
namespace {

constexpr double kAir_j_m3k = 1.2 * 1006;  // density times heat, at the sea
constexpr double kStep_min = 0.1;
constexpr double kLongest_min = 12 * 60;

}  // namespace

double sensible_heat_w(double weight_kg, double air_c) {
  const double total = std::max(0.0, 1 + 0.020 * (20 - air_c));
  const double sensible = 0.61 * total - 0.000228 * air_c * air_c;
  return 10.62 * std::pow(weight_kg, 0.75) * std::clamp(sensible, 0.0, total);
}

std::optional<double> minutes_to_heat(const House& house, double air_c, double limit_c) {
  if (air_c >= limit_c) return 0;
  if (!(house.volume_m3 > 0) || !(house.birds > 0) || !(house.weight_kg > 0)) return std::nullopt;
  const double capacity_j_k = 2 * house.volume_m3 * kAir_j_m3k;
  double at_c = air_c;
  for (double minutes = 0; minutes < kLongest_min;) {
    const double heat_w =
        house.birds * sensible_heat_w(house.weight_kg, at_c) - house.loss_w_k * (at_c - house.outside_c);
    const double rise_k = heat_w * kStep_min * 60 / capacity_j_k;
    if (rise_k <= 0) return std::nullopt;
    if (at_c + rise_k >= limit_c) return minutes + kStep_min * (limit_c - at_c) / rise_k;
    at_c += rise_k;
    minutes += kStep_min;
  }
  return std::nullopt;
}

std::optional<double> minutes_to_heat_as_seen(double rise_k_min, double air_c, double limit_c) {
  if (air_c >= limit_c) return 0;
  if (!(rise_k_min > 0)) return std::nullopt;
  return (limit_c - air_c) / rise_k_min;
}

std::optional<double> time_constant_min(double air_c, double outside_c, double fall_k_min) {
  if (!(fall_k_min > 0) || !(air_c > outside_c)) return std::nullopt;
  return (air_c - outside_c) / fall_k_min;
}

std::optional<double> minutes_to_cool(double constant_min, double air_c, double outside_c, double limit_c) {
  if (air_c <= limit_c) return 0;
  if (!(constant_min > 0) || !(limit_c > outside_c)) return std::nullopt;
  return constant_min * std::log((air_c - outside_c) / (limit_c - outside_c));
}

}  // namespace underwing::danger
