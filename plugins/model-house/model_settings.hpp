#pragma once

#include <nlohmann/json.hpp>
#include <string>

#include "plugins/model-house/farm_model.hpp"
#include "plugins/shared/settings.hpp"

namespace underwing {

/// Reads the model's settings (plugins/README.md lists them). Times of day and dates without an offset are
/// UTC. `start_s` is where spans in `at` and `until` count from. Throws SettingsError.
[[nodiscard]] Setup read_setup(Settings& settings, double start_s);

/// A YAML file as JSON: a plain scalar that is exactly a JSON number, true or false becomes that, any other
/// a text, as the daemon does it. Throws SettingsError.
[[nodiscard]] nlohmann::json read_yaml_file(const std::string& path);

/// "2026-03-02 20:30", "2026-03-02T20:30:00Z", "…+01:00" as seconds since 1970.
[[nodiscard]] std::optional<double> read_moment(const std::string& text);

}  // namespace underwing
