#pragma once

#include <nlohmann/json.hpp>
#include <string>

namespace underwing {

/// The text under `key` of an object; empty where there is none, or no text.
[[nodiscard]] inline std::string text_of(const nlohmann::json& object, const char* key) {
  const auto found = object.find(key);
  return found != object.end() && found->is_string() ? found->get<std::string>() : "";
}

}  // namespace underwing
