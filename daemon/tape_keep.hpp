#pragma once

#include <cstdint>
#include <filesystem>

#include "rules/base/time.hpp"

namespace underwing {

/// How long tapes are kept.
struct TapeKeep {
  Duration age = std::chrono::days(400);      ///< a year, and some to compare it with the one before
  std::uint64_t bytes = 4'000'000'000;        ///< of all tapes together
};

/// What was let go of.
struct TapesForgotten {
  std::size_t count = 0;
  std::uint64_t bytes = 0;
  bool over_size = false;                     ///< more is left than wanted: what is needed is not let go of
};

/// Removes tapes of `folder`, the oldest first: those older than `keep.age`, then as many as it takes to hold `keep.bytes`. Tapes from
/// `needed_from` on stay whatever their size: what a restart takes back, and the open hour.
[[nodiscard]] TapesForgotten forget_tapes(const std::filesystem::path& folder, const TapeKeep& keep, Instant now, Instant needed_from);

}  // namespace underwing
