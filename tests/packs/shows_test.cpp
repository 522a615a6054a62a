// Goal: what a house shows is right, and fits a telephone held upright.
// Method: the shipped packs, minute by minute, with a scale and entries whose truth is known; the words are those that
// `underwing status` prints.

#include <gtest/gtest.h>

#include <cmath>
#include <random>
#include <sstream>

#include "daemon/house_view.hpp"
#include "daemon/status_words.hpp"
#include "tests/packs/pack_night.hpp"

namespace underwing {
namespace {

using namespace std::chrono_literals;
using nlohmann::json;

PackFarm with_volume(const std::string& lines = "    volume: 4500 m³\n") {
  PackFarm farm;
  farm.probes = "      dead_birds: [count]\n      crop_fill: [hand]\n" + lines;
  farm.packs += ", rounds";
  return farm;
}

std::string words_of(PackNight& night, const char* units = "metric") {
  const Watch& watch = night.bench().watch();
  const json house = {{"house", "house-1"}, {"flock", "spring-1"}, {"day", "day 1"}, {"age_h", 16.5}, {"view", house_view(night.bench().watch(), 0)},
                      {"probes", json::array()}, {"rules", json::array()}, {"unwatched", json::array()}};
  return status_in_words({{"farm", watch.rules().farm.name}, {"units", units}, {"time_local", "2026-03-03 02:00"}, {"on_duty", "ines"}, {"clock_trusted", true}, {"disk", ""},
                          {"houses", json::array({house})}, {"plugins", json::array()}, {"paths", json::array()}, {"unknown_names", json::array()}, {"alarms", json::array()}});
}

std::size_t widest(const std::string& words) {
  std::size_t most = 0;
  std::istringstream lines(words);
  for (std::string line; std::getline(lines, line);) {
    most = std::max(most, static_cast<std::size_t>(std::count_if(line.begin(), line.end(), [](char c) { return (c & 0xC0) != 0x80; })));
  }
  return most;
}

/// The lines that begin with one of these labels.
std::string lines_with(const std::string& words, const std::vector<std::string>& labels) {
  std::string all;
  std::istringstream lines(words);
  for (std::string line; std::getline(lines, line);) {
    for (const std::string& label : labels) {
      if (line.starts_with("  " + label + " ") || line.starts_with("  felt " + label + " ")) all += line + "\n";
    }
  }
  return all;
}

TEST(Shows, BirdsAliveAndTheDirectivesRate) {
  // 2007/43/EC: the sum of each day's losses over the birds that were present when it began.
  PackNight night(with_volume(), march(2, 12), 33);
  night.enter("dead_birds/count", 40);
  night.run_to(march(3, 12));
  night.enter("dead_birds/count", 60);
  const json birds = house_view(night.bench().watch(), 0).at("birds");
  EXPECT_EQ(birds.at("alive"), 17000 - 100);
  EXPECT_EQ(birds.at("lost_24_h"), 60) << "what was lost a day and a minute ago is of the day before";
  EXPECT_NEAR(birds.at("daily_percent").get<double>(), 100.0 * 60 / 16960, 0.005);
  EXPECT_NEAR(birds.at("cumulative_percent").get<double>(), 100.0 * 40 / 17000 + 100.0 * 60 / 16960, 0.005);
}

TEST(Shows, AirAgainstItsWindowGasesAndMeters) {
  PackNight night(with_volume(), march(2, 23), 32.5);
  double water = 500, feed = 100;
  night.run_to(march(3, 2), [&](Instant minute) {
    night.set("water/main", water += minute > march(3, 0) ? 0.5 : 3);
    night.set("feed/auger", feed += 0.2);
  });
  const json view = house_view(night.bench().watch(), 0);
  EXPECT_NEAR(view.at("air").at("value").get<double>(), 32.5, 1.01) << "felt: humidity counts for 1 K at most";
  EXPECT_EQ(view.at("air").at("felt"), true);
  EXPECT_NEAR(view.at("air").at("low").get<double>(), 33 - 3 * 16.5 / 168 - 2, 0.06);
  EXPECT_NEAR(view.at("air").at("high").get<double>(), 33 - 3 * 16.5 / 168 + 3, 0.06);
  EXPECT_NEAR(view.at("humidity_percent").get<double>(), 60, 0.6);
  EXPECT_EQ(view.at("gases").at(0).at("value"), 1500);
  // Since midnight: 120 minutes of half a litre, and of 0.2 kg.
  EXPECT_NEAR(view.at("water_today_l").get<double>(), 60, 0.6);
  EXPECT_NEAR(view.at("feed_today_kg").get<double>(), 24, 0.3);
  EXPECT_NEAR(view.at("water_to_feed").get<double>(), 2.5, 0.06);
  EXPECT_LE(widest(words_of(night)), kStatusColumns) << words_of(night);
}

/// The words of a house whose farm reads °F, lb and gal, converted by hand; what machines read is the same as ever.
TEST(Shows, AllOfItInTheFarmsUnits) {
  PackNight night(with_volume(), march(2, 23), 32.5);
  double water = 500, feed = 100;
  night.run_to(march(3, 2), [&](Instant minute) {
    night.set("water/main", water += minute > march(3, 0) ? 0.5 : 3);
    night.set("feed/auger", feed += 0.2);
  });
  const std::string metric = words_of(night), us = words_of(night, "us");
  EXPECT_EQ(lines_with(metric, {"air", "water", "feed"}),
            "  felt air  33.5 °C (30.7 to 35.7)\n"
            "  water     60 L today, 2.5 L/kg feed\n"
            "  feed      24 kg today\n");
  EXPECT_EQ(lines_with(us, {"air", "water", "feed"}),
            "  felt air  92.3 °F (87.3 to 96.3)\n"
            "  water     16 gal today, 0.3 gal/lb feed\n"
            "  feed      53 lb today\n");
  EXPECT_EQ(us.find("°C"), std::string::npos) << us;
  EXPECT_LE(widest(us), kStatusColumns) << us;
  const std::string house = R"({"house":"house-1","probes":[{"probe":"floor_temperature/a","unit":"°C","usable":true,"value":28.0},
    {"probe":"floor_temperature/b","unit":"°C","usable":true,"value":30.0}],"unwatched":[],
    "rules":[{"rule":"cold-air","in_force":true,"standing":true,"value":25.0,"unit":"°C"},{"rule":"uneven","in_force":true,"standing":true,"value":5.0,"unit":"K"}],
    "view":{"weight":{"mean":205.0,"low":200.0,"high":210.0,"variation_percent":9.0,"uniformity_percent":75.0,"count":80,"behind_h":null,
      "day_7":{"low":190.0,"middle":200.0,"high":210.0},"times_placed":4.8,"goal_day_7":190.0},
      "danger":[{"if":"fans stay off","limit":36.0,"minutes":30.0,"at_local":"02:30"}]}})";
  const std::string alarm = R"({"code":"E6","priority":"urgent","house":"house-1","rule":"cold-air","text":"","state":"unacknowledged","since_local":"2026-03-03 02:00","value":25.0,"unit":"°C","units":"us"})";
  const std::string words = status_in_words({{"farm", "Sandpiper Hollow"}, {"units", "us"}, {"time_local", "2026-03-03 02:00"}, {"on_duty", "ines"},
                                             {"houses", json::array({json::parse(house)})}, {"plugins", json::array()}, {"paths", json::array()},
                                             {"unknown_names", json::array()}, {"alarms", json::array({json::parse(alarm)})}});
  EXPECT_EQ(words, R"(Sandpiper Hollow at 2026-03-03 02:00. On
duty: ines.

house-1: empty
  weight    0.452 lb ±0.011, CV 9.0 %, 75 %
            even, 80 weighings
  day 7     0.441 lb (0.419 to 0.463), ×4.8,
            goal 0.419 lb
  fans off  96.8 °F by 02:30, 30 min
  floor temperature    82.4 to 86.0 °F
  ALARM     cold-air 77.0, uneven 9.0


E6 urgent house-1: cold-air 77.0 °F
  unacknowledged, since 2026-03-03 02:00
)");
}

TEST(Shows, WeightItsLagAndDay7) {
  // Birds at 0.95 of the curve with a variation of 9 %, six a minute through day 3 to 4.
  PackNight night(with_volume(), march(5, 9), 31);
  std::mt19937 random(5);
  std::normal_distribution<double> bird(0.95, 0.95 * 0.09);
  const auto curve_g = [](double age_h) { return age_h < 96 ? 102 + 23 * (age_h - 72) / 24 : 125 + 26 * (age_h - 96) / 24; };
  night.run_to(march(6, 9, 30), [&](Instant minute) {
    const double age_h = std::chrono::duration<double, std::ratio<3600>>(minute - march(2, 9, 30)).count();
    night.set("bird_weight/scale", bird(random) * curve_g(age_h));
  });
  const json weight = house_view(night.bench().watch(), 0).at("weight");
  EXPECT_NEAR(weight.at("mean").get<double>(), 0.95 * 125, 1.0);
  EXPECT_LT(weight.at("low").get<double>(), 0.95 * 125);
  EXPECT_GT(weight.at("high").get<double>(), 0.95 * 125);
  EXPECT_NEAR(weight.at("variation_percent").get<double>(), 9, 0.6);
  EXPECT_NEAR(weight.at("behind_h").at("middle").get<double>(), 24 * 0.05 * 125 / 23, 1.2);
  EXPECT_NEAR(weight.at("day_7").at("middle").get<double>(), 0.95 * 213, 3);
  EXPECT_NEAR(weight.at("times_placed").get<double>(), 0.95 * 213 / 42, 0.08);
  EXPECT_EQ(weight.at("scale_cut"), false);
  const std::string words = words_of(night);
  EXPECT_EQ(weight.at("goal_day_7"), 190);
  EXPECT_NE(words.find("×4.8, goal"), std::string::npos) << words;
  EXPECT_LE(widest(words), kStatusColumns) << words;
}

TEST(Shows, MinutesToDangerByTheBirds) {
  PackNight night(with_volume(), march(9, 21), 29.9);
  night.run_to(march(10, 1));
  const json heat = house_view(night.bench().watch(), 0).at("danger").at(0);
  EXPECT_EQ(heat.at("if"), "fans stay off");
  EXPECT_EQ(heat.at("by"), "reckoned");
  // 17 000 birds of about 0.23 kg give 0.95 W each to 4500 m³ and as much again in fittings: 0.09 K a minute.
  EXPECT_NEAR(heat.at("minutes").get<double>(), 5.0 / 0.09, 12);
  EXPECT_NE(heat.at("taken").dump().find("by their curve"), std::string::npos);
  const json cold = house_view(night.bench().watch(), 0).at("danger").at(1);
  EXPECT_EQ(cold.at("by"), "unknown") << "how fast the house cools has not been seen";
}

TEST(Shows, MinutesToDangerAsTheHouseItselfCooled) {
  PackNight night(with_volume(), march(3, 0), 32.5);
  night.run_to(march(3, 1));
  // Heaters rest for 20 minutes: 24 K above outside, falling by 0.06 K a minute; then they hold the air again.
  night.run_to(march(3, 1, 20), [&](Instant minute) { night.air(32.5 - 0.06 * (minutes_of(minute) - minutes_of(march(3, 1)))); });
  night.run_to(march(3, 1, 40), [&](Instant) {
    night.set("heater_running/heater", 1);
    night.air(32.5);
  });
  const json cold = house_view(night.bench().watch(), 0).at("danger").at(1);
  EXPECT_EQ(cold.at("by"), "learnt") << cold.dump();
  const double constant = (32.5 - 0.9 - 8) / 0.06;
  const double limit = cold.at("limit").get<double>();
  EXPECT_NEAR(cold.at("minutes").get<double>(), constant * std::log((32.4 - 8) / (limit - 8)), 25);
}

TEST(Shows, RoundsThatAreDueAndTheNextOne) {
  PackNight night(with_volume(), march(2, 12), 33);
  night.run_to(march(2, 13));
  EXPECT_EQ(lines_with(words_of(night), {"rounds"}), "  rounds    crop fill due now\n");
  night.enter("crop_fill/hand", 85);
  night.run_to(march(2, 13, 5));
  const json view = house_view(night.bench().watch(), 0);
  EXPECT_FALSE(view.contains("rounds_due")) << view.dump();
  EXPECT_EQ(view.at("next_round").at("what"), "crop fill");
}

TEST(Shows, ProbesThatWereNeverHeardAreOneEntry) {
  const auto probe = [](const char* name, bool usable, bool heard, bool entered) {
    json line = {{"probe", name}, {"unit", "°C"}, {"usable", usable}, {"state", false}};
    if (heard) line["value"] = 30.5;
    if (entered) line["entered"] = true;
    return line;
  };
  const json probes = {probe("air_temperature/north", true, true, false), probe("air_temperature/south", false, true, false),
                       probe("crop_fill/hand", false, false, true), probe("feed/auger", false, false, false),
                       probe("gas_level/tank", false, false, false)};
  const json house = {{"house", "house-1"}, {"probes", probes}, {"rules", json::array()}, {"unwatched", json::array()}};
  const json path = {{"path", "modem"}, {"state", "proven"}, {"sent", "2026-03-03T01:10:00.000Z"}, {"proven", nullptr}, {"sent_local", "2026-03-03 02:10"}, {"proven_local", nullptr}};
  const std::string words = status_in_words({{"farm", "Sandpiper Hollow"}, {"time_local", "2026-03-03 02:30"}, {"on_duty", "ines"}, {"houses", json::array({house})},
                                             {"plugins", json::array()}, {"paths", json::array({path})}, {"unknown_names", json::array()}, {"alarms", json::array()}});
  EXPECT_EQ(words,
            "Sandpiper Hollow at 2026-03-03 02:30. On\nduty: ines.\n"
            "\nhouse-1: empty\n"
            "  air temperature      30.5 °C\n"
            "  silent    air_temperature/south\n"
            "  never heard: feed/auger, gas_level/tank\n"
            "\nPeople are reached by modem: proven, last\nsuccess 02:10\n"
            "\nNo alarms.\n");
}

TEST(Shows, WorkAndWhatIsShelvedWithItsReason) {
  const json house = {{"house", "house-2"}, {"work_until_local", "02:45"}, {"probes", json::array()}, {"rules", json::array()}, {"unwatched", json::array()},
                      {"shelved", json::array({{{"rule", "warmer-than-law"}, {"until_local", "04:30"}, {"who", "ines"}, {"why", "probe in the sun"}}})}};
  const std::string words = status_in_words({{"farm", "Sandpiper Hollow"}, {"time_local", "2026-03-03 02:30"}, {"on_duty", "ines"}, {"houses", json::array({house})},
                                             {"clock_trusted", true}, {"disk", ""}, {"plugins", json::array()}, {"paths", json::array()}, {"unknown_names", json::array()}, {"alarms", json::array()}});
  EXPECT_NE(words.find("  People work here until 02:45.\n  Shelved until 04:30: warmer-than-law\n  (ines: probe in the sun).\n"), std::string::npos) << words;
}

TEST(Shows, WithoutVolumeItSaysWhatIsMissing) {
  PackNight night(with_volume(""), march(3, 0), 32.5);
  night.run_to(march(3, 1));
  const json heat = house_view(night.bench().watch(), 0).at("danger").at(0);
  EXPECT_TRUE(heat.at("minutes").is_null());
  EXPECT_NE(heat.at("taken").dump().find("does not say the house's volume"), std::string::npos);
}

}  // namespace
}  // namespace underwing
