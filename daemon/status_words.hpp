#pragma once

#include <nlohmann/json.hpp>
#include <string>

namespace underwing {

/// Columns of a telephone's terminal held upright.
inline constexpr std::size_t kStatusColumns = 44;

/// What the control socket answers to "status", in plain words, in lines of at most kStatusColumns characters (a single
/// longer word stands alone in its line).
[[nodiscard]] std::string status_in_words(const nlohmann::json& status);

/// Alarms as "status" and "alarms" list them, in the same lines; "No alarms." where there are none.
[[nodiscard]] std::string alarms_in_words(const nlohmann::json& alarms);

}  // namespace underwing
