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

}  // namespace underwing
