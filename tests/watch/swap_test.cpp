// Goal: a swap of duty holds for the shifts of its date, is told to both and written down with who and when,
// survives a restart, and what makes no sense is refused and changes nothing. Method: the bench.

#include <gtest/gtest.h>

#include <nlohmann/json.hpp>

#include "tests/watch/bench.hpp"

namespace underwing {
namespace {

using namespace std::chrono_literals;

Date date(const char* text) { return *read_date(text); }

class Swap : public testing::Test {
 protected:
  Swap() { static_cast<void>(bench.told()); }

  Watch::Answered swap(const char* one, const char* other, const char* on, const char* who = "maud") {
    const Watch::Answered answered = bench.watch().swap_duty(one, other, date(on), who);
    bench.settle();
    return answered;
  }
  /// Whoever is told first of cold air that begins at this time.
  std::string told_first(Instant time) {
    bench.run_to(time);
    static_cast<void>(bench.told());
    bench.air(28);
    bench.run(6min);
    const std::string told = bench.told();
    return told.substr(9, told.find(' ', 9) - 9);
  }
  Bench bench;  // Tuesday 3 March, 20:00: ines has duty until 08:00, then tomas
};

TEST_F(Swap, IsToldToBothAndWrittenDown) {
  const auto answered = swap("ines", "tomas", "2026-03-05");
  EXPECT_TRUE(answered.done);
  const std::string text = "Duty on Thu 5 March: ines and tomas swap. ines 08:00-20:00, tomas 20:00-08:00. By maud.";
  EXPECT_EQ(answered.text, text);
  EXPECT_EQ(bench.told(true), "20:00:00 ines text 0 " + text + "\n20:00:00 tomas text 0 " + text + "\n");
  nlohmann::json event;
  for (const Effect& effect : bench.effects()) {
    if (effect.json.find("\"swapped\"") != std::string::npos) event = nlohmann::json::parse(effect.json);
  }
  ASSERT_TRUE(event.is_object());
  EXPECT_TRUE(event["time"].get<std::string>().starts_with("2026-03-03T20:00:00")) << event;
  EXPECT_EQ(event["on"], "2026-03-05");
  EXPECT_EQ(event["one"], "ines");
  EXPECT_EQ(event["other"], "tomas");
  EXPECT_EQ(event["who"], "maud");
  EXPECT_EQ(event["back"], false);
}

TEST_F(Swap, CallsWhoHasTakenTheShift) {
  swap("ines", "tomas", "2026-03-03");
  EXPECT_EQ(told_first(march(3, 20, 30)), "tomas");
}

TEST_F(Swap, GoesOverMidnightAndEndsWithTheShift) {
  swap("ines", "tomas", "2026-03-03");
  EXPECT_EQ(told_first(march(4, 7, 30)), "tomas") << "the shift that began on the 3rd";
}

TEST_F(Swap, LeavesTheNextNightAsItWas) {
  swap("ines", "tomas", "2026-03-03");
  EXPECT_EQ(told_first(march(4, 20, 30)), "ines");
}

TEST_F(Swap, AskedAgainIsTakenBack) {
  swap("ines", "tomas", "2026-03-03");
  const auto answered = swap("tomas", "ines", "2026-03-03", "");
  EXPECT_TRUE(answered.done);
  EXPECT_EQ(answered.text, "Duty on Tue 3 March: the swap of tomas and ines is taken back.");
  EXPECT_TRUE(bench.watch().swaps().empty());
  EXPECT_EQ(told_first(march(3, 20, 30)), "ines");
}

TEST_F(Swap, SurvivesARestart) {
  swap("ines", "tomas", "2026-03-03");
  swap("ines", "maud", "2026-03-06");
  const std::string snapshot = bench.watch().snapshot();
  bench.restart(snapshot, 5min);
  ASSERT_EQ(bench.watch().swaps().size(), 2U);
  EXPECT_EQ(bench.watch().swaps()[1].other, "maud");
  EXPECT_EQ(told_first(march(3, 20, 30)), "tomas");
}

TEST_F(Swap, IsForgottenOnceItIsPast) {
  swap("ines", "tomas", "2026-03-03");
  bench.run_to(march(6, 12));
  swap("ines", "tomas", "2026-03-09");
  ASSERT_EQ(bench.watch().swaps().size(), 1U);
  EXPECT_EQ(to_text(bench.watch().swaps()[0].date), "2026-03-09");
}

TEST_F(Swap, WithoutSenseIsRefusedAndChangesNothing) {
  const struct {
    const char *one, *other, *on, *text;
  } rows[] = {
      {"ines", "tom", "2026-03-05", "nobody named 'tom' stands in people"},
      {"ines", "ines", "2026-03-05", "a swap takes two people"},
      {"ines", "tomas", "2026-03-02", "2026-03-02 is past"},
      {"ines", "tomas", "2027-03-05", "2027-03-05 is more than a year ahead"},
      {"ines", "maud", "2026-03-07", "neither ines nor maud has a shift that begins on Sat 7 March"},
  };
  for (const auto& row : rows) {
    const auto answered = swap(row.one, row.other, row.on);
    EXPECT_FALSE(answered.done);
    EXPECT_EQ(answered.text, row.text);
  }
  EXPECT_TRUE(bench.watch().swaps().empty());
  EXPECT_EQ(bench.told(), "");
}

TEST_F(Swap, OfTodayIsStillPossibleJustBeforeMidnight) {
  bench.run_to(march(3, 23, 59));
  EXPECT_TRUE(swap("ines", "tomas", "2026-03-03").done);
}

}  // namespace
}  // namespace underwing
