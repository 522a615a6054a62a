#pragma once

#include <optional>
#include <string>
#include <utility>
#include <variant>
#include <vector>

#include "rules/base/time.hpp"

namespace underwing {

/// A local wall-clock reading, without a zone, counted as if it were UTC.
struct LocalTime {
  Instant as_if_utc{};
  friend auto operator<=>(const LocalTime&, const LocalTime&) = default;
};

/// One time zone as a table of transitions, handed in by whoever may read files (the daemon reads the
/// system's zone data). The core itself knows no zone.
struct Zone {
  struct Period {
    Instant begin{};                 ///< UTC instant from which `offset` holds; the first one is far in the past.
    std::chrono::seconds offset{0};  ///< local minus UTC
    std::string abbreviation;
  };
  std::string name = "UTC";
  std::string version;          ///< of the zone data, for example "2025b"; empty where unknown
  std::vector<Period> periods;  ///< sorted by `begin`; empty: UTC

  [[nodiscard]] std::chrono::seconds offset_at(Instant utc) const;
  [[nodiscard]] LocalTime to_local(Instant utc) const;

  /// How a local time maps to UTC. `skipped`: the clocks jump over it; `repeated`: it happens twice.
  enum class Mapping { unique, skipped, repeated };
  struct Resolved {
    Mapping mapping = Mapping::unique;
    Instant first{};   ///< the instant (of `repeated`: the earlier; of `skipped`: the instant of the jump)
    Instant second{};  ///< of `repeated`: the later; else the same as `first`
  };
  [[nodiscard]] Resolved to_utc(LocalTime local) const;

  /// The next instant at or after `from` (UTC) at which the local clock shows `time_of_day` (since local
  /// midnight). A time of day that clocks skip that day falls on the next instant that exists; one that
  /// they repeat counts the first time.
  [[nodiscard]] Instant next_time_of_day(Instant from, Duration time_of_day) const;
};

}  // namespace underwing
