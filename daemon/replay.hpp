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
  std::optional<Duration> answer_after;  ///< whoever is told first answers every alarm after this; none: nobody ever answers
};

struct Replayed {
  std::uint64_t readings = 0;
  std::uint64_t not_understood = 0;
  std::vector<std::string> losses;  ///< what could not be read of the tapes, as sentences
  Instant begin{}, end{};
};

/// Runs tapes through a watch, in the order given; `sink` hears every effect in order. Every delivery counts as
/// sent at once. Ends at the last line's time.
[[nodiscard]] Result<Replayed> replay(std::shared_ptr<const RuleSet> rules, const std::vector<std::filesystem::path>& tapes,
                                      const ReplayOptions& options, const std::function<void(const Effect&)>& sink);

}  // namespace underwing
