#include "rules/base/units.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

namespace underwing {
namespace {

struct Atom {
  const char* text;
  Dimension::Base base;
  std::int8_t exponent;
  double factor;
  bool point = false;
  double offset = 0;
};

constexpr double kFahrenheitKelvin = 5.0 / 9.0;

// Factors are exact by definition (SI brochure, 9th edition, tables 4, 7 and 8; litre, minute, hour, day and
// bar as accepted there; degree Fahrenheit, pound and US liquid gallon after NIST SP 811, appendix B.8).
constexpr Atom kAtoms[] = {
    {"°C", Dimension::temperature, 1, 1.0, true, 0.0},
    {"°F", Dimension::temperature, 1, kFahrenheitKelvin, true, -32.0 * kFahrenheitKelvin},
    {"K", Dimension::temperature, 1, 1.0},
    {"C°", Dimension::temperature, 1, 1.0},
    {"F°", Dimension::temperature, 1, kFahrenheitKelvin},
    {"s", Dimension::time, 1, 1.0 / 3600.0},
    {"min", Dimension::time, 1, 1.0 / 60.0},
    {"h", Dimension::time, 1, 1.0},
    {"d", Dimension::time, 1, 24.0},
    {"mg", Dimension::mass, 1, 0.001},
    {"g", Dimension::mass, 1, 1.0},
    {"kg", Dimension::mass, 1, 1000.0},
    {"t", Dimension::mass, 1, 1'000'000.0},
    {"lb", Dimension::mass, 1, 453.59237},
    {"mL", Dimension::volume, 1, 0.001},
    {"L", Dimension::volume, 1, 1.0},
    {"m³", Dimension::volume, 1, 1000.0},
    {"gal", Dimension::volume, 1, 3.785411784},
    {"mm", Dimension::length, 1, 0.001},
    {"cm", Dimension::length, 1, 0.01},
    {"m", Dimension::length, 1, 1.0},
    {"Pa", Dimension::pressure, 1, 1.0},
    {"hPa", Dimension::pressure, 1, 100.0},
    {"kPa", Dimension::pressure, 1, 1000.0},
    {"mbar", Dimension::pressure, 1, 100.0},
    {"bar", Dimension::pressure, 1, 100'000.0},
    {"lx", Dimension::light, 1, 1.0},
    {"W", Dimension::power, 1, 1.0},
    {"kW", Dimension::power, 1, 1000.0},
    {"%", Dimension::percent, 1, 1.0},
    {"ppm", Dimension::ppm, 1, 1.0},
};

const Atom* find_atom(std::string_view text) {
  const auto* found = std::find_if(std::begin(kAtoms), std::end(kAtoms),
                                   [text](const Atom& atom) { return text == atom.text; });
  return found == std::end(kAtoms) ? nullptr : found;
}

/// What stands for an atom in texts of that choice.
std::string_view atom_shown(std::string_view atom, Units units) {
  struct Pair {
    const char* from;
    const char* to;
  };
  static constexpr Pair kUs[] = {{"°C", "°F"}, {"K", "F°"}, {"C°", "F°"}, {"g", "lb"}, {"kg", "lb"}, {"t", "lb"}, {"mL", "gal"}, {"L", "gal"}, {"m³", "gal"}};
  static constexpr Pair kMetric[] = {{"°F", "°C"}, {"F°", "K"}, {"lb", "kg"}, {"gal", "L"}};
  const auto among = [atom](const auto& pairs) {
    for (const Pair& pair : pairs) {
      if (atom == pair.from) return std::string_view(pair.to);
    }
    return atom;
  };
  return units == Units::us ? among(kUs) : among(kMetric);
}

/// How many decimals people are shown.
int decimals_of(double value, const Unit& unit) {
  const double size = std::fabs(value);
  if (size >= 100) return 0;
  const bool small = unit.text.starts_with("lb") || unit.text.starts_with("gal");
  return !small || size >= 10 ? 1 : size >= 1 ? 2 : 3;
}

}  // namespace

Unit Unit::of_difference() const {
  if (!point) return *this;
  Unit difference = *this;
  difference.text = text == "°F" ? "F°" : "K";
  difference.point = false;
  difference.offset = 0;
  return difference;
}

std::optional<Unit> parse_unit(std::string_view text) {
  Unit unit;
  unit.text = std::string(text);
  if (text.empty()) return unit;
  bool first = true;
  for (std::size_t begin = 0; begin <= text.size();) {
    const std::size_t end = std::min(text.find('/', begin), text.size());
    const Atom* atom = find_atom(text.substr(begin, end - begin));
    if (atom == nullptr) return std::nullopt;
    const bool alone = first && end == text.size();
    // A temperature on a scale has a zero of its own; it means nothing in a quotient.
    if (atom->point && !alone) return std::nullopt;
    const int sign = first ? 1 : -1;
    unit.dimension.exponent[atom->base] =
        static_cast<std::int8_t>(unit.dimension.exponent[atom->base] + sign * atom->exponent);
    unit.factor = first ? atom->factor : unit.factor / atom->factor;
    unit.point = atom->point;
    unit.offset = atom->offset;
    first = false;
    begin = end + 1;
  }
  return unit;
}

bool is_unit_atom(std::string_view word) {
  return find_atom(word) != nullptr;
}

const std::vector<std::string>& unit_atoms() {
  static const std::vector<std::string> atoms = [] {
    std::vector<std::string> all;
    for (const Atom& atom : kAtoms) all.emplace_back(atom.text);
    return all;
  }();
  return atoms;
}

std::optional<Unit> parse_senml_unit(std::string_view text) {
  struct Pair {
    const char* senml;
    const char* ours;
  };
  // RFC 8428, table 1, and RFC 8798, table 1; only what a poultry house measures.
  static constexpr Pair kPairs[] = {
      {"", ""},       {"/", ""},        {"count", ""},  {"Cel", "°C"}, {"K", "K"},     {"%", "%"},
      {"%RH", "%"},   {"ppm", "ppm"},   {"l", "L"},     {"L", "L"},    {"m3", "m³"},   {"ml", "mL"},
      {"kg", "kg"},   {"g", "g"},       {"mg", "mg"},   {"lx", "lx"},  {"Pa", "Pa"},   {"hPa", "hPa"},
      {"kPa", "kPa"}, {"mbar", "mbar"}, {"bar", "bar"}, {"m", "m"},    {"mm", "mm"},   {"cm", "cm"},
      {"m/s", "m/s"}, {"W", "W"},       {"kW", "kW"},   {"s", "s"},    {"min", "min"}, {"h", "h"},
      {"l/s", "L/s"}, {"EL", "%"},      {"%EL", "%"},
  };
  for (const Pair& pair : kPairs) {
    if (text == pair.senml) return parse_unit(pair.ours);
  }
  // A battery level in seconds and a plain kelvin reading are left to their own names; ours pass as they are.
  return parse_unit(text);
}

std::optional<double> convert(double value, const Unit& source, const Unit& target) {
  if (source.dimension == target.dimension && source.point == target.point) {
    if (source.factor == target.factor && source.offset == target.offset) return value;
    return target.from_canonical(source.to_canonical(value));
  }
  Dimension percent;
  percent.exponent[Dimension::percent] = 1;
  if (source.dimension.none() && target.dimension == percent) return value * 100.0;
  return std::nullopt;
}

const char* to_string(Units units) {
  return units == Units::us ? "us" : "metric";
}

Unit shown_in(const Unit& unit, Units units) {
  // How much is in a cubic metre of air is said alike everywhere.
  if (unit.text.ends_with("/m³")) return unit;
  std::string text;
  for (std::size_t begin = 0; begin <= unit.text.size();) {
    const std::size_t end = std::min(unit.text.find('/', begin), unit.text.size());
    const std::string_view atom = std::string_view(unit.text).substr(begin, end - begin);
    text += (begin == 0 ? "" : "/") + std::string(atom_shown(atom, units));
    begin = end + 1;
  }
  return text == unit.text ? unit : parse_unit(text).value_or(unit);
}

Unit shown_in(std::string_view unit, Units units) {
  return shown_in(parse_unit(unit).value(), units);
}

double rounded(double value, const Unit& unit) {
  const double scale = std::pow(10.0, std::max(1, decimals_of(value, unit)));
  // Adding nothing makes a plain zero of a negative one.
  return std::round(value * scale) / scale + 0.0;
}

std::string with_unit(double canonical, const Unit& unit) {
  const double value = unit.from_canonical(canonical);
  std::string text = fmt::format("{:.{}f}", value, decimals_of(value, unit));
  if (text.find('.') != std::string::npos) {
    text.erase(text.find_last_not_of('0') + 1);
    if (text.ends_with('.')) text.pop_back();
  }
  if (text == "-0") text = "0";
  return unit.text.empty() ? text : text + " " + unit.text;
}

std::string to_a_tenth(const Unit& unit, double canonical) {
  const double value = rounded(unit.from_canonical(canonical), unit);
  return unit.text.empty() ? fmt::format("{}", value) : fmt::format("{} {}", value, unit.text);
}

std::string weight_shown(double weight_g, Units units) {
  return units == Units::us ? with_unit(weight_g, shown_in("g", units)) : fmt::format("{:.0f} g", weight_g);
}

}  // namespace underwing
