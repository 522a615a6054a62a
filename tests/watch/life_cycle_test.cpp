// Goal: the alarm states are those of ISA-18.2 and every way between them is the standard's. Method: a table
// of histories, in single letters, with the state at the end.

#include "rules/alarms/life_cycle.hpp"

#include <gtest/gtest.h>

namespace underwing {
namespace {

/// R raised, B back to normal, A acknowledged, W worsened, X reset; S and s shelved and not any more, D and d
/// suppressed by design, O and o out of service. A capital that must change nothing is followed by `!`.
AlarmState after(const std::string& history, bool latching) {
  LifeCycle life(latching);
  for (std::size_t i = 0; i < history.size(); ++i) {
    const bool changes = i + 1 == history.size() || history[i + 1] != '!';
    switch (history[i]) {
      case 'R':
        life.raise();
        break;
      case 'B':
        life.back();
        break;
      case 'W':
        life.worsen();
        break;
      case 'A':
        EXPECT_EQ(life.acknowledge(), changes) << history;
        break;
      case 'X':
        EXPECT_EQ(life.reset(), changes) << history;
        break;
      case 'S':
        life.shelve(true);
        break;
      case 's':
        life.shelve(false);
        break;
      case 'D':
        life.suppress(true);
        break;
      case 'd':
        life.suppress(false);
        break;
      case 'O':
        life.take_out_of_service(true);
        break;
      case 'o':
        life.take_out_of_service(false);
        break;
      default:
        break;
    }
    EXPECT_EQ(LifeCycle::from_bits(life.to_bits()).state(), life.state()) << history;
    EXPECT_EQ(LifeCycle::from_bits(life.to_bits()).to_bits(), life.to_bits()) << history;
  }
  return life.state();
}

struct Row {
  const char* history;
  const char* plain;     ///< the state at the end
  const char* latching;  ///< the same where the alarm latches
};

constexpr Row kRows[] = {
    {"", "normal", "normal"},
    {"R", "unacknowledged", "unacknowledged"},
    {"RA", "acknowledged", "acknowledged"},
    {"RAA!", "acknowledged", "acknowledged"},
    {"RAB", "normal", "latched acknowledged"},
    {"RB", "returned to normal unacknowledged", "latched unacknowledged"},
    {"RBA", "normal", "latched acknowledged"},
    {"RBR", "unacknowledged", "unacknowledged"},
    {"RABR", "unacknowledged", "unacknowledged"},
    {"RAW", "unacknowledged", "unacknowledged"},
    {"RAWA", "acknowledged", "acknowledged"},
    {"RX!", "unacknowledged", "unacknowledged"},
    {"RAX!", "acknowledged", "acknowledged"},
    // Shelved: judged on, and never straight back into acknowledged.
    {"S", "shelved", "shelved"},
    {"Ss", "normal", "normal"},
    {"RS", "shelved", "shelved"},
    {"RSs", "unacknowledged", "unacknowledged"},
    {"RASs", "unacknowledged", "unacknowledged"},
    {"RSAs", "unacknowledged", "unacknowledged"},
    {"SRs", "unacknowledged", "unacknowledged"},
    {"RABSs", "normal", "latched unacknowledged"},
    {"RASBs", "normal", "latched unacknowledged"},
    {"RDd", "unacknowledged", "unacknowledged"},
    {"RAD", "suppressed by design", "suppressed by design"},
    {"RADd", "unacknowledged", "unacknowledged"},
    {"RAO", "out of service", "out of service"},
    {"RAOo", "unacknowledged", "unacknowledged"},
    // Out of service covers suppressed, suppressed covers shelved.
    {"RSDO", "out of service", "out of service"},
    {"RSDOo", "suppressed by design", "suppressed by design"},
    {"RSDd", "shelved", "shelved"},
    {"RSDds", "unacknowledged", "unacknowledged"},
    {"RSDsd", "unacknowledged", "unacknowledged"},
};

TEST(LifeCycle, IsThatOfTheStandard) {
  for (const Row& row : kRows) {
    EXPECT_STREQ(to_string(after(row.history, false)), row.plain) << row.history;
    EXPECT_STREQ(to_string(after(row.history, true)), row.latching) << row.history << ", latching";
  }
}

TEST(LifeCycle, LatchedIsResetOnceItsConditionHasEnded) {
  EXPECT_STREQ(to_string(after("RBX", true)), "normal");
  EXPECT_STREQ(to_string(after("RABX", true)), "normal");
  EXPECT_STREQ(to_string(after("RBX!", false)), "returned to normal unacknowledged");
  EXPECT_STREQ(to_string(after("RBXX!", true)), "normal");
}

TEST(LifeCycle, CallsWhileItStandsUnansweredAndNothingHoldsItBack) {
  LifeCycle life(true);
  EXPECT_FALSE(life.wants_answer());
  life.raise();
  EXPECT_TRUE(life.wants_answer());
  life.back();
  EXPECT_TRUE(life.wants_answer());
  EXPECT_TRUE(life.stands());
  EXPECT_FALSE(life.condition());
  life.shelve(true);
  EXPECT_FALSE(life.wants_answer());
  life.shelve(false);
  EXPECT_TRUE(life.acknowledge());
  EXPECT_FALSE(life.wants_answer());
  EXPECT_TRUE(life.reset());
  EXPECT_FALSE(life.stands());
}

/// Every history of up to six steps: whatever stands after leaving one of the three covering states is
/// unacknowledged.
TEST(LifeCycle, LeavingACoverNeverLandsInAcknowledged) {
  const std::string steps = "RBASsDdOo";
  std::size_t histories = 1;
  for (int length = 0; length < 6; ++length) histories *= steps.size();
  for (std::size_t number = 0; number < histories; ++number) {
    LifeCycle life(number % 2 == 0);
    std::size_t rest = number;
    for (int i = 0; i < 6; ++i, rest /= steps.size()) {
      const bool covered = life.state() >= AlarmState::shelved;
      switch (steps[rest % steps.size()]) {
        case 'R':
          life.raise();
          break;
        case 'B':
          life.back();
          break;
        case 'A':
          static_cast<void>(life.acknowledge());
          break;
        case 'S':
          life.shelve(true);
          break;
        case 's':
          life.shelve(false);
          break;
        case 'D':
          life.suppress(true);
          break;
        case 'd':
          life.suppress(false);
          break;
        case 'O':
          life.take_out_of_service(true);
          break;
        case 'o':
          life.take_out_of_service(false);
          break;
        default:
          break;
      }
      if (covered) {
        ASSERT_NE(life.state(), AlarmState::acknowledged) << number;
        ASSERT_NE(life.state(), AlarmState::latched_acknowledged) << number;
      }
    }
  }
}

}  // namespace
}  // namespace underwing
