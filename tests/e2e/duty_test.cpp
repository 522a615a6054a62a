// Goal: the daemon shows duty, takes swaps, tells both of them, and knows them after the power went. Method:
// the real daemon and tool over a farm on which ines has duty.

#include <gtest/gtest.h>

#include <fmt/format.h>

#include "daemon/duty.hpp"
#include "daemon/journal.hpp"
#include "tests/e2e/gateway.hpp"

namespace underwing::test {
namespace {

/// In three days, by UTC, which is the farm's zone.
std::string in_three_days() {
  return to_text(std::chrono::floor<std::chrono::days>(std::chrono::system_clock::now()) + std::chrono::days(3));
}

TEST(DutyCommand, SwapsSurviveThePowerCut) {
  Gateway gateway(FarmText{});
  gateway.start();
  const std::string on = in_three_days();
  const std::string day = date_in_words(*read_date(on));
  const Answer swapped = gateway.tool(fmt::format("duty swap ines tomas --on {} --who maud", on));
  EXPECT_EQ(swapped.status, 0) << swapped.text;
  EXPECT_EQ(swapped.text, fmt::format("Duty on {}: ines and tomas swap. tomas 00:00-00:00. By maud.\n", day));
  EXPECT_TRUE(wait_until([&] { return gateway.count_texts("tomas", "ines and tomas swap") == 1 && gateway.count_texts("ines", "ines and tomas swap") == 1; }));
  // A text whose receipt is still on its way may be told once more; these two are not.
  EXPECT_TRUE(wait_until([&] {
    auto journal = JournalReader::open(gateway.path("state/journal.db"));
    const auto open = journal.ok() ? journal->open_deliveries() : Failure{"not yet"};
    return open.ok() && open->empty();
  }));
  gateway.kill_hard();
  gateway.start();
  const Answer shown = gateway.tool("duty");
  EXPECT_EQ(shown.status, 0);
  EXPECT_EQ(count_of("tomas (swapped with ines)\n", shown.text), 1U) << shown.text;
  EXPECT_EQ(count_of("\n", shown.text), 3U) << "ines, tomas for a day, ines: " << shown.text;
  EXPECT_EQ(gateway.count_events("swapped"), 1U);
  EXPECT_EQ(gateway.count_texts("tomas", "ines and tomas swap"), 1U);
}

TEST(DutyCommand, RefusesWhatMakesNoSense) {
  Gateway gateway(FarmText{});
  gateway.start();
  const std::vector<std::pair<std::string, std::string>> table{
      {"duty swap ines tom --on " + in_three_days(), "nobody named 'tom' stands in people"},
      {"duty swap ines tomas --on tomorrow", "'tomorrow' is no date such as 2026-03-07"},
      {"duty --from tomorrow", "'tomorrow' is no date such as 2026-03-07"}};
  for (const auto& [command, text] : table) {
    const Answer answer = gateway.tool(command);
    EXPECT_EQ(answer.status, 1) << command;
    EXPECT_EQ(answer.text, fmt::format("underwing: {}\n", text));
  }
}

}  // namespace
}  // namespace underwing::test
