#pragma once

#include <optional>

/// How long a house leaves people: minutes until its air crosses a limit once fans, or heaters, stay off.
/// What the house was seen to do goes before what is reckoned from its birds. Pure functions; temperatures in
/// °C.
namespace underwing::danger {

/// Heat that birds give to the air, in watts for each bird of `weight_kg` (above 0) in air of 5 to 40 °C.
/// Source: CIGR (Pedersen and Sällvik), 4th Report of Working Group on Climatization of Animal Houses, 2002,
/// broilers, from memory: 10.62 W for a bird of 1 kg by the power of 0.75 at 20 °C, 2 % less for each K
/// above, of which the sensible part is 0.61 of the total, less 0.000228 for each square of the temperature.
/// Made for feathered birds.
[[nodiscard]] double sensible_heat_w(double weight_kg, double air_c);

struct House {
  double volume_m3 = 0;
  double birds = 0;
  double weight_kg = 0;
  double outside_c = 0;
  /// Heat that roof and walls let out for each K; 0: none, which errs to the safe side.
  double loss_w_k = 0;
};

/// Minutes until still air reaches `limit_c` from `air_c`, with the fans off and no other heat than the
/// birds'. Fittings are taken to hold as much heat as the air. nullopt: never, or not within 12 hours.
[[nodiscard]] std::optional<double> minutes_to_heat(const House& house, double air_c, double limit_c);

/// The same by the rise that was seen, in K a minute (above 0).
[[nodiscard]] std::optional<double> minutes_to_heat_as_seen(double rise_k_min, double air_c, double limit_c);

/// The time constant of a house that cools without heat, in minutes: its distance from outside over its fall.
/// nullopt: it does not fall, or is no warmer than outside.
[[nodiscard]] std::optional<double> time_constant_min(double air_c, double outside_c, double fall_k_min);

/// Minutes until air cools to `limit_c` with that time constant: heat is lost in proportion to the distance
/// from outside (University of Georgia), so T(t) = outside + (air - outside) · exp(-t / constant). nullopt:
/// never.
[[nodiscard]] std::optional<double> minutes_to_cool(double constant_min, double air_c, double outside_c,
                                                    double limit_c);

}  // namespace underwing::danger
