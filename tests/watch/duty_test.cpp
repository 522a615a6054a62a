// Goal: duty is judged on the farm's own clock, over midnight and over both changes of the clocks. Method: a
// table of shifts, times and who has duty, in Europe/London 2026 (clocks change on 29 March and 25 October at
// 01:00 UTC).

#include "daemon/duty.hpp"

#include <gtest/gtest.h>

#include <nlohmann/json.hpp>

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
    // What begins in the hour that is skipped begins when that is over, and is never left out.
    {"spring: not before the jump", {"ines", kSunday, false, 1h + 30min, 5h}, utc(3, 29, 0, 59), false},
    {"spring: at the jump", {"ines", kSunday, false, 1h + 30min, 5h}, utc(3, 29, 1), true},
    {"spring: and it ends by the clock", {"ines", kSunday, false, 1h + 30min, 5h}, utc(3, 29, 4), false},
    {"spring: all of it skipped, so it keeps its length", {"ines", kSunday, false, 1h + 15min, 1h + 45min}, utc(3, 29, 1, 29), true},
    {"spring: and no more", {"ines", kSunday, false, 1h + 15min, 1h + 45min}, utc(3, 29, 1, 30), false},
    {"spring: what ends in it ends at the jump", {"ines", kSaturday, false, 20h, 1h + 30min}, utc(3, 29, 1), false},
    // The night to 25 October has 13.
    {"autumn: 01:30 the first time", {"ines", kSaturday, false, 20h, 2h}, utc(10, 25, 0, 30), true},
    {"autumn: 01:30 the second time", {"ines", kSaturday, false, 20h, 2h}, utc(10, 25, 1, 30), true},
    {"autumn: what begins in it begins the first time", {"ines", kSunday, false, 1h + 30min, 8h}, utc(10, 25, 0, 30), true},
    {"autumn: and goes on", {"ines", kSunday, false, 1h + 30min, 8h}, utc(10, 25, 1, 15), true},
    {"autumn: what ends in it ends the first time", {"ines", kSaturday, false, 20h, 1h + 30min}, utc(10, 25, 1, 15), false},
    {"autumn: 02:00 UTC reads 02:00", {"ines", kSaturday, false, 20h, 2h}, utc(10, 25, 2), false},
    {"autumn: 07:59 UTC reads 07:59", {"ines", kSaturday, false, 20h, 8h}, utc(10, 25, 7, 59), true},
};

TEST(Duty, FollowsTheLocalClock) {
  for (const Row& row : kRows) {
    const Farm farm = farm_with({row.shift});
    EXPECT_EQ(on_duty(farm, row.time, {}).has_value(), row.has) << row.what;
  }
}

TEST(Duty, TheFirstLineThatFitsHasIt) {
  const Farm farm = farm_with({{"ines", kWeekdays, false, 20h, 8h}, {"tomas", kAll, true, {}, {}}});
  EXPECT_EQ(on_duty(farm, utc(3, 3, 21), {}), "ines");
  EXPECT_EQ(on_duty(farm, utc(3, 3, 12), {}), "tomas");
}

std::string text_of(const std::vector<DutyTurn>& turns, const Zone& zone) {
  std::string text;
  for (const DutyTurn& turn : turns) {
    const auto json = to_json(turn, zone);
    text += json["begin_local"].get<std::string>() + " " + json["end_local"].get<std::string>().substr(11) + " " +
            (turn.who.empty() ? "-" : turn.who) + (turn.in_place_of.empty() ? "" : " for " + turn.in_place_of) + "\n";
  }
  return text;
}

TEST(Duty, TurnsFollowEachOtherWithoutGaps) {
  const Farm farm = farm_with({{"ines", kWeekdays, false, 20h, 8h}, {"tomas", kSaturday | kSunday, false, 8h, 20h}});
  EXPECT_EQ(text_of(duty_turns(farm, utc(3, 6, 12), utc(3, 9, 0), {}), farm.zone),
            "2026-03-06 12:00 20:00 -\n2026-03-06 20:00 08:00 ines\n2026-03-07 08:00 20:00 tomas\n"
            "2026-03-07 20:00 08:00 -\n2026-03-08 08:00 20:00 tomas\n2026-03-08 20:00 00:00 -\n");
  EXPECT_EQ(text_of(duty_turns(farm_with({}), utc(3, 6, 12), utc(3, 9, 0), {}), farm.zone), "2026-03-06 12:00 00:00 -\n");
}

TEST(Duty, ShiftsThatMeetOnPaperMeetWhereTheClocksChange) {
  const Farm farm = farm_with({{"maud", kAll, false, 1h + 15min, 1h + 45min}, {"ines", kAll, false, 1h + 45min, 12h}, {"tomas", kAll, false, 12h, 1h + 15min}});
  EXPECT_EQ(text_of(duty_turns(farm, utc(3, 29, 0), utc(3, 29, 5), {}), farm.zone),
            "2026-03-29 00:00 02:00 tomas\n2026-03-29 02:00 02:30 maud\n2026-03-29 02:30 06:00 ines\n");
  EXPECT_EQ(text_of(duty_turns(farm, utc(10, 24, 23), utc(10, 25, 5), {}), farm.zone),
            "2026-10-25 00:00 01:15 tomas\n2026-10-25 01:15 01:45 maud\n2026-10-25 01:45 05:00 ines\n");
  // Each minute has the person whose turn it is.
  for (const Instant day : {utc(3, 28, 12), utc(10, 24, 12)}) {
    const auto turns = duty_turns(farm, day, day + 48h, {});
    ASSERT_EQ(turns.back().end, day + 48h);
    for (std::size_t i = 0; i < turns.size(); ++i) {
      ASSERT_EQ(turns[i].begin, i == 0 ? day : turns[i - 1].end);
      for (Instant minute = turns[i].begin; minute < turns[i].end; minute += 1min) ASSERT_EQ(on_duty(farm, minute, {}), turns[i].who);
    }
  }
}

TEST(Duty, ASwapIsForTheShiftsThatBeginOnItsDate) {
  const Farm farm = farm_with({{"ines", kAll, false, 20h, 8h}, {"tomas", kAll, true, {}, {}}});
  const DutySwap swap{*read_date("2026-03-07"), "tomas", "ines"};
  EXPECT_EQ(text_of(duty_turns(farm, utc(3, 6, 20), utc(3, 9, 0), {swap}), farm.zone),
            "2026-03-06 20:00 08:00 ines\n2026-03-07 08:00 20:00 ines for tomas\n2026-03-07 20:00 08:00 tomas for ines\n"
            "2026-03-08 08:00 20:00 tomas\n2026-03-08 20:00 00:00 ines\n");
}

TEST(Duty, SwapsOfOneDateFollowEachOther) {
  Farm farm = farm_with({{"ines", kAll, true, {}, {}}});
  farm.people.push_back({"maud", {}, {}});
  const Date date = *read_date("2026-03-07");
  EXPECT_EQ(on_duty(farm, utc(3, 7, 12), {{date, "ines", "tomas"}, {date, "tomas", "maud"}}), "maud");
  EXPECT_EQ(on_duty(farm, utc(3, 8, 12), {{date, "ines", "tomas"}, {date, "tomas", "maud"}}), "ines");
}

TEST(Duty, WhoIsOffBeginsNoShift) {
  Farm farm = farm_with({{"ines", kAll, false, 20h, 8h}, {"tomas", kAll, true, {}, {}}});
  farm.people[0].off = {{*read_date("2026-03-07"), *read_date("2026-03-08")}, {*read_date("2026-03-12"), *read_date("2026-03-12")}};
  EXPECT_EQ(text_of(duty_turns(farm, utc(3, 6, 20), utc(3, 10, 0), {}), farm.zone),
            "2026-03-06 20:00 08:00 ines\n2026-03-07 08:00 20:00 tomas\n2026-03-09 20:00 00:00 ines\n")
      << "the shift that has begun is finished";
  farm.duty.pop_back();
  EXPECT_EQ(on_duty(farm, utc(3, 7, 21), {}), std::nullopt);
  EXPECT_EQ(on_duty(farm, utc(3, 12, 21), {}), std::nullopt);
  EXPECT_EQ(on_duty(farm, utc(3, 12, 21), {{*read_date("2026-03-12"), "ines", "tomas"}}), "tomas");
}

TEST(Duty, DatesAreThoseOfTheCalendar) {
  EXPECT_EQ(to_text(*read_date("2028-02-29")), "2028-02-29");
  EXPECT_EQ(date_in_words(*read_date("2026-03-07")), "Sat 7 March");
  for (const char* text : {"2026-02-29", "2026-3-7", "07.03.2026", "2026-03-07 ", "", "2026-13-01", "2026-03-0x"}) {
    EXPECT_FALSE(read_date(text)) << text;
  }
  const Zone zone = *bench_zone("Europe/London");
  EXPECT_EQ(to_text(date_of(zone, utc(7, 3, 23))), "2026-07-04");
  EXPECT_EQ(begin_of(zone, *read_date("2026-07-04")), utc(7, 3, 23));
}

TEST(Duty, AStepNamesEachPersonOnce) {
  const Farm farm = farm_with({{"tomas", kAll, true, {}, {}}});
  using Names = std::vector<std::string>;
  EXPECT_EQ(people_of(farm, {"on-duty"}, utc(3, 3, 12), {}), Names{"tomas"});
  EXPECT_EQ(people_of(farm, {"on-duty", "ines", "tomas"}, utc(3, 3, 12), {}), (Names{"tomas", "ines"}));
  EXPECT_EQ(people_of(farm, {"everyone"}, utc(3, 3, 12), {}), (Names{"ines", "tomas"}));
  EXPECT_EQ(people_of(farm_with({}), {"on-duty"}, utc(3, 3, 12), {}), (Names{"ines", "tomas"}));
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
