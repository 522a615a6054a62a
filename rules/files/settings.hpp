#pragma once

#include <string>

#include "rules/files/yaml_tree.hpp"

namespace underwing {

/// A tree as JSON: maps as objects, lists as arrays, scalars as strings just as they stand, nothing as null.
/// What a setting means is for the plugin to say.
[[nodiscard]] std::string settings_as_json(const YamlNode& node);

}  // namespace underwing
