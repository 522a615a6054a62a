#pragma once

#include <string>
#include <vector>

#include "rules/model.hpp"

namespace underwing {

/// Most sentences about one subject (flocks, people, the farm, rules); the rest is counted: "and 12 more".
inline constexpr std::size_t kChangesMax = 12;

/// What differs between two rule sets, in words: "house-1: cold-air: low at day 3 was 29.0 °C, now 28.5 °C". First flocks, then
/// people, duty and call-out, then the farm, then rules, the urgent ones first. What is the same in several houses is one sentence.
/// A limit that follows from age and placement is shown at the flock's day at `wall` where it differs then, else on the first day
/// on which it does; one that moves with readings in words. Values stand in the units that the newer farm shows.
[[nodiscard]] std::vector<std::string> describe_changes(const RuleSet& older, const RuleSet& newer, Instant wall);

}  // namespace underwing
