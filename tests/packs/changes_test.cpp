// Goal: a reload says what it changed, in sentences that a grower can hold against what they meant to change, and not too many.
// Method: the shipped packs in an invented house; one line of its files differs; the whole answer is compared.

#include <gtest/gtest.h>

#include "daemon/changes.hpp"
#include "tests/packs/pack_night.hpp"

namespace underwing {
namespace {

/// A list whose limits are round numbers: on day 3 cold-air calls under 29 °C.
const std::string kList = "adjust:\n  warm_start: {points: {0 d: 33, 3 d: 31, 7 d: 30}}\n";

struct Files {
  FarmFiles files;

  explicit Files(const std::string& more = kList) {
    PackFarm farm;
    farm.more = more;
    files = farm.files();
  }
  Files& farm(const std::string& from, const std::string& to) {
    FarmTexts::change(files.farm_text, from, to);
    return *this;
  }
  Files& flock(const std::string& from, const std::string& to) {
    FarmTexts::change(files.flocks.begin()->second, from, to);
    return *this;
  }
};

std::string said(const Files& older, const Files& newer, Instant wall = march(5, 20)) {
  std::string all;
  for (const std::string& sentence : describe_changes(*load_or_throw(older.files), *load_or_throw(newer.files), wall)) all += sentence + "\n";
  return all;
}

std::string adjusted(const std::string& line, Instant wall = march(5, 20)) { return said(Files(), Files(kList + "  " + line + "\n"), wall); }

TEST(Changes, OfTheShippedLimitsAreSaidForTheFlocksDay) {
  EXPECT_EQ(adjusted("cold-air: {low: air_target - 2.5 K}"), "house-1: cold-air: low at day 3 was 29.0 °C, now 28.5 °C\n");
  EXPECT_EQ(adjusted("cold-air: {low: air_target - 2.5 K}", march(2, 20)), "house-1: cold-air: low at day 0 was 31.0 °C, now 30.5 °C\n");
  // Less than a tenth of a kelvin is said, too.
  EXPECT_EQ(adjusted("cold-air: {low: air_target - 2.02 K}"), "house-1: cold-air: low at day 3 was 29 °C, now 28.98 °C\n");
  EXPECT_EQ(adjusted("hot-air: {high: air_target + 4 K}"), "house-1: hot-air: high at day 3 was 34 °C, now 35 °C\n");
  // Past its end the rule is not in force; the first day on which the limit differs is shown.
  EXPECT_EQ(adjusted("pre-heat: {low: air_target - 4 K}"), "house-1: pre-heat: low at -24 h was 30 °C, now 29 °C\n");
}

TEST(Changes, StandInTheUnitsThatTheFarmShows) {
  Files older, newer(kList + "  cold-air: {low: air_target - 2.5 K}\n");
  older.farm("time_zone:", "units: us\ntime_zone:");
  newer.farm("time_zone:", "units: us\ntime_zone:");
  EXPECT_EQ(said(older, newer), "house-1: cold-air: low at day 3 was 84.2 °F, now 83.3 °F\n");
}

TEST(Changes, OfEveryKeyOfARuleAreSaid) {
  const struct {
    const char* line;
    const char* expected;
  } kCases[] = {
      {"cold-air: {until: 10 d}", "until was 14 d, now 10 d"},
      {"cold-air: {from: -2 h}", "from was -6 h, now -2 h"},
      {"cold-air: {deadband: 0.3 K}", "deadband was 0.5 K, now 0.3 K"},
      {"cold-air: {on_delay: 3 min}", "on_delay was 30 s, now 3 min"},
      {"cold-air: {off_delay: 3 min}", "off_delay was 10 min, now 3 min"},
      {"cold-air: {blind_after: 3 min}", "blind_after was 1 min, now 3 min"},
      {"cold-air: {ahead: 10 min}", "ahead was none, now 10 min"},
      {"cold-air: {respond_within: 30 min}", "respond_within was 20 min, now 30 min"},
      {"cold-air: {priority: soon}", "priority was urgent, now soon"},
      {"cold-air: {even_during_work: true}", "in force while people work in the house, too"},
      {"cold-air: {latch: true}", "now stays until it is reset on the spot"},
      {"cold-air: {follows: [mains-lost]}", "follows was mains-lost, heater-out, heat-late, now mains-lost"},
      {"cold-air: {do: Go and look}", "do is now \"Go and look\""},
      {"cold-air: {only_if: mains is on}", "only_if was none, now the mains is on"},
      {"cold-air: {about: Cold}", "about and its words in other languages reworded"},
      {"cold-harm: {head: Cold kills}", "head and its words in other languages reworded"},
  };
  for (const auto& it : kCases) {
    const std::string text = adjusted(it.line);
    const std::string rule = std::string(it.line).substr(0, std::string(it.line).find(':'));
    EXPECT_NE(text.find("house-1: " + rule + ": " + it.expected), std::string::npos) << it.line << " gave\n" << text;
  }
}

TEST(Changes, OfAValueOrAConditionAreSaidOfTheRulesThatReadIt) {
  const std::string mean = adjusted("mean_air: median(mean(air_temperature over 20 min))");
  EXPECT_NE(mean.find("house-1: pre-heat: watch was the middle one of the three air temperature probes, each averaged over 10 minutes, now the middle one of "
                      "the three air temperature probes, each averaged over 20 minutes\n"),
            std::string::npos) << mean;
  EXPECT_NE(mean.find("house-1: cold-air: watch was "), std::string::npos) << mean;
  const std::string when = adjusted("heating_steadily: median(change(air_temperature over 6 min)) > 2 K");
  EXPECT_TRUE(when.starts_with("house-1: heating-up: when was ")) << when;
}

TEST(Changes, OfFlockPeopleDutyAndCallOutAreSaid) {
  EXPECT_EQ(said(Files(), Files().flock("birds: 17000", "birds: 16500")), "flock spring-1: birds was 17000, now 16500\n");
  EXPECT_EQ(said(Files(), Files().flock("goal_day_7: 190 g", "goal_day_7: 185 g")),
            "flock spring-1: goal_day_7 was 190 g, now 185 g\nhouse-1: light-birds: low at day 4 was 103 g, now 102 g\n");
  EXPECT_EQ(said(Files(), Files().flock("placed: 2026-03-02 09:30", "placed: 2026-03-02 10:30")), "flock spring-1: placed was 2026-03-02 09:30, now 2026-03-02 10:30\n");
  EXPECT_EQ(said(Files(), Files().farm("+44 7700 900101", "+44 7700 900109")), "ines: text was +44 7700 900101, now +44 7700 900109\n");
  EXPECT_EQ(said(Files(), Files().farm("  - {who: ines}", "  - {who: tomas, days: Mon, from: \"20:00\", to: \"08:00\"}\n  - {who: ines}")),
            "duty: now tomas, Mon, 20:00-08:00\n");
  EXPECT_EQ(said(Files(), Files().farm("after: 6 min", "after: 16 min")),
            "call_out: urgent: step 2 was everyone by text after 6 min, then every 5 min, now everyone by text after 16 min, then every 5 min\n");
  EXPECT_EQ(said(Files(), Files().farm("05:30-21:30", "06:30-21:30")), "call_out: soon: hours was 05:30-21:30, now 06:30-21:30\n");
  EXPECT_EQ(said(Files(), Files().farm("{run: print}", "{run: mail}")), "plugin modem: another program or other arguments\n");
}

TEST(Changes, AreBoundedInNumberAndTheUrgentOnesStandFirst) {
  const std::string text = said(Files(), Files().flock("flock: spring-1\n", "flock: spring-1\ncounts_from: {south: 5 d}\n").flock("packs: [air, heat, air-quality, humidity, water, feed, growth, mortality]", "packs: [air]"));
  EXPECT_NE(text.find("flock spring-1: packs was air, heat, air-quality, humidity, water, feed, growth, mortality, now air\n"), std::string::npos) << text;
  EXPECT_NE(text.find("flock spring-1: counts_from was none, now south: 5 d\n"), std::string::npos) << text;
  EXPECT_NE(text.find("house-1: water-stop: no longer watched\n"), std::string::npos) << text;
  EXPECT_NE(text.find("\nand "), std::string::npos) << text;
  EXPECT_LT(std::count(text.begin(), text.end(), '\n'), 20) << text;
}

TEST(Changes, OfANewFlockAreOneSentence) {
  Files newer;
  newer.flock("flock: spring-1", "flock: summer-1");
  const std::string text = said(Files(), newer);
  EXPECT_TRUE(text.starts_with("flock spring-1 in house-1: no longer there, with ")) << text;
  EXPECT_NE(text.find(" rules\nflock summer-1: new in house-1, placed 2026-03-02 09:30, 17000 birds, "), std::string::npos) << text;
  EXPECT_EQ(std::count(text.begin(), text.end(), '\n'), 2) << text;

  // Without another one, that nothing is left is said.
  Files none;
  none.files.flocks.clear();
  const std::string gone = said(Files(), none);
  EXPECT_NE(gone.find(" rules; without a flock nothing in house-1 is watched by age\n"), std::string::npos) << gone;
}

TEST(Changes, OfNothingAreNothing) { EXPECT_EQ(said(Files(), Files()), ""); }

}  // namespace
}  // namespace underwing
