#pragma once

#include <chrono>
#include <cstdint>
#include <string>

namespace underwing {

/// A span of time in whole milliseconds, the resolution of the engine, of tapes and of events.
using Duration = std::chrono::milliseconds;

/// A point in time, UTC, in milliseconds since 1970-01-01. Used for engine time and for wall time alike;
/// names say which ("engine time never runs back; wall time is what people read off a clock").
using Instant = std::chrono::sys_time<std::chrono::milliseconds>;

/// "2026-03-02T02:14:00.000Z" (RFC 3339, always UTC, always milliseconds).
[[nodiscard]] std::string to_rfc3339(Instant time);

/// The whole minute of UTC at or before `time`.
[[nodiscard]] inline Instant floor_minute(Instant time) {
  return std::chrono::floor<std::chrono::minutes>(time);
}

/// The whole minute of UTC at or after `time`.
[[nodiscard]] inline Instant ceil_minute(Instant time) {
  return std::chrono::ceil<std::chrono::minutes>(time);
}

[[nodiscard]] inline double hours_of(Duration span) {
  return static_cast<double>(span.count()) / 3'600'000.0;
}

[[nodiscard]] inline double seconds_of(Duration span) { return static_cast<double>(span.count()) / 1000.0; }

/// A time of day, since midnight: "05:30"; a whole day is "24:00".
[[nodiscard]] std::string clock_of(Duration time_of_day);

/// "5 min", "1 h 30 min", "45 s", "2 d"; "0 min" for none. For people, never parsed back.
[[nodiscard]] std::string to_words(Duration span);

}  // namespace underwing
