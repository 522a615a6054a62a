#include "tests/reference/plain_psychrometrics.hpp"

#include <algorithm>
#include <cmath>

namespace underwing::reference {
namespace {

/// Where `positive` turns from false to true between the two, by halving until nothing lies between.
template <typename Positive>
double turn(double low, double high, Positive positive) {
  for (int i = 0; i < 200; ++i) {
    const double middle = (low + high) / 2;
    (positive(middle) ? high : low) = middle;
  }
  return (low + high) / 2;
}

double ratio(double vapour_pa, double air_pa) {
  return 0.621945 * vapour_pa / (air_pa - vapour_pa);
}

/// Equations 33 (water) and 35 (ice): latent heats and specific heats of each.
double ratio_by_wet_bulb(double t, double wet, double air_pa, bool water) {
  const double saturated = ratio(plain_saturation_pa(wet), air_pa);
  const double heat = water ? 2501 - 2.326 * wet : 2830 - 0.24 * wet;
  const double sum = water ? 2501 + 1.86 * t - 4.186 * wet : 2830 + 1.86 * t - 2.1 * wet;
  return (heat * saturated - 1.006 * (t - wet)) / sum;
}

bool told(double t, double rh) {
  return -40 <= t && t <= 80 && 0 <= rh && rh <= 100;
}

}  // namespace

double plain_pressure_pa(double altitude_m) {
  return 101325 * std::pow(1 - 2.25577e-5 * altitude_m, 5.2559);
}

double plain_saturation_pa(double t_c) {
  const double t = t_c + 273.15;
  const double t2 = t * t;
  const double t3 = t2 * t;
  if (t_c < 0) {
    return std::exp(-5674.5359 / t + 6.3925247 - 0.009677843 * t + 6.2215701e-7 * t2 + 2.0747825e-9 * t3 -
                    9.484024e-13 * t2 * t2 + 4.1635019 * std::log(t));
  }
  return std::exp(-5800.2206 / t + 1.3914993 - 0.048640239 * t + 4.1764768e-5 * t2 - 1.4452093e-8 * t3 +
                  6.5459673 * std::log(t));
}

std::optional<double> plain_wet_bulb_c(double t_c, double rh, double air_pa) {
  if (!told(t_c, rh)) return std::nullopt;
  if (rh >= 100) return t_c;
  const double has = ratio(rh / 100 * plain_saturation_pa(t_c), air_pa);
  const bool water = t_c > 0 && ratio_by_wet_bulb(t_c, 0, air_pa, true) <= has;
  return turn(water ? 0 : std::min(t_c, 0.0) - 60, water ? t_c : std::min(t_c, 0.0),
              [&](double wet) { return ratio_by_wet_bulb(t_c, wet, air_pa, water) > has; });
}

std::optional<double> plain_dew_point_c(double t_c, double rh) {
  if (!told(t_c, rh)) return std::nullopt;
  const double vapour = rh / 100 * plain_saturation_pa(t_c);
  if (vapour < plain_saturation_pa(-100)) return std::nullopt;
  return turn(-100, t_c, [&](double dew) { return plain_saturation_pa(dew) > vapour; });
}

std::optional<double> plain_felt_temperature_c(double t_c, double rh, double at_most_k, double reference, double air_pa) {
  if (!told(t_c, rh) || !told(t_c, reference) || at_most_k < 0) return std::nullopt;
  const double held = std::clamp(reference, 40.0, 70.0);
  const double wet = *plain_wet_bulb_c(t_c, std::clamp(rh, 40.0, 70.0), air_pa);
  // The air at the reference that has this wet bulb: warmer air at it has a higher one.
  const double felt = turn(std::max(t_c - 40, -40.0), std::min(t_c + 40, 80.0),
                           [&](double t) { return *plain_wet_bulb_c(t, held, air_pa) > wet; });
  return std::min(std::max(felt, t_c - at_most_k), t_c + at_most_k);
}

}  // namespace underwing::reference
