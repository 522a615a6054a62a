#pragma once

/// What air and water vapour have to do with one another. Temperatures in °C, relative humidity in % over
/// water, pressures in Pa, humidity ratios in kg of vapour a kg of dry air.
///
/// Formulas: ASHRAE Handbook, Fundamentals, 2017, chapter 1, Psychrometrics; the numbers of equations are
/// those of that chapter. Everything here is a pure function, good for -40 to 80 °C and 0 to 100 %; outside
/// of that, and wherever an argument is not finite, the answer is unknown (NaN).
namespace underwing::psychrometrics {

inline constexpr double kSeaLevelPa = 101325.0;

/// The standard atmosphere at an altitude of -500 to 5000 m (equation 3).
[[nodiscard]] double pressure_pa(double altitude_m);

/// Pressure of saturated vapour, over ice below 0 °C (equation 5) and over water from there (equation 6),
/// after Hyland and Wexler, 1983.
[[nodiscard]] double saturation_pressure_pa(double t_c);

/// Humidity ratio of air with this vapour pressure (equation 20).
[[nodiscard]] double humidity_ratio(double vapour_pa, double air_pa);

/// Humidity ratio of air by its dry bulb and its wet bulb (equation 33; below 0 °C, over ice, equation 35).
/// Below zero where no air can have this pair.
[[nodiscard]] double humidity_ratio_of_wet_bulb(double t_c, double wet_bulb_c, double air_pa);

/// Wet-bulb temperature: where the two equations above give the humidity ratio that the air has.
[[nodiscard]] double wet_bulb_c(double t_c, double rh_percent, double air_pa = kSeaLevelPa);

/// The temperature to which this air has to cool for dew (the saturation pressure turned round). Unknown at 0
/// %, and where it lies below -100 °C.
[[nodiscard]] double dew_point_c(double t_c, double rh_percent);

/// The dry-bulb temperature at `reference_percent` that has the same wet bulb as this air. Both humidities
/// count as 40 % below that and as 70 % above: nothing is published outside.
///
/// Source: Aviagen, Ross Broiler Management Handbook, 2014 and 2018, table of dry-bulb temperature at
/// relative humidity by age (after Mitchell, Scottish Agricultural College), from memory. Each of its rows is
/// a line of equal wet bulb within 0.4 K, which is computed, not published. Breeders disagree about how much
/// humidity counts: a correction as strong as the table's is 5 K at 40 %, while Cobb-Vantress, Broiler
/// Management Guide, from memory, has 0.5 to 1 K for humidity outside its band. `at_most_k` therefore bounds
/// how far the answer may be from `t_c`.
[[nodiscard]] double felt_temperature_c(double t_c, double rh_percent, double at_most_k,
                                        double reference_percent = 60, double air_pa = kSeaLevelPa);

/// The bound on felt_temperature where a rule gives none: the stronger end of Cobb-Vantress's 0.5 to 1 K.
inline constexpr double kFeltAtMostK = 1.0;

}  // namespace underwing::psychrometrics
