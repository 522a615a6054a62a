// Goal: what is told of a flock's days is what the journal holds, each row on the right day of the farm's calendar, also
// where the clocks change. Method: a journal of a few rows, reckoned by hand.
#include "daemon/report.hpp"

#include <gtest/gtest.h>

#include "tests/daemon/temporary_folder.hpp"
#include "tests/watch/bench.hpp"

namespace underwing {
namespace {

using namespace std::chrono_literals;

class ReportTest : public testing::Test {
 protected:
  void SetUp() override {
    FarmTexts::change(farm_.farm, "air_temperature: [north, south]", "air_temperature: [north, south]\n      bird_weight: [scale]\n      water: [main]\n      feed: [auger]");
    FarmTexts::change(farm_.flock, "birds: 17000", "birds: 1000");
    FarmTexts::change(farm_.flock, "2026-03-02 09:30", "2026-03-28 09:30");
  }

  FlockReport report(std::vector<JournalRow> rows, Instant until) {
    rows.emplace_back(SnapshotRow{until, "{}"});
    const auto path = folder_.path() / "journal.db";
    Journal({path, [](const std::function<void()>&) {}, [](const std::string&) {}}).submit({std::move(rows), false, nullptr});
    auto reader = JournalReader::open(path);
    EXPECT_TRUE(reader.ok());
    rules_ = farm_.load();
    auto told = report_of(*reader, *rules_, 0);
    EXPECT_TRUE(told.ok());
    return *told;
  }

  static MinuteRow minute(const char* series, Instant time, double value, std::uint32_t count = 1) { return {time, series, value, value, value, count}; }
  static RoundRow round(std::uint64_t id, Instant time, const char* measure, double value, const char* house = "house-1") { return {id, time, house, measure, value, "ines", "{}"}; }
  static EventRow event(std::uint64_t id, Instant time, const char* kind, const char* json) { return {id, time, kind, "", "", json}; }

  TemporaryFolder folder_;
  FarmTexts farm_;
  std::shared_ptr<const RuleSet> rules_;
};

/// Ten of 1000 on the first day and 99 of 990 on the second: 1 and 10 %, 11 % in all (Council Directive 2007/43/EC, Annex I,
/// adds up the daily rates). Midnight of 29 March is 00:00 UTC, that of 30 March 23:00 UTC.
TEST_F(ReportTest, LossesAreAddedUpByTheDaysOfTheCalendar) {
  const FlockReport told = report({round(1, march(28, 20), "dead_birds", 12), round(2, march(28, 20, 1), "dead_birds", -2), round(3, march(29, 22, 59), "culled_birds", 99),
                                   round(4, march(29, 23), "dead_birds", 1), round(5, march(29, 12), "dead_birds", 500, "house-2"), round(6, march(29, 9), "crop_fill", 97)},
                                  march(30, 12));
  ASSERT_EQ(told.days.size(), 3U);
  EXPECT_EQ(told.days[0].begin, march(28, 9, 30));
  EXPECT_EQ(told.days[1].end - told.days[1].begin, 23h);
  EXPECT_EQ(told.days[0].dead, 10);
  EXPECT_EQ(told.days[1].culled, 99);
  EXPECT_EQ(told.days[2].dead, 1);
  EXPECT_DOUBLE_EQ(told.days[0].lost_percent, 1);
  EXPECT_DOUBLE_EQ(told.days[1].lost_percent, 10);
  EXPECT_DOUBLE_EQ(told.days[1].cumulative_percent, 11);
  EXPECT_EQ(told.days[2].alive, 890);
  ASSERT_EQ(told.rounds.size(), 1U);
  EXPECT_EQ(told.rounds[0].measure, "crop_fill");
}

TEST_F(ReportTest, AirIsThatOfTheMiddleProbeAndOtherHousesAreLeftOut) {
  const FlockReport told = report({minute("house-1/air_temperature/north", march(28, 10), 32), minute("house-1/air_temperature/south", march(28, 10), 34),
                                   minute("house-1/air_temperature/north", march(28, 11), 30), minute("house-10/air_temperature/north", march(28, 12), 5),
                                   minute("house-1/air_temperature/north", march(28, 9), 5), minute("house-1/relative_humidity/centre", march(29, 0), 61)},
                                  march(29, 1));
  ASSERT_EQ(told.days.size(), 2U);
  EXPECT_EQ(told.days[0].air_low, 30);
  EXPECT_EQ(told.days[0].air_high, 33);
  EXPECT_EQ(told.days[0].air_mean, 31.5);
  EXPECT_FALSE(known(told.days[0].humidity));
  EXPECT_FALSE(known(told.days[1].air_mean));
  EXPECT_EQ(told.days[1].humidity, 61);
}

/// A meter's growth over midnight belongs to the later day; one that begins anew counts from zero.
TEST_F(ReportTest, MetersAreToldForAThousandBirds) {
  const FlockReport told = report({minute("house-1/water/main", march(28, 10), 500), minute("house-1/water/main", march(28, 20), 540), round(1, march(28, 21), "dead_birds", 500),
                                   minute("house-1/water/main", march(29, 8), 560), minute("house-1/water/main", march(29, 9), 5), minute("house-1/feed/auger", march(29, 8), 100),
                                   minute("house-1/feed/auger", march(29, 9), 110)},
                                  march(29, 10));
  ASSERT_EQ(told.days.size(), 2U);
  EXPECT_DOUBLE_EQ(told.days[0].water_l_per_1000, 40);
  EXPECT_DOUBLE_EQ(told.days[1].water_l_per_1000, 50);
  EXPECT_DOUBLE_EQ(told.days[1].feed_kg_per_1000, 20);
  EXPECT_FALSE(known(told.days[0].feed_kg_per_1000));
}

TEST_F(ReportTest, WeighingsCountAsManyAsTheyAreAndDoublesDoNot) {
  const FlockReport told = report({minute("house-1/bird_weight/scale", march(28, 12), 44, 30), minute("house-1/bird_weight/scale", march(28, 13), 48, 10), minute("house-1/bird_weight/scale", march(28, 14), 95, 1)},
                                  march(28, 20));
  EXPECT_EQ(told.days[0].weighings, 40U);
  EXPECT_NEAR(told.days[0].weight_g, 45, 1e-9);
  EXPECT_FALSE(known(told.days[0].of_curve_percent)) << "no rule of this farm has a curve of weight";
}

TEST_F(ReportTest, AlarmsHaveTheirFirstAnswerAndDrillsTheirTime) {
  const auto alarm = [](std::uint64_t id, const char* code, const char* house, const char* rule, Instant raised) {
    return AlarmRow{id, code, house, rule, "", "acknowledged", "urgent", raised, std::nullopt, "{}"};
  };
  const FlockReport told = report({alarm(1, "K7", "house-1", "cold-air", march(28, 23)), alarm(2, "M4", "house-2", "hot-air", march(28, 23)), alarm(3, "D2", "", "disk", march(28, 23)),
                                   alarm(4, "R5", "", "drill", march(28, 18)), alarm(5, "X3", "house-1", "cold-air", march(26, 9)),
                                   event(1, march(28, 23, 4), "acknowledged", R"({"code":"K7","who":"ines"})"), event(2, march(28, 23, 40), "acknowledged", R"({"code":"K7","who":"tomas"})"),
                                   event(3, march(27, 18, 2), "drilled", R"({"answered":true,"at_night":false,"who":"ines","seconds":130})")},
                                  march(29, 8));
  ASSERT_EQ(told.alarms.size(), 2U);
  EXPECT_EQ(told.alarms[0].row.code, "K7");
  EXPECT_EQ(told.alarms[0].answered, march(28, 23, 4));
  EXPECT_EQ(told.alarms[0].answered_by, "ines");
  EXPECT_EQ(told.alarms[1].row.rule, "disk");
  EXPECT_FALSE(told.alarms[1].answered);
  ASSERT_EQ(told.drills.size(), 1U) << "the day before placement belongs to the flock";
  EXPECT_EQ(told.drills[0].took, 130s);
}

TEST_F(ReportTest, OfAFlockThatIsStillToComeThereIsNothing) {
  EXPECT_TRUE(report({}, march(28, 9)).days.empty());
}

}  // namespace
}  // namespace underwing
