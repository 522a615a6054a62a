#pragma once

#include <filesystem>
#include <functional>
#include <memory>
#include <optional>
#include <string>
#include <vector>

#include "daemon/watch.hpp"
#include "rules/base/result.hpp"

namespace underwing {

struct ReplayOptions {
  std::optional<Duration> answer_after;  ///< whoever is told first says OK so long after it, each time that an answer is wanted, and HERE
                                         ///< after their `away`; none: nobody ever answers
};

struct Replayed {
  std::uint64_t readings = 0;              ///< that counted
  std::uint64_t not_understood = 0;
  std::uint64_t not_understood_first = 0;  ///< the number of the first such line, from 1 over all tapes
  std::uint64_t unknown = 0;               ///< readings of probes that the farm does not name, or in units that do not fit
  std::uint64_t unknown_names = 0;         ///< of how many probes
  std::string unknown_example;             ///< one of them, and why: "barn/air_temperature/north: the farm names no such probe"
  std::uint64_t late = 0;                  ///< readings that are older than one of their probe that was there before
  std::string late_first;                  ///< of which probe the first of them is
  Instant late_first_time{};
  /// Two tapes of which one begins before the other ends: from then on it is too late, all of it up to that end.
  struct Overlap {
    std::string earlier, later;            ///< as they were named
    Instant begin{}, end{};                ///< of the later, of the earlier
  };
  std::vector<Overlap> overlaps;
  std::vector<std::string> losses;  ///< what could not be read of the tapes, as sentences
  Instant begin{}, end{};           ///< both zero where nothing was read
};

/// Runs tapes through a watch, in the order in which their times begin; `sink` hears every effect in order. Every delivery counts as
/// sent at once. Ends at the last line's time.
[[nodiscard]] Result<Replayed> replay(std::shared_ptr<const RuleSet> rules, const std::vector<std::filesystem::path>& tapes,
                                      const ReplayOptions& options, const std::function<void(const Effect&)>& sink);

}  // namespace underwing
