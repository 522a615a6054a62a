#pragma once

#include <string>

#include "plugins/shared/settings.hpp"

namespace underwing {

/// The first line of the file that the setting `key` names; empty where the setting is missing. Throws
/// SettingsError where the file cannot be read, is no plain file, is empty, or gives any right to others than
/// its owner and group. That its group may read it is said on standard error, as a caution of `plugin`.
[[nodiscard]] std::string read_secret(Settings& settings, const char* key, const char* plugin);

}  // namespace underwing
