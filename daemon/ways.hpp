#pragma once

#include <vector>

#include "rules/model.hpp"

namespace underwing {

/// The ways to reach people that a plugin carries: what its entry says, else what the bundled plugin of that
/// name does by itself (`sms`: text and call, `mail`: mail, `web-hook`: web-hook, `print`: all); else none.
[[nodiscard]] std::vector<Way> ways_of(const PluginEntry& plugin);

}  // namespace underwing
