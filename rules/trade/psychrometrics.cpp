#include "rules/trade/psychrometrics.hpp"

#include <algorithm>
#include <cmath>
#include <limits>

namespace underwing::psychrometrics {
namespace {

constexpr double kUnknown = std::numeric_limits<double>::quiet_NaN();
constexpr double kZeroC = 273.15;
constexpr double kVapourToAir = 0.621945;  // ratio of the molar masses
constexpr double kEnoughK = 1e-11;  // roots are found to this; comparisons of the engine take 1e-9 as equal

bool in_range(double t_c, double rh_percent) {
  return t_c >= -40 && t_c <= 80 && rh_percent >= 0 && rh_percent <= 100;
}

/// Where `f`, which rises from below zero at `low` to above it at `high`, is zero: false position, with the
/// weight of an end that stays put halved each time (the Illinois rule), so that both ends close in.
template <typename Function>
double root(Function f, double low, double high) {
  double f_low = f(low);
  double f_high = f(high);
  if (!(f_low < 0)) return low;
  if (!(f_high > 0)) return high;
  int side = 0;
  for (int i = 0; i < 200 && high - low > kEnoughK; ++i) {
    const double x = std::clamp(high - f_high * (high - low) / (f_high - f_low), low, high);
    const double y = f(x);
    if (y == 0 || (i > 100 && std::fabs(y) < 1e-15)) return x;
    if (y < 0) {
      if (x - low < kEnoughK / 2 && side == -1) return x;
      low = x;
      f_low = y;
      if (side == -1) f_high /= 2;
      side = -1;
    } else {
      if (high - x < kEnoughK / 2 && side == 1) return x;
      high = x;
      f_high = y;
      if (side == 1) f_low /= 2;
      side = 1;
    }
  }
  return low + (high - low) / 2;
}

double saturated_ratio(double t_c, double air_pa) {
  return humidity_ratio(saturation_pressure_pa(t_c), air_pa);
}

}  // namespace

double pressure_pa(double altitude_m) {
  if (!(altitude_m >= -500 && altitude_m <= 5000)) return kUnknown;
  return kSeaLevelPa * std::pow(1 - 2.25577e-5 * altitude_m, 5.2559);
}

double saturation_pressure_pa(double t_c) {
  if (!(t_c >= -100 && t_c <= 200)) return kUnknown;
  const double k = t_c + kZeroC;
  if (t_c < 0) {
    return std::exp(-5.6745359e3 / k + 6.3925247 +
                    k * (-9.6778430e-3 + k * (6.2215701e-7 + k * (2.0747825e-9 - k * 9.4840240e-13))) +
                    4.1635019 * std::log(k));
  }
  return std::exp(-5.8002206e3 / k + 1.3914993 + k * (-4.8640239e-2 + k * (4.1764768e-5 - k * 1.4452093e-8)) +
                  6.5459673 * std::log(k));
}

double humidity_ratio(double vapour_pa, double air_pa) {
  return kVapourToAir * vapour_pa / (air_pa - vapour_pa);
}

double humidity_ratio_of_wet_bulb(double t_c, double wet_bulb_c, double air_pa) {
  const double saturated = saturated_ratio(wet_bulb_c, air_pa);
  if (wet_bulb_c >= 0) {
    return ((2501 - 2.326 * wet_bulb_c) * saturated - 1.006 * (t_c - wet_bulb_c)) /
           (2501 + 1.86 * t_c - 4.186 * wet_bulb_c);
  }
  return ((2830 - 0.24 * wet_bulb_c) * saturated - 1.006 * (t_c - wet_bulb_c)) /
         (2830 + 1.86 * t_c - 2.1 * wet_bulb_c);
}

double wet_bulb_c(double t_c, double rh_percent, double air_pa) {
  if (!in_range(t_c, rh_percent)) return kUnknown;
  if (rh_percent == 100) return t_c;
  const double ratio = humidity_ratio(rh_percent / 100 * saturation_pressure_pa(t_c), air_pa);
  const auto too_wet = [&](double wet_bulb) {
    return humidity_ratio_of_wet_bulb(t_c, wet_bulb, air_pa) - ratio;
  };
  // The two equations do not meet at 0 °C: water is asked first, so that one air has one wet bulb.
  if (t_c > 0 && too_wet(0) <= 0) return root(too_wet, 0, t_c);
  const double ice_high = std::min(t_c, std::nextafter(0.0, -1.0));
  return root(too_wet, ice_high - 60, ice_high);
}

double dew_point_c(double t_c, double rh_percent) {
  if (!in_range(t_c, rh_percent)) return kUnknown;
  const double vapour_pa = rh_percent / 100 * saturation_pressure_pa(t_c);
  if (vapour_pa < saturation_pressure_pa(-100)) return kUnknown;
  // By its logarithm the curve is nearly straight.
  const double target = std::log(vapour_pa);
  return root([&](double dew) { return std::log(saturation_pressure_pa(dew)) - target; }, -100, t_c);
}

double felt_temperature_c(double t_c, double rh_percent, double at_most_k, double reference_percent,
                          double air_pa) {
  if (!in_range(t_c, rh_percent) || !in_range(t_c, reference_percent) || !(at_most_k >= 0)) return kUnknown;
  const double counted = std::clamp(rh_percent, 40.0, 70.0);
  const double reference = std::clamp(reference_percent, 40.0, 70.0);
  if (counted == reference) return t_c;
  const double wet_bulb = wet_bulb_c(t_c, counted, air_pa);
  // Warmer air at the reference holds more, and by the wet bulb could hold less.
  const auto too_warm = [&](double felt) {
    return humidity_ratio(reference / 100 * saturation_pressure_pa(felt), air_pa) -
           humidity_ratio_of_wet_bulb(felt, wet_bulb, air_pa);
  };
  // Beyond the cap it does not matter by how much, which saves the search.
  if (t_c + at_most_k < wet_bulb + 30 && too_warm(t_c + at_most_k) <= 0) return t_c + at_most_k;
  if (t_c - at_most_k > wet_bulb && too_warm(t_c - at_most_k) >= 0) return t_c - at_most_k;
  const double felt = root(too_warm, wet_bulb, wet_bulb + 30);
  return std::clamp(felt, t_c - at_most_k, t_c + at_most_k);
}

}  // namespace underwing::psychrometrics
