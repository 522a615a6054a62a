#include "daemon/zone_files.hpp"

#include <exception>
#include <fstream>
#include <string_view>

#include <date/tz.h>

namespace underwing {
namespace {

constexpr std::string_view kZoneFolder = "/usr/share/zoneinfo";

date::sys_seconds new_year(int year) { return date::sys_days(date::year(year) / date::January / 1); }

Instant to_instant(date::sys_seconds time) { return Instant(time.time_since_epoch()); }

}  // namespace

std::string zone_data_version() {
  std::ifstream file(std::string(kZoneFolder) + "/tzdata.zi");
  constexpr std::string_view kMark = "# version ";
  std::string line;
  std::getline(file, line);
  return line.starts_with(kMark) ? line.substr(kMark.size()) : std::string();
}

std::optional<Zone> load_zone(const std::string& name) try {
  const date::time_zone* source = date::locate_zone(name);
  Zone zone;
  zone.name = name;
  zone.version = zone_data_version();
  for (date::sys_seconds time = new_year(1970); time < new_year(2100);) {
    const date::sys_info info = source->get_info(time);
    zone.periods.push_back({to_instant(info.begin), info.offset, info.abbrev});
    if (info.end <= time) break;
    time = info.end;
  }
  return zone;
} catch (const std::exception&) {
  return std::nullopt;
}

}  // namespace underwing
