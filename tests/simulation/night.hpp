#pragma once

#include <cstdint>
#include <string>
#include <vector>

#include "tests/simulation/promises.hpp"

namespace underwing {

struct NightResult {
  std::vector<std::string> broken;  ///< promises, as sentences
  Promises::Counts counts;
};

/// One made-up night from a seed: two houses with heaters that fail, probes that fall silent and jump, people
/// who answer late, wrongly or never, channels that fail, a clock that jumps, rules that are changed, and power cuts.
[[nodiscard]] NightResult simulate_night(std::uint64_t seed);

}  // namespace underwing
