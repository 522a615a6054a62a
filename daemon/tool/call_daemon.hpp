#pragma once

#include <nlohmann/json_fwd.hpp>
#include <string>

#include "daemon/tool/tool.hpp"

/// What all commands share that talk to the daemon.
namespace underwing::tool {

/// Asks the daemon. Returns the exit status; what went wrong has been printed.
[[nodiscard]] int call_daemon(const Common& common, const std::string& method, const nlohmann::json& params, nlohmann::json& answer);

/// The user of this terminal, where a command does not say who speaks.
[[nodiscard]] std::string user_here();

}  // namespace underwing::tool
