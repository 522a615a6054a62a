#pragma once

#include <array>
#include <cstdint>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

namespace underwing {

/// Exponents of the base dimensions. `temperature` counts kelvins; whether a quantity is a temperature on a
/// scale (°C) or a difference (K) is said by `Type::point`. Percent and ppm are dimensions of their own, so
/// that 70 against 70 % is noticed.
struct Dimension {
  enum Base : std::size_t { temperature, time, mass, volume, length, pressure, light, power, percent, ppm, count_ };
  std::array<std::int8_t, count_> exponent{};
  friend bool operator==(const Dimension&, const Dimension&) = default;
  [[nodiscard]] bool none() const { return *this == Dimension{}; }
};

/// A unit of measurement. value_canonical = value * factor + offset.
/// Canonical units: K and °C, hours, grams, litres, metres, pascals, lux, watts, %, ppm.
struct Unit {
  std::string text;        ///< as written: "°C", "L/kg"; empty: no unit
  Dimension dimension;
  bool point = false;      ///< a temperature on a scale (°C, °F), not a difference
  double factor = 1.0;
  double offset = 0.0;     ///< only for points: °F
  [[nodiscard]] double to_canonical(double value) const { return value * factor + offset; }
  [[nodiscard]] double from_canonical(double value) const { return (value - offset) / factor; }
  /// The unit for a difference of two values in this unit: °C gives K, °F gives F°, else itself.
  [[nodiscard]] Unit of_difference() const;
};

/// Parses "°C", "L/kg", "K/min", "%", "" (no unit). nullopt where an atom is unknown.
[[nodiscard]] std::optional<Unit> parse_unit(std::string_view text);

/// True for a word that is an atom of a unit ("g", "min", "L"): such words cannot name curves or values.
[[nodiscard]] bool is_unit_atom(std::string_view word);

/// All atoms, for suggestions.
[[nodiscard]] const std::vector<std::string>& unit_atoms();

/// The unit of a SenML record (RFC 8428 section 12.1, RFC 8798 for secondary units) as one of ours:
/// "Cel" is °C, "%RH" is %, "l" and "L" are L, "/" and "" are no unit. nullopt: not known here.
[[nodiscard]] std::optional<Unit> parse_senml_unit(std::string_view text);

/// Converts a value between units of one dimension; nullopt where the dimensions differ. A ratio (no
/// dimension) for a unit in % is multiplied by 100.
[[nodiscard]] std::optional<double> convert(double value, const Unit& source, const Unit& target);

/// In which units people are shown values: °C, kg and L, or °F, lb and US gallons.
enum class Units { metric, us };
[[nodiscard]] const char* to_string(Units units);

/// The unit in which people of that choice are shown what is in `unit`: °F for °C, F° for K, lb for g and kg, gal for L
/// and for m³ of a meter, gal/lb for L/kg, and back. What has no other unit in the trade stays: %, ppm, Pa, m³ of air.
/// Limits, readings and what machines read keep their own.
[[nodiscard]] Unit shown_in(const Unit& unit, Units units);

/// The same of a unit that is named as files name it, such as "°C".
[[nodiscard]] Unit shown_in(std::string_view unit, Units units);

/// A value to as many digits as people are shown: to a tenth; pounds and gallons, whose chicks and birds are small
/// numbers, to a hundredth below 10 and to a thousandth below 1.
[[nodiscard]] double rounded(double value, const Unit& unit);

/// A value with its unit for a text: "28.6 °C", "22 ppm", "0.093 lb".
[[nodiscard]] std::string with_unit(double canonical, const Unit& unit);

/// As with_unit() has it, but with a tenth from 100 on, too: "113.9 °F".
[[nodiscard]] std::string to_a_tenth(const Unit& unit, double canonical);

/// What a bird weighs, in a sentence: "528 g", "1.16 lb".
[[nodiscard]] std::string weight_shown(double weight_g, Units units);

}  // namespace underwing
