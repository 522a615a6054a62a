#include "daemon/zone_files.hpp"

#include <exception>
#include <filesystem>
#include <fstream>
#include <string_view>

#include <date/tz.h>

#include "daemon/file_io.hpp"
#include "daemon/zone_rule.hpp"

namespace underwing {
namespace {

constexpr std::string_view kZoneFolder = "/usr/share/zoneinfo";
constexpr int kYearBegin = 1970;
constexpr int kTableYear = 2037;  ///< the last one that the tables of zone files cover
constexpr int kYearEnd = 2100;

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

namespace {

/// The rule at the end of a zone's file (RFC 9636 section 3.3), for the years after its table ends:
/// "GMT0BST,M3.5.0/1,M10.5.0". Empty where there is none.
std::string rule_of_later_years(const std::string& name) {
  const auto file = read_file(std::filesystem::path(kZoneFolder) / name);
  if (!file || !file->ends_with('\n')) return {};
  const std::string_view text = std::string_view(*file).substr(0, file->size() - 1);
  const std::size_t newline = text.rfind('\n');
  return newline == std::string_view::npos ? std::string() : std::string(text.substr(newline + 1));
}

}  // namespace

std::optional<Zone> load_zone(const std::string& name) try {
  const date::time_zone* source = date::locate_zone(name);
  Zone zone;
  zone.name = name;
  zone.version = zone_data_version();
  for (date::sys_seconds time = new_year(kYearBegin); time < new_year(kYearEnd);) {
    const date::sys_info info = source->get_info(time);
    zone.periods.push_back({to_instant(info.begin), info.offset, info.abbrev});
    if (info.end <= time) break;
    time = info.end;
  }
  // The tables of zone files end in 2037, and the date library takes their last line for ever.
  const Instant table_end = zone.periods.back().begin;
  for (auto& period : periods_of_rule(rule_of_later_years(name), kTableYear, kYearEnd - 1)) {
    if (period.begin > table_end) zone.periods.push_back(std::move(period));
  }
  return zone;
} catch (const std::exception&) {
  return std::nullopt;
}

}  // namespace underwing
