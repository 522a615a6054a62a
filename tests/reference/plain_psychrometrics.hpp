#pragma once

#include <optional>

namespace underwing::reference {

/// The functions of the trade, written a second time: straight from the equations, and turned round by
/// halving. Temperatures in °C, humidity in %, pressures in Pa. nullopt: unknown.
[[nodiscard]] double plain_pressure_pa(double altitude_m);
[[nodiscard]] double plain_saturation_pa(double t_c);
[[nodiscard]] std::optional<double> plain_wet_bulb_c(double t_c, double rh, double air_pa);
[[nodiscard]] std::optional<double> plain_dew_point_c(double t_c, double rh);
[[nodiscard]] std::optional<double> plain_felt_temperature_c(double t_c, double rh, double at_most_k,
                                                             double reference, double air_pa);

}  // namespace underwing::reference
