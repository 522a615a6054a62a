#pragma once

#include <optional>
#include <string_view>
#include <vector>

#include "rules/engine/engine.hpp"
#include "rules/trade/growth.hpp"

/// What is known of a flock now, from what was weighed and entered. `flock` is an index into RuleSet::flocks.
namespace underwing {

/// Losses by the days of the flock, of 24 h from placement on.
struct Losses {
  double alive = 0;            ///< placed, less dead and culled
  double last_24_h = 0;        ///< birds
  double daily_percent = 0;    ///< of those present 24 h ago
  double cumulative_percent = 0;  ///< 2007/43/EC, see rules/trade/flock.hpp
};
[[nodiscard]] Losses losses_of(const Engine& engine, std::size_t flock);

/// What the house's scales say: weighings of the last 24 h. nullopt: too few, or no curve to hold them against.
[[nodiscard]] std::optional<growth::Estimate> weight_of(const Engine& engine, std::size_t flock);

/// The mean weight to reckon with: the scale's, else the curve's at this age. nullopt: neither.
struct LiveWeight {
  double weight_g = 0;
  bool weighed = false;
};
[[nodiscard]] std::optional<LiveWeight> live_weight(const Engine& engine, std::size_t flock);

/// The probes of a measure in a house; none where the farm has no such measure.
[[nodiscard]] const std::vector<std::size_t>& probes_of(const RuleSet& rules, std::size_t house, std::string_view measure);

/// Held values of the usable probes of a measure in a house, in the measure's canonical unit.
[[nodiscard]] std::vector<double> held_values(const Engine& engine, std::size_t house, const char* measure);

/// The middle of these; unknown where there are none.
[[nodiscard]] double middle_held(const Engine& engine, std::size_t house, const char* measure);

/// Whether people are to look for what this probe's round is about: at the ages at which a rule of the flock reads it; a round
/// that no rule reads, always. `wall`: now.
[[nodiscard]] bool asked_for(const Engine& engine, std::size_t probe, Instant wall);

}  // namespace underwing
