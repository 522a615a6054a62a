#pragma once

#include <vector>

#include "rules/model.hpp"

namespace underwing {

/// The measures that every farm has, sorted by name. Packs may change single keys of them.
[[nodiscard]] std::vector<Measure> built_in_measures();

/// How long a reading of this kind holds where nothing else is said: gauges 5 min, counters 2 h, states 24 h,
/// samples and tallies 24 h, rounds 36 h (a daily round and half a day's grace).
[[nodiscard]] Duration default_stale_after(MeasureKind kind);

/// Names of the plugins that come with Underwing.
[[nodiscard]] const std::vector<std::string>& bundled_plugins();

}  // namespace underwing
