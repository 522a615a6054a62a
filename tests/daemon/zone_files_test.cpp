// Goal: the system's zone data arrives whole in the core's table. Method: dates from published tables.

#include "daemon/zone_files.hpp"

#include <gtest/gtest.h>

namespace underwing {
namespace {

using std::chrono::hours;
using std::chrono::seconds;
using std::chrono::sys_days;

Instant at(int year, unsigned month, unsigned day, int hour) {
  return sys_days(std::chrono::year(year) / static_cast<int>(month) / static_cast<int>(day)) + hours(hour);
}

TEST(ZoneFiles, LondonIn2026) {
  const auto zone = load_zone("Europe/London");
  ASSERT_TRUE(zone);
  EXPECT_EQ(zone->name, "Europe/London");
  // The clocks of the United Kingdom go forward on the last Sunday of March, and back on that of October.
  EXPECT_EQ(zone->offset_at(at(2026, 3, 29, 1) - Duration(1)), seconds(0));
  EXPECT_EQ(zone->offset_at(at(2026, 3, 29, 1)), seconds(3600));
  EXPECT_EQ(zone->offset_at(at(2026, 10, 25, 1) - Duration(1)), seconds(3600));
  EXPECT_EQ(zone->offset_at(at(2026, 10, 25, 1)), seconds(0));
}

TEST(ZoneFiles, ZonesOfOtherShapes) {
  EXPECT_EQ(load_zone("UTC")->offset_at(at(2026, 7, 1, 0)), seconds(0));
  EXPECT_EQ(load_zone("Asia/Kathmandu")->offset_at(at(2026, 7, 1, 0)), seconds(5 * 3600 + 45 * 60));
  EXPECT_EQ(load_zone("America/New_York")->offset_at(at(2026, 1, 1, 0)), seconds(-5 * 3600));
  EXPECT_EQ(load_zone("Africa/Casablanca")->offset_at(at(2026, 6, 1, 0)), seconds(3600));
}

TEST(ZoneFiles, SummerTimeGoesOnToTheEndOfTheTable) {
  const auto london = load_zone("Europe/London");
  const auto sydney = load_zone("Australia/Sydney");
  for (const int year : {2037, 2038, 2050, 2099}) {
    EXPECT_EQ(london->offset_at(at(year, 7, 1, 0)), seconds(3600)) << year;
    EXPECT_EQ(london->offset_at(at(year, 12, 1, 0)), seconds(0)) << year;
    EXPECT_EQ(sydney->offset_at(at(year, 7, 1, 0)), seconds(10 * 3600)) << year;
    EXPECT_EQ(sydney->offset_at(at(year, 12, 1, 0)), seconds(11 * 3600)) << year;
  }
  // Last Sunday of March 2050.
  EXPECT_EQ(london->offset_at(at(2050, 3, 27, 1) - Duration(1)), seconds(0));
  EXPECT_EQ(london->offset_at(at(2050, 3, 27, 1)), seconds(3600));
}

TEST(ZoneFiles, PeriodsAreInOrder) {
  const auto zone = load_zone("Europe/London");
  ASSERT_GT(zone->periods.size(), 100U);
  for (std::size_t i = 1; i < zone->periods.size(); ++i) EXPECT_LT(zone->periods[i - 1].begin, zone->periods[i].begin);
  EXPECT_LE(zone->periods.front().begin, at(1970, 1, 1, 0));
}

TEST(ZoneFiles, UnknownNames) {
  EXPECT_FALSE(load_zone("Europe/Lundon"));
  EXPECT_FALSE(load_zone(""));
  EXPECT_FALSE(load_zone("../../etc/passwd"));
}

TEST(ZoneFiles, SaysTheVersionOfItsData) {
  const std::string version = zone_data_version();
  ASSERT_GE(version.size(), 5U);
  EXPECT_EQ(version.substr(0, 2), "20");
  EXPECT_EQ(load_zone("Europe/London")->version, version);
}

}  // namespace
}  // namespace underwing
