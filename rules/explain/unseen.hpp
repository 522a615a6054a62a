#pragma once

#include <optional>
#include <string>
#include <utility>
#include <vector>

#include "rules/model.hpp"

/// What the watch will not see although everything is in order.
namespace underwing {

/// Ages of a flock, from placement on, at which no rule in force holds measures against anything.
struct UnseenAges {
  std::size_t flock = 0;              ///< index into RuleSet::flocks
  std::vector<std::size_t> measures;  ///< with the same gaps; that have probes in the house
  std::vector<std::pair<Duration, std::optional<Duration>>> gaps;  ///< from, until; none: to the end
};

/// Measures that some rule of the flock or of the farm watches, but not at every age at which the birds are
/// there. In the order of flock and measure. What `only_if` holds back counts as watched.
[[nodiscard]] std::vector<UnseenAges> unseen_ages(const RuleSet& rules);

/// "water and feed before 7 d; bird weight before 4 d and from 35 d" for one flock; empty: nothing is unseen.
[[nodiscard]] std::string unseen_in_words(const RuleSet& rules, std::size_t flock);

/// Without which 'check' cannot say whether people come in time once the fans, or the heaters, of a house stand: keys that
/// farm.yaml lacks, "volume" for heat, "time_constant" and "outside" for cold, and "away" where nobody has it. Empty where it
/// can, and for a house without a flock or without probes of air temperature.
[[nodiscard]] std::vector<std::string> lacking_for_time_left(const RuleSet& rules, std::size_t house);
/// The same in words: "whether people come in time when its fans stop: no 'volume' is given"; empty where nothing lacks.
[[nodiscard]] std::string time_left_unseen_in_words(const RuleSet& rules, std::size_t house);

}  // namespace underwing
