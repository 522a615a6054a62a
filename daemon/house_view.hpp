#pragma once

#include <nlohmann/json.hpp>

#include "daemon/watch.hpp"

namespace underwing {

/// What a house shows to whoever asks how it is: changes nothing. Parts that are not known, or not watched, are left
/// out. Temperatures in °C, weights in g.
///
///     {"birds": {"alive", "lost_24_h", "daily_percent", "cumulative_percent"},
///      "air": {"value", "low", "high", "felt"},           the nearest limits on the level of the air, null: none
///      "humidity_percent", "gases": [{"gas", "value", "unit"}],
///      "water_today_l", "feed_today_kg", "water_to_feed",  since local midnight, or since the watch began
///      "weight": {"mean", "low", "high", "count", "left_out", "variation_percent", "uniformity_percent", "curve",
///                 "behind_h": {"middle", "low", "high"}, "times_placed", "scale_cut",
///                 "day_7": {"middle", "low", "high"}, "goal_day_7"},
///      "rounds_due": ["crop fill", ...], "next_round": {"what", "due_local"},
///      "danger": [{"if", "rule", "limit", "minutes", "at_local", "by", "taken"}]}
[[nodiscard]] nlohmann::json house_view(Watch& watch, std::size_t house);

}  // namespace underwing
