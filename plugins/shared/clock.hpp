#pragma once

#include <optional>
#include <string>
#include <string_view>

namespace underwing {

/// Seconds since 1970 of an RFC 3339 time with its offset ("2026-03-02T02:14:00Z", "…+01:00"). A space may
/// stand for the `T`. nullopt: no such time.
[[nodiscard]] std::optional<double> read_rfc3339(std::string_view text);

/// Seconds of a span such as "4 min", "30 s", "500 ms", "2 h", "1 d". nullopt: no such span.
[[nodiscard]] std::optional<double> read_span(std::string_view text);

/// "2026-03-02T02:14:00Z", UTC; parts of a second are cut off.
[[nodiscard]] std::string write_rfc3339(double seconds);

/// The wall clock, seconds since 1970.
[[nodiscard]] double wall_seconds();

}  // namespace underwing
