#pragma once

#include <nlohmann/json_fwd.hpp>
#include <optional>
#include <string>

#include "daemon/watch.hpp"

namespace underwing {

/// What a plugin says of itself.
struct PluginHealth {
  bool ok = false;
  std::string text;
};

/// Gives a plugin's notification to the watch: `receipt` and `reply` change it, `health` comes back. Anything may
/// stand in `params`; what does not make sense changes nothing. `may_name`: the plugin's replies may come from a person's
/// name, not only from a number or an address. Keys of replies are the plugin's own.
std::optional<PluginHealth> take_message(Watch& watch, const std::string& plugin, const std::string& method, const nlohmann::json& params,
                                         Watch::MayName may_name);

}  // namespace underwing
