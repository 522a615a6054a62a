#pragma once

#include <nlohmann/json.hpp>

#include "daemon/watch.hpp"

namespace underwing {

/// At most so many houses are plotted, those that stand first in the farm file, and one plot takes at most 6 KB of
/// JSON: all of them a sixth of what a line of the plugins' protocol may hold.
inline constexpr std::size_t kPlotsMax = 24;

/// What a mail needs to draw the air of each house with a flock over that stretch: `plots` of `deliver`, as
/// plugins/README.md describes it. A pure function of what the watch has kept: a message that is sent again after a
/// restart gets the same, less what the watch did not see. Empty where the stretch is too short to show anything.
[[nodiscard]] nlohmann::json plots(const Watch& watch, const Stretch& stretch, const Language& language);

}  // namespace underwing
