// Goal: local times map to UTC and back, with the times that clocks skip and repeat.
// Method: tables of transitions built by hand.

#include "rules/base/zone.hpp"

#include <gtest/gtest.h>

#include "tests/files/support.hpp"

namespace underwing {
namespace {

using testing::at_utc;
using testing::london_2026;

LocalTime local(int year, unsigned month, unsigned day, int hour, int minute = 0) {
  return LocalTime{at_utc(year, month, day, hour, minute)};
}

TEST(Zones, MapLocalTimes) {
  const Zone zone = london_2026();
  const auto winter = zone.to_utc(local(2026, 3, 2, 9, 30));
  EXPECT_EQ(winter.mapping, Zone::Mapping::unique);
  EXPECT_EQ(winter.first, at_utc(2026, 3, 2, 9, 30));
  const auto summer = zone.to_utc(local(2026, 7, 1, 9, 30));
  EXPECT_EQ(summer.mapping, Zone::Mapping::unique);
  EXPECT_EQ(summer.first, at_utc(2026, 7, 1, 8, 30));
}

TEST(Zones, KnowSkippedTimes) {
  const Zone zone = london_2026();
  EXPECT_EQ(zone.to_utc(local(2026, 3, 29, 0, 59)).mapping, Zone::Mapping::unique);
  const auto skipped = zone.to_utc(local(2026, 3, 29, 1, 30));
  EXPECT_EQ(skipped.mapping, Zone::Mapping::skipped);
  EXPECT_EQ(skipped.first, at_utc(2026, 3, 29, 1));
  EXPECT_EQ(zone.to_utc(local(2026, 3, 29, 1, 0)).mapping, Zone::Mapping::skipped);
  EXPECT_EQ(zone.to_utc(local(2026, 3, 29, 2, 0)).first, at_utc(2026, 3, 29, 1));
}

TEST(Zones, KnowRepeatedTimes) {
  const Zone zone = london_2026();
  const auto repeated = zone.to_utc(local(2026, 10, 25, 1, 30));
  EXPECT_EQ(repeated.mapping, Zone::Mapping::repeated);
  EXPECT_EQ(repeated.first, at_utc(2026, 10, 25, 0, 30));
  EXPECT_EQ(repeated.second, at_utc(2026, 10, 25, 1, 30));
  EXPECT_EQ(zone.to_utc(local(2026, 10, 25, 2, 0)).mapping, Zone::Mapping::unique);
}

TEST(Zones, GoThereAndBack) {
  const Zone zone = london_2026();
  for (Instant time = at_utc(2026, 3, 28, 0); time < at_utc(2026, 10, 27, 0);
       time += std::chrono::minutes(30)) {
    const auto resolved = zone.to_utc(zone.to_local(time));
    EXPECT_NE(resolved.mapping, Zone::Mapping::skipped);
    EXPECT_TRUE(resolved.first == time || resolved.second == time);
  }
}

TEST(Zones, FindTheNextTimeOfDay) {
  using namespace std::chrono_literals;
  const Zone zone = london_2026();
  EXPECT_EQ(zone.next_time_of_day(at_utc(2026, 3, 2, 6, 30), 6h + 30min), at_utc(2026, 3, 2, 6, 30));
  EXPECT_EQ(zone.next_time_of_day(at_utc(2026, 3, 2, 6, 31), 6h + 30min), at_utc(2026, 3, 3, 6, 30));
  EXPECT_EQ(zone.next_time_of_day(at_utc(2026, 6, 1, 22, 0), 0h), at_utc(2026, 6, 1, 23, 0));
  // Skipped: the next instant that exists. Repeated: the first.
  EXPECT_EQ(zone.next_time_of_day(at_utc(2026, 3, 28, 12, 0), 1h + 30min), at_utc(2026, 3, 29, 1, 0));
  EXPECT_EQ(zone.next_time_of_day(at_utc(2026, 10, 24, 12, 0), 1h + 30min), at_utc(2026, 10, 25, 0, 30));
}

TEST(Zones, WithoutATableAreUtc) {
  const Zone zone;
  EXPECT_EQ(zone.to_utc(local(2026, 3, 29, 1, 30)).first, at_utc(2026, 3, 29, 1, 30));
  EXPECT_EQ(zone.offset_at(at_utc(2026, 3, 29, 1)).count(), 0);
}

}  // namespace
}  // namespace underwing
