#pragma once

#include <nlohmann/json.hpp>

#include "daemon/watch.hpp"

namespace underwing {

/// Why a rule is or is not watching at this moment, for whoever asks: changes nothing. `rule` is an index
/// into RuleSet::rules.
///
///     {"house", "flock", "probe": null, "time_local", "age_h", "rule", "pack", "watching", "blind",
///     "standing",
///      "why": [sentences], "value", "unit", "limits": [{"side", "priority", "limit", "active"}],
///      "probes": [{"probe", "value", "unit", "age_s", "usable", "text"}], "code": null}
///
/// Values and limits are in the rule's unit; null is unknown.
[[nodiscard]] nlohmann::json explain_now(Watch& watch, std::size_t rule);

}  // namespace underwing
