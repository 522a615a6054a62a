#pragma once

#include <vector>

#include "rules/model.hpp"

namespace underwing {

/// The ways to reach people that a plugin carries: what its entry says, else what the bundled plugin of that
/// name does by itself (`sms`: text and call, `mail`: mail, `web-hook`: web-hook, `print`: all); else none.
[[nodiscard]] std::vector<Way> ways_of(const PluginEntry& plugin);

/// Whether replies of this plugin may come from a person's name: `mqtt`, whose broker asks for passwords, and `print`,
/// at which somebody sits. A text or a mail counts by its number or address alone.
[[nodiscard]] bool may_name_people(const PluginEntry& plugin);

}  // namespace underwing
