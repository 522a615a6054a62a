#pragma once

#include <string>
#include <vector>

#include "rules/model.hpp"

namespace underwing {

/// What differs between two rule sets, in words: "house-1: cold-air: low at day 3 was 29.0 C, now 28.5 C".
/// Limits are compared where they depend on the flock's age alone, at whole days from placement to day 42.
[[nodiscard]] std::vector<std::string> describe_changes(const RuleSet& older, const RuleSet& newer);

}  // namespace underwing
