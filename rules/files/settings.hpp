#pragma once

#include <string>

#include "rules/files/yaml_tree.hpp"

namespace underwing {

/// A tree as JSON: maps as objects, lists as arrays, nothing as null. A plain scalar that is exactly a JSON number,
/// `true` or `false` is that; any other is a string just as it stands. What a setting means is for the plugin to say.
[[nodiscard]] std::string settings_as_json(const YamlNode& node);

}  // namespace underwing
