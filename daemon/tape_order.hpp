#pragma once

#include <filesystem>
#include <optional>
#include <vector>

#include "rules/base/time.hpp"

namespace underwing {

struct OrderedTape {
  std::filesystem::path path;
  std::optional<Instant> begin{};  ///< the first time that stands on it; none: it says none, or was not looked at
};

/// Tapes in the order in which their times begin, since the watch takes readings in no other. A tape that says no time stays
/// behind the one that it was named after: its lines count from there. One tape alone is not opened, nor is what can be read only once (a
/// pipe), nor what cannot be opened: whoever plays it says so.
[[nodiscard]] std::vector<OrderedTape> in_order_of_time(const std::vector<std::filesystem::path>& tapes);

}  // namespace underwing
