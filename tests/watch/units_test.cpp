// Goal: a farm that says `units: us` reads and writes °F, pounds and gallons, one system in a text, and nothing else about
// the night changes. Method: the bench, whole texts compared with those of the same night in °C.

#include <gtest/gtest.h>
#include <regex.h>

#include <stdexcept>

#include "daemon/story.hpp"
#include "daemon/words.hpp"
#include "tests/watch/bench.hpp"

namespace underwing {
namespace {

using namespace std::chrono_literals;

FarmTexts us_farm() {
  FarmTexts texts;
  FarmTexts::change(texts.farm, "time_zone:", "units: us\ntime_zone:");
  FarmTexts::change(texts.farm, "      relative_humidity: [centre]\n",
                    "      relative_humidity: [centre]\n      water: [main]\n      bird_weight: [scale]\n      vent_temperature: [entered]\n"
                    "      outside_temperature: [yard]\n");
  FarmTexts::change(texts.farm, "note: {daily: \"06:30\", tell: on-duty, by: text}", "note: {daily: \"06:30\", tell: ines, by: mail}");
  return texts;
}

std::string all_of(const std::vector<std::string>& texts) {
  std::string all;
  for (const std::string& text : texts) all += text + "\n";
  return all;
}

/// By POSIX: GCC 12 warns of its own std::regex under sanitizers (bug 105562).
bool has(const std::string& text, const char* pattern) {
  regex_t compiled;
  if (regcomp(&compiled, pattern, REG_EXTENDED | REG_NOSUB) != 0) throw std::logic_error(pattern);
  const bool found = regexec(&compiled, text.c_str(), 0, nullptr, 0) == 0;
  regfree(&compiled);
  return found;
}

bool is_metric(const std::string& text) {
  return has(text, "[0-9] (°?C|K|g|kg|L)\\b");
}

TEST(UsUnits, AreInAlarmsGoodNewsAndStatus) {
  Bench bench(us_farm().load());
  bench.air(32);
  bench.run(10min);
  bench.air(25);
  bench.run(7min);
  const std::string cold = all_of(bench.texts());
  // 33 °C less half a kelvin a day, which is 32.3 °C after 34 h 45 min.
  EXPECT_NE(cold.find("H1 COLD 77 F, wants 90.1"), std::string::npos) << cold;
  EXPECT_FALSE(is_metric(cold)) << cold;
  bench.reply("ines", "STATUS");
  const std::string status = bench.texts().back();
  EXPECT_NE(status.find("H1 day 1: 77 F, COLD 77 F "), std::string::npos) << status;
  bench.set("house-1/air_temperature/north", 33);
  bench.set("house-1/air_temperature/south", 32);
  bench.run(20min);
  bench.reply("ines", "STATUS");
  const std::string later = all_of(bench.texts());
  EXPECT_NE(later.find("H1 back to normal: 90.5 F at "), std::string::npos) << later;
  EXPECT_NE(later.find("H1 day 1: 89.6 to 91.4 F, "), std::string::npos) << later;
  EXPECT_FALSE(is_metric(later)) << later;
}

TEST(UsUnits, AreInTheTrend) {
  Bench bench(us_farm().load());
  bench.air(32);
  bench.run(15min);
  for (double air = 32; air > 26; air -= 0.2) {
    bench.air(air);
    bench.run(1min);
  }
  const std::string told = all_of(bench.texts());
  EXPECT_TRUE(has(told, "Falling since 20:[0-9]{2}, [78][0-9] F by 20:[0-9]{2}\\.")) << told;
  EXPECT_FALSE(is_metric(told)) << told;
}

TEST(UsUnits, AreInTheEveningCheckAndTheSummary) {
  Bench bench(us_farm().load(), march(3, 20));
  bench.air(32);
  bench.set("house-1/outside_temperature/yard", -5);
  bench.set("house-1/bird_weight/scale", 90);
  bench.set("house-1/water/main", 0);
  bench.run_to(march(3, 20, 30));
  EXPECT_EQ(bench.watch().evening_text(), "Ready for the night. H1 day 1. All probes live. Outside 23 F. On duty: ines.");
  bench.set("house-1/water/main", 333);
  bench.set("house-1/bird_weight/scale", 93);
  bench.run_to(march(4, 6, 31));
  const std::string summary = bench.texts().back();
  // The bench has every probe say 33 before anything is set.
  EXPECT_NE(summary.find("  Air 89.6 to 91.4 F since 20:00. Humidity "), std::string::npos) << summary;
  EXPECT_NE(summary.find("water 79.3 gal."), std::string::npos) << summary;
  EXPECT_NE(summary.find("bird weight 0.2"), std::string::npos) << summary;
  EXPECT_FALSE(is_metric(summary)) << summary;
}

TEST(UsUnits, AreThoseOfWhatPeopleEnter) {
  Bench bench(us_farm().load());
  const auto ask = [&](const std::string& text) {
    bench.run(1min);
    static_cast<void>(bench.texts());
    bench.reply("ines", text);
    return all_of(bench.texts());
  };
  EXPECT_EQ(ask("H1 VENT 104"), "H1 vent temperature 104 F is written down.\n");
  const auto probe = *bench.watch().rules().find_probe("house-1/vent_temperature/entered");
  EXPECT_NEAR(bench.watch().engine().series(probe).last_value(), 40, 1e-9);
  EXPECT_EQ(ask("H1 VENT 40"), "vent temperature 40 cannot be: it is between 86 and 113 F. Nothing was written down.\n");
  EXPECT_EQ(ask("H1 VENT 103"), "H1 vent temperature 103 F is written down.\n");
  EXPECT_EQ(ask("H1 VENT 40C"), "H1 vent temperature 104 F is written down.\n");
  EXPECT_EQ(ask("H1 VENT 104.5 F"), "H1 vent temperature 104.5 F is written down.\n");
  EXPECT_EQ(ask("H1 VENT"), "How many? As in H1 VENT 100.\n");
  EXPECT_EQ(ask("H1 VENT 104"), "H1 vent temperature 104 F is written down.\n");
  EXPECT_EQ(ask("H1 VENT 103"), "H1 vent temperature 103 F is written down.\n");
  EXPECT_EQ(ask("UNDO"), "Taken back: H1 vent temperature is 104 again.\n");
}

TEST(UsUnits, AreInTheStoryAndNotInEvents) {
  Bench bench(us_farm().load());
  bench.air(32);
  bench.run(10min);
  bench.air(25);
  bench.run(7min);
  Story story(bench.watch().rules());
  std::string events, told;
  for (const Effect& effect : bench.effects()) {
    if (effect.kind != Effect::Kind::event) continue;
    events += effect.json + "\n";
    told += story.sentence(effect) + "\n";
  }
  EXPECT_NE(events.find("\"value\":25"), std::string::npos) << events;
  EXPECT_NE(told.find("cold-air is raised, urgent: 77 °F, limit 8"), std::string::npos) << told;
  EXPECT_FALSE(is_metric(told)) << told;
  for (const std::string& line : story.opening(bench.watch())) EXPECT_FALSE(is_metric(line)) << line;
}

/// The longest texts stay one message, in the alphabet of messages.
TEST(UsUnits, FitWhereMetricOnesDo) {
  FarmTexts texts = us_farm();
  FarmTexts::change(texts.pack, "do: Look at the chicks first. Then gas, heaters, curtains.",
                    "do: Look at the chicks first, then at the gas, at the heaters, at the curtains, at the inlets and at the controller by the door.");
  Bench bench(texts.load());
  bench.air(32);
  bench.run(10min);
  bench.air(-10);
  bench.run(40min);
  bool cold = false;
  for (const std::string& text : bench.texts()) {
    EXPECT_LE(gsm_length(text), kTextSeptetsMax) << text;
    EXPECT_EQ(to_gsm(text), text);
    cold = cold || text.starts_with("H1 COLD 14 F");
  }
  EXPECT_TRUE(cold);
}

}  // namespace
}  // namespace underwing
