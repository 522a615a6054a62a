#pragma once

#include <nlohmann/json.hpp>
#include <optional>
#include <set>
#include <stdexcept>
#include <string>
#include <string_view>
#include <vector>

namespace underwing {

/// A setting is wrong. The text is a whole sentence for the person who wrote the farm file.
class SettingsError : public std::runtime_error {
 public:
  using std::runtime_error::runtime_error;
};

/// One map of settings. Each getter notes its key; `finish` refuses keys that nobody asked for, because a
/// misspelt key would otherwise be a setting that silently does nothing. All getters throw SettingsError.
class Settings {
 public:
  /// `where` names the map in messages: "settings", "settings.read[2]". `map` must outlive this object.
  Settings(const nlohmann::json& map, std::string where);

  [[nodiscard]] bool has(const char* key);
  [[nodiscard]] std::string text(const char* key);  ///< must be there
  [[nodiscard]] std::string text(const char* key, std::string_view otherwise);
  [[nodiscard]] double number(const char* key, double otherwise, double lowest, double highest);
  [[nodiscard]] bool flag(const char* key, bool otherwise);
  /// Seconds, of "4 min".
  [[nodiscard]] double span(const char* key, double otherwise);
  /// The maps of a list; none where the key is missing.
  [[nodiscard]] std::vector<Settings> list(const char* key);
  [[nodiscard]] std::optional<Settings> map(const char* key);
  /// The value as it stands; nullptr where the key is missing.
  [[nodiscard]] const nlohmann::json* raw(const char* key);

  void finish() const;
  [[nodiscard]] const std::string& where() const { return where_; }
  [[noreturn]] void refuse(const char* key, const std::string& what) const;

 private:
  const nlohmann::json* map_;
  std::string where_;
  std::set<std::string> asked_;
};

}  // namespace underwing
