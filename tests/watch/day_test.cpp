// Goal: an evening check that says ready or what is not, and a morning summary that names what was. Method:
// the bench, whole texts compared.

#include <gtest/gtest.h>

#include "tests/watch/bench.hpp"

namespace underwing {
namespace {

using namespace std::chrono_literals;

TEST(Day, TheEveningCheckSaysReady) {
  Bench bench;
  bench.run_to(march(3, 21));
  EXPECT_EQ(bench.told(true),
            "21:00:00 ines text 0 Ready for the night. H1 day 1. All probes live. On duty: ines.\n");
}

TEST(Day, OrWhatIsNot) {
  Bench bench;
  bench.run_to(march(3, 20, 50));
  bench.silence("house-1/air_temperature/north");
  bench.run_to(march(3, 21));
  EXPECT_EQ(bench.told(true),
            "21:00:00 ines text 0 NOT ready for the night: H1 air temperature north silent.\n");

  FarmTexts texts;
  FarmTexts::change(texts.farm, "  - {who: tomas}\n", "");
  Bench thin(texts.load());
  thin.watch().plugin("modem", false, "no SIM card");
  thin.run_to(march(3, 20, 30));
  thin.watch().plugin("modem", false, "no SIM card");
  static_cast<void>(thin.told());
  thin.run_to(march(3, 21, 1));
  EXPECT_EQ(thin.texts().back(),
            "NOT ready for the night: FARM PATH DOWN: modem has been down since 20:00: no SIM card; modem is "
            "down; nobody on duty at 08:00.");
}

TEST(Day, TheSummaryNamesTheNight) {
  Bench bench;
  bench.air(28);
  bench.run_to(march(3, 20, 7));
  bench.reply("ines", "OK");
  bench.air(33);
  bench.run_to(march(4, 6, 29));
  static_cast<void>(bench.told());
  bench.run_to(march(4, 6, 31));
  EXPECT_EQ(
      bench.told(true),
      "06:30:00 ines text 0 MORNING 06:30. H1 day 2: COLD 20:06-20:18 (ines). H2: quiet. Open now: none.\n");
  bench.run_to(march(5, 6, 31));
  EXPECT_EQ(bench.texts().back(), "MORNING 06:30. H1 day 3: quiet. H2: quiet. Open now: none.");
}

TEST(Day, ANoteIsToldInTheSummaryOnly) {
  Bench bench(FarmTexts().load(), march(3, 22));
  bench.set("house-1/relative_humidity/centre", 72);
  bench.run_to(march(4, 6, 31));
  EXPECT_EQ(bench.told(true),
            "06:30:00 ines text 0 MORNING 06:30. H1 day 2: DAMP AIR 22:02-now. H2: quiet. Open now: 1.\n");
  bench.set("house-1/relative_humidity/centre", 60);
  bench.run_to(march(4, 7));
  EXPECT_EQ(bench.told(), "");
  EXPECT_EQ(bench.alarm("damp-air").life.state(), AlarmState::returned_unacknowledged);
  bench.run_to(march(5, 6, 31));
  EXPECT_FALSE(bench.has_alarm("damp-air"));
}

TEST(Day, SummariesKeepTheirHourOverChangesOfTheClock) {
  Bench bench(FarmTexts().load(), march(28, 12));
  bench.run_to(march(30, 12));
  std::vector<std::string> mornings;
  for (const std::string& line : bench.texts()) {
    if (line.starts_with("MORNING")) mornings.push_back(line.substr(0, 14));
  }
  EXPECT_EQ(mornings, (std::vector<std::string>{"MORNING 06:30.", "MORNING 06:30."}));
}

TEST(Day, WithoutASummaryNothingPilesUp) {
  FarmTexts texts;
  FarmTexts::change(texts.farm, "  note: {daily: \"06:30\", tell: on-duty, by: text}",
                    "  note:\n    - {after: 0 min, tell: on-duty, by: text}");
  FarmTexts::change(texts.yard, "on_delay: 1 min\n    off_delay: 1 min",
                    "on_delay: 0 min\n    off_delay: 0 min");
  Bench bench(texts.load());
  std::size_t size_after_three_days = 0;
  for (int cycle = 0; cycle < 7 * 24 * 30; ++cycle) {
    bench.set("house-2/air_temperature/east", 41);
    bench.run(1min);
    bench.set("house-2/air_temperature/east", 33);
    bench.run(1min);
    static_cast<void>(bench.told());
    if (cycle == 3 * 24 * 30) size_after_three_days = bench.watch().snapshot().size();
  }
  EXPECT_LT(bench.watch().snapshot().size(), size_after_three_days + 1'000);
}

}  // namespace
}  // namespace underwing
