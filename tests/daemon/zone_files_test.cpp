// Goal: the system's zone data arrives whole in the core's table. Method: dates from published tables.

#include "daemon/zone_files.hpp"

#include <cstdlib>
#include <ctime>

#include <gtest/gtest.h>

#include "daemon/zone_rule.hpp"

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

TEST(ZoneFiles, AgreesWithTheSystemsOwnLibrary) {
  for (const char* name : {"Europe/London", "Europe/Dublin", "America/Sao_Paulo", "America/Nuuk", "Asia/Jerusalem",
                           "Australia/Lord_Howe", "Africa/Casablanca", "Pacific/Apia"}) {
    const auto zone = load_zone(name);
    ASSERT_TRUE(zone) << name;
    ::setenv("TZ", name, 1);
    ::tzset();
    // Steps of 61 h and a bit, so that every hour of a day and every change is met in some year.
    for (std::time_t time = 0; time < 4'102'000'000; time += 61 * 3600 + 571) {
      std::tm local{};
      ::localtime_r(&time, &local);
      ASSERT_EQ(zone->offset_at(Instant(seconds(time))).count(), local.tm_gmtoff) << name << " " << time;
    }
  }
  ::unsetenv("TZ");
  ::tzset();
}

TEST(ZoneFiles, PeriodsAreInOrder) {
  const auto zone = load_zone("Europe/London");
  ASSERT_GT(zone->periods.size(), 100U);
  for (std::size_t i = 1; i < zone->periods.size(); ++i) EXPECT_LT(zone->periods[i - 1].begin, zone->periods[i].begin);
  EXPECT_LE(zone->periods.front().begin, at(1970, 1, 1, 0));
}

TEST(ZoneFiles, ARuleOfAnotherFormGivesNothing) {
  EXPECT_EQ(periods_of_rule("GMT0BST,M3.5.0/1,M10.5.0", 2050, 2051).size(), 4U);
  for (const char* rule : {"", "UTC0", "<+0545>-5:45", "GMT0BST", "GMT0BST,J60,J300", "GMT0BST,M3.5.0/1",
                           "GMT0BST,M13.5.0,M10.5.0", "GMT0BST,M3.6.0,M10.5.0", "GMT0BST,M3.5.0/1,M10.5.0,"}) {
    EXPECT_TRUE(periods_of_rule(rule, 2050, 2051).empty()) << rule;
  }
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
