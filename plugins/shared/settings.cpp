#include "plugins/shared/settings.hpp"

#include <fmt/format.h>

#include <cstddef>

#include "plugins/shared/clock.hpp"

namespace underwing {

Settings::Settings(const nlohmann::json& map, std::string where) : map_(&map), where_(std::move(where)) {
  if (!map.is_object()) throw SettingsError(fmt::format("{} must be a map of keys and values.", where_));
}

const nlohmann::json* Settings::raw(const char* key) {
  asked_.insert(key);
  const auto found = map_->find(key);
  return found == map_->end() || found->is_null() ? nullptr : &*found;
}

bool Settings::has(const char* key) {
  return raw(key) != nullptr;
}

void Settings::refuse(const char* key, const std::string& what) const {
  throw SettingsError(fmt::format("{}.{} {}.", where_, key, what));
}

std::string Settings::text(const char* key) {
  const nlohmann::json* value = raw(key);
  if (value == nullptr) refuse(key, "is missing");
  return text(key, "");
}

std::string Settings::text(const char* key, std::string_view otherwise) {
  const nlohmann::json* value = raw(key);
  if (value == nullptr) return std::string(otherwise);
  if (value->is_string()) return value->get<std::string>();
  // A plain YAML scalar that looks like a number arrives as one.
  if (value->is_number() || value->is_boolean()) return value->dump();
  refuse(key, "must be a text");
}

double Settings::number(const char* key, double otherwise, double lowest, double highest) {
  const nlohmann::json* value = raw(key);
  if (value == nullptr) return otherwise;
  if (!value->is_number()) refuse(key, "must be a number");
  const auto found = value->get<double>();
  if (found < lowest || found > highest) {
    refuse(key, fmt::format("is {}, but must be between {} and {}", found, lowest, highest));
  }
  return found;
}

bool Settings::flag(const char* key, bool otherwise) {
  const nlohmann::json* value = raw(key);
  if (value == nullptr) return otherwise;
  if (!value->is_boolean()) refuse(key, "must be true or false");
  return value->get<bool>();
}

double Settings::span(const char* key, double otherwise) {
  const nlohmann::json* value = raw(key);
  if (value == nullptr) return otherwise;
  const auto seconds = value->is_string() ? read_span(value->get<std::string>()) : std::nullopt;
  if (!seconds) refuse(key, "must be a time with its unit, such as 4 min");
  return *seconds;
}

std::vector<Settings> Settings::list(const char* key) {
  std::vector<Settings> maps;
  const nlohmann::json* value = raw(key);
  if (value == nullptr) return maps;
  if (!value->is_array()) refuse(key, "must be a list");
  for (std::size_t i = 0; i < value->size(); ++i) {
    maps.emplace_back((*value)[i], fmt::format("{}.{}[{}]", where_, key, i + 1));
  }
  return maps;
}

std::optional<Settings> Settings::map(const char* key) {
  const nlohmann::json* value = raw(key);
  if (value == nullptr) return std::nullopt;
  return Settings(*value, fmt::format("{}.{}", where_, key));
}

void Settings::finish() const {
  for (const auto& [key, value] : map_->items()) {
    if (!asked_.contains(key)) {
      throw SettingsError(fmt::format("{} has the key '{}', which nobody knows here.", where_, key));
    }
  }
}

}  // namespace underwing
