#pragma once

#include "plugins/model-house/farm_model.hpp"

/// What the tests of the model house begin from.
namespace underwing {

inline constexpr double kPlaced_s = 1772443800;  // 2026-03-02 09:30 UTC
inline constexpr double kHour_s = 3600;

/// The house as it is by default, with its birds placed then.
inline HouseParameters a_house() {
  HouseParameters house;
  house.placed_s = kPlaced_s;
  return house;
}

/// The same weather day and night.
inline Outside steady(double air_c) {
  Outside outside;
  outside.mean_c = air_c;
  outside.swing_k = 0;
  return outside;
}

}  // namespace underwing
