// Goal: duty is judged on the farm's own clock, over midnight and over both changes of the clocks. Method: a
// table of shifts, times and who has duty, in Europe/London 2026 (clocks change on 29 March and 25 October at
// 01:00 UTC).

#include "daemon/duty.hpp"

#include <gtest/gtest.h>

#include "tests/watch/bench.hpp"

namespace underwing {
namespace {

using namespace std::chrono_literals;

constexpr std::uint8_t kWeekdays = 0x1f, kSaturday = 0x20, kSunday = 0x40, kAll = 0x7f;

Farm farm_with(std::vector<DutyShift> duty) {
  Farm farm;
  farm.zone = *bench_zone("Europe/London");
  farm.people = {{"ines", {{Way::text, "+44 7700 900101"}, {Way::mail, "Ines@Example.org"}}, {}},
                 {"tomas", {{Way::text, "+44 7700 900102"}}, {}}};
  farm.duty = std::move(duty);
  return farm;
}

Instant utc(unsigned month, unsigned day, int hour, int minute = 0) {
  return std::chrono::sys_days(std::chrono::year(2026) / std::chrono::month(month) / std::chrono::day(day)) +
         std::chrono::hours(hour) + std::chrono::minutes(minute);
}

struct Row {
  const char* what;
  DutyShift shift;
  Instant time;
  bool has;
};

const Row kRows[] = {
    {"all day on its days", {"ines", kWeekdays, true, {}, {}}, utc(3, 3, 12), true},
    {"not on others", {"ines", kWeekdays, true, {}, {}}, utc(3, 7, 12), false},
    {"a day ends at local midnight", {"ines", kSaturday, true, {}, {}}, utc(3, 7, 23, 59), true},
    {"and the next begins", {"ines", kSaturday, true, {}, {}}, utc(3, 8, 0), false},
    {"in summer that is an hour earlier by UTC", {"ines", kSaturday, true, {}, {}}, utc(7, 3, 23), true},
    {"within the day, begin included", {"ines", kAll, false, 8h, 20h}, utc(3, 3, 8), true},
    {"before it", {"ines", kAll, false, 8h, 20h}, utc(3, 3, 7, 59), false},
    {"its end not included", {"ines", kAll, false, 8h, 20h}, utc(3, 3, 20), false},
    {"over midnight, before it", {"ines", kWeekdays, false, 20h, 8h}, utc(3, 6, 23), true},
    {"over midnight, after it: Friday's shift on Saturday",
     {"ines", kWeekdays, false, 20h, 8h},
     utc(3, 7, 7, 59),
     true},
    {"and no longer", {"ines", kWeekdays, false, 20h, 8h}, utc(3, 7, 8), false},
    {"no shift begins on Saturday", {"ines", kWeekdays, false, 20h, 8h}, utc(3, 7, 23), false},
    {"Monday's early hours are Sunday's shift", {"ines", kWeekdays, false, 20h, 8h}, utc(3, 2, 3), false},
    {"and Sunday's has them", {"ines", kSunday, false, 20h, 8h}, utc(3, 2, 3), true},
    {"from and to alike: a day and a night", {"ines", kSaturday, false, 8h, 8h}, utc(3, 8, 7, 59), true},
    {"no more", {"ines", kSaturday, false, 8h, 8h}, utc(3, 8, 8), false},
    // The night to 29 March has 11 hours between 20:00 and 08:00.
    {"spring: the hour before the jump", {"ines", kSaturday, false, 20h, 2h}, utc(3, 29, 0, 59), true},
    {"spring: 01:00 UTC reads 02:00", {"ines", kSaturday, false, 20h, 2h}, utc(3, 29, 1), false},
    {"spring: 06:59 UTC reads 07:59", {"ines", kSaturday, false, 20h, 8h}, utc(3, 29, 6, 59), true},
    {"spring: 07:00 UTC reads 08:00", {"ines", kSaturday, false, 20h, 8h}, utc(3, 29, 7), false},
    // The night to 25 October has 13.
    {"autumn: 01:30 the first time", {"ines", kSaturday, false, 20h, 2h}, utc(10, 25, 0, 30), true},
    {"autumn: 01:30 the second time", {"ines", kSaturday, false, 20h, 2h}, utc(10, 25, 1, 30), true},
    {"autumn: 02:00 UTC reads 02:00", {"ines", kSaturday, false, 20h, 2h}, utc(10, 25, 2), false},
    {"autumn: 07:59 UTC reads 07:59", {"ines", kSaturday, false, 20h, 8h}, utc(10, 25, 7, 59), true},
};

TEST(Duty, FollowsTheLocalClock) {
  for (const Row& row : kRows) {
    const Farm farm = farm_with({row.shift});
    EXPECT_EQ(on_duty(farm, row.time).has_value(), row.has) << row.what;
  }
}

TEST(Duty, TheFirstLineThatFitsHasIt) {
  const Farm farm = farm_with({{"ines", kWeekdays, false, 20h, 8h}, {"tomas", kAll, true, {}, {}}});
  EXPECT_EQ(on_duty(farm, utc(3, 3, 21)), "ines");
  EXPECT_EQ(on_duty(farm, utc(3, 3, 12)), "tomas");
}

TEST(Duty, AStepNamesEachPersonOnce) {
  const Farm farm = farm_with({{"tomas", kAll, true, {}, {}}});
  using Names = std::vector<std::string>;
  EXPECT_EQ(people_of(farm, {"on-duty"}, utc(3, 3, 12)), Names{"tomas"});
  EXPECT_EQ(people_of(farm, {"on-duty", "ines", "tomas"}, utc(3, 3, 12)), (Names{"tomas", "ines"}));
  EXPECT_EQ(people_of(farm, {"everyone"}, utc(3, 3, 12)), (Names{"ines", "tomas"}));
  EXPECT_EQ(people_of(farm_with({}), {"on-duty"}, utc(3, 3, 12)), (Names{"ines", "tomas"}));
}

TEST(Duty, PeopleAreFoundByTheirNumbers) {
  const Farm farm = farm_with({});
  for (const char* number : {"+44 7700 900102", "+447700900102", "+44-7700-900102", "+44 (7700) 900102"}) {
    ASSERT_NE(person_at(farm, number), nullptr) << number;
    EXPECT_EQ(person_at(farm, number)->name, "tomas");
  }
  ASSERT_NE(person_at(farm, "ines@example.org"), nullptr);
  EXPECT_EQ(person_at(farm, "+44 7700 900103"), nullptr);
  EXPECT_EQ(person_at(farm, "900102"), nullptr);
  EXPECT_EQ(person_at(farm, ""), nullptr);
}

TEST(Duty, HoursMayGoOverMidnight) {
  const Zone zone = *bench_zone("Europe/London");
  EXPECT_TRUE(within_hours(zone, utc(3, 3, 5, 30), {5h + 30min, 21h + 30min}));
  EXPECT_FALSE(within_hours(zone, utc(3, 3, 21, 30), {5h + 30min, 21h + 30min}));
  EXPECT_TRUE(within_hours(zone, utc(3, 3, 23), {22h, 4h}));
  EXPECT_TRUE(within_hours(zone, utc(3, 3, 3, 59), {22h, 4h}));
  EXPECT_FALSE(within_hours(zone, utc(3, 3, 4), {22h, 4h}));
  EXPECT_TRUE(within_hours(zone, utc(7, 3, 4, 30), {5h + 30min, 21h + 30min}));  // 05:30 in summer
}

}  // namespace
}  // namespace underwing
