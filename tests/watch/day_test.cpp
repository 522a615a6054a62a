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
            "20:50:00 ines text 0 TEST of modem, nothing is wrong: this is to prove that it reaches you. No answer needed.\n"
            "21:00:00 ines text 0 Ready for the night. H1 day 1. All probes live. On duty: ines.\n");
}

TEST(Day, OrWhatIsNot) {
  Bench bench;
  bench.run_to(march(3, 20, 50));
  bench.silence("house-1/air_temperature/north");
  bench.run_to(march(3, 21));
  EXPECT_EQ(bench.told(true),
            "20:50:00 ines text 0 TEST of modem, nothing is wrong: this is to prove that it reaches you. No answer needed.\n"
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

/// A farm with tanks, meters, a scale and rounds.
FarmTexts well_fitted() {
  FarmTexts texts;
  FarmTexts::change(texts.farm, "      relative_humidity: [centre]\n",
                    "      relative_humidity: [centre]\n      gas_level: [tank]\n      water: [main]\n      bird_weight: [scale]\n"
                    "      dead_birds: [entered]\n      crop_fill: [entered]\n      outside_temperature: [yard]\n");
  FarmTexts::change(texts.farm, "note: {daily: \"06:30\", tell: on-duty, by: text}", "note: {daily: \"06:30\", tell: ines, by: [text, mail]}");
  return texts;
}

TEST(Day, TheEveningCheckLooksAtGasAndOutside) {
  Bench bench(well_fitted().load(), march(3, 15));
  bench.set("house-1/gas_level/tank", 60);
  bench.set("house-1/outside_temperature/yard", 4);
  bench.run_to(march(3, 20));
  EXPECT_EQ(bench.watch().evening_text(), "Ready for the night. H1 day 1. All probes live. Outside 4 C. On duty: ines.");
  // Ten per cent in the last hour, and ten and a half to go.
  bench.set("house-1/gas_level/tank", 50);
  bench.run_to(march(3, 20, 30));
  EXPECT_EQ(bench.watch().evening_text(), "Ready for the night. H1 day 1. All probes live. Outside 4 C. On duty: ines.");
  bench.set("house-1/gas_level/tank", 35);
  bench.run_to(march(3, 20, 59));
  EXPECT_EQ(bench.watch().evening_text(), "NOT ready for the night: H1 gas 35 % will not last until morning.");
  bench.set("house-1/gas_level/tank", 8);
  bench.run_to(march(3, 21));
  EXPECT_EQ(bench.watch().evening_text(), "NOT ready for the night: H1 gas 8 %.");
}

TEST(Day, TheEveningCheckLooksAtPathsAndWork) {
  Bench bench;
  bench.outcome = [&](const Delivery& delivery) {
    bench.watch().handed(delivery.id, "modem");
    return Delivery::Outcome::failed;
  };
  bench.run_to(march(3, 20, 50));
  bench.watch().work_by(0, 30min, "ines");
  bench.run_to(march(3, 21, 1));
  std::vector<std::string> faults;
  static_cast<void>(bench.watch().evening_text(&faults));
  EXPECT_EQ(faults, (std::vector<std::string>{"H1 work until 21:20", "modem failed last time"}));
}

TEST(Day, TheSummaryByMailHasFiveLinesAHouse) {
  Bench bench(well_fitted().load(), march(3, 20));
  bench.run_to(march(3, 21));
  bench.air(28);
  bench.reply("ines", "DEAD 12");
  const auto scale = *bench.watch().rules().find_probe("house-1/bird_weight/scale");
  for (int i = 0; i < 4; ++i) {
    bench.watch().reading(scale, bench.now() + std::chrono::seconds(i), 90 + i);
    bench.set("house-1/water/main", 33 + 100 * i);
    bench.run(10min);
  }
  bench.reply("ines", "OK");
  bench.air(33);
  bench.run_to(march(4, 6, 29));
  static_cast<void>(bench.texts());
  bench.run_to(march(4, 6, 30));
  const std::vector<std::string> texts = bench.texts();
  ASSERT_EQ(texts.size(), 2U);
  EXPECT_EQ(texts[0], "MORNING 06:30. H1 day 2: COLD 21:06-21:51 (ines). H2: quiet. Open now: none.");
  EXPECT_EQ(texts[1],
            "MORNING 06:30, Sandpiper Hollow.\n"
            "H1 day 2: COLD 21:06-21:51 (ines)\n"
            "  Air 28.0 to 33.0 C since 20:00. Humidity 60 to 60 %.\n"
            "  Since 20:00: water 300 L.\n"
            "  bird weight 91.5 g on 4 weighings; dead birds today 0, flock 12 of 17000.\n"
            "  Rounds due: crop fill.\n"
            "H2: quiet\n"
            "Open now: none.");
}

TEST(Day, TheSummaryTellsGasesAndHumidity) {
  FarmTexts texts = well_fitted();
  FarmTexts::change(texts.farm, "      gas_level: [tank]\n", "      gas_level: [tank]\n      ammonia: [low, high]\n      carbon_dioxide: [centre]\n");
  Bench bench(texts.load(), march(3, 20));
  bench.set("house-1/ammonia/low", 41.6);
  bench.set("house-1/ammonia/high", 9);
  bench.set("house-1/carbon_dioxide/centre", 2600);
  bench.set("house-1/relative_humidity/centre", 58);
  bench.run_to(march(3, 23));
  bench.set("house-1/ammonia/low", 15);
  bench.set("house-1/carbon_dioxide/centre", 4200);
  bench.set("house-1/relative_humidity/centre", 64);
  bench.run_to(march(4, 2));
  bench.restart(bench.watch().snapshot(), 1min);  // the extremes outlast it
  bench.set("house-1/carbon_dioxide/centre", 3000);
  bench.run_to(march(4, 6, 29));
  static_cast<void>(bench.texts());
  bench.run_to(march(4, 6, 30));
  const std::vector<std::string> told = bench.texts();
  ASSERT_EQ(told.size(), 2U);
  EXPECT_EQ(told[0], "MORNING 06:30. H1 day 2: quiet. NH3 up to 42 ppm, CO2 up to 4200 ppm, humidity 58 to 64 %. H2: quiet. Open now: none.");
  EXPECT_NE(told[1].find("C since 20:00. NH3 up to 42 ppm, CO2 up to 4200 ppm, humidity 58 to 64 %.\n"), std::string::npos) << told[1];
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
