#pragma once

#include <fstream>
#include <optional>
#include <sstream>
#include <string>

#include "rules/base/zone.hpp"

/// Zone tables built by hand, after the European Union's directive 2000/84/EC: summer time begins and ends at
/// 01:00 UTC on the last Sundays of March and October.
namespace underwing::testing {

inline Instant at_utc(int year, unsigned month, unsigned day, int hour, int minute = 0) {
  const std::chrono::year_month_day date{std::chrono::year(year), std::chrono::month(month),
                                         std::chrono::day(day)};
  return std::chrono::sys_days(date) + std::chrono::hours(hour) + std::chrono::minutes(minute);
}

inline Zone london_2026() {
  Zone zone;
  zone.name = "Europe/London";
  zone.periods = {{at_utc(1970, 1, 1, 0), std::chrono::hours(0), "GMT"},
                  {at_utc(2026, 3, 29, 1), std::chrono::hours(1), "BST"},
                  {at_utc(2026, 10, 25, 1), std::chrono::hours(0), "GMT"}};
  return zone;
}

inline std::optional<Zone> zone_named(const std::string& name) {
  if (name == "Europe/London") return london_2026();
  if (name == "UTC") return Zone{};
  return std::nullopt;
}

inline std::string whole_file(const std::string& path) {
  std::ifstream file(path, std::ios::binary);
  std::stringstream text;
  text << file.rdbuf();
  return text.str();
}

}  // namespace underwing::testing
