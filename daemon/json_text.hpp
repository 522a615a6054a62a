#pragma once

#include <nlohmann/json.hpp>
#include <string>

#include "rules/base/units.hpp"

namespace underwing {

/// The text under `key` of an object; empty where there is none, or no text.
[[nodiscard]] inline std::string text_of(const nlohmann::json& object, const char* key) {
  const auto found = object.find(key);
  return found != object.end() && found->is_string() ? found->get<std::string>() : "";
}

/// In which units people of the farm are shown the values of an answer; its own are those that the files name.
[[nodiscard]] inline Units units_of(const nlohmann::json& object) {
  return text_of(object, "units") == to_string(Units::us) ? Units::us : Units::metric;
}

/// A value in the unit of that name, and the unit, as people are shown them.
[[nodiscard]] inline double value_shown(double value, const std::string& unit, Units units) {
  const auto written = parse_unit(unit);
  return written ? shown_in(*written, units).from_canonical(written->to_canonical(value)) : value;
}
[[nodiscard]] inline std::string unit_shown(const std::string& unit, Units units) {
  const auto written = parse_unit(unit);
  return written ? shown_in(*written, units).text : unit;
}

}  // namespace underwing
