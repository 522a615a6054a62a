// Goal: while chicks brood in a part of the house, the probes of its empty part neither raise nor hide anything, and count
// from their age on. Method: the bench, with a flock file that names them.

#include <gtest/gtest.h>

#include "daemon/watch_explain.hpp"
#include "tests/watch/bench.hpp"

namespace underwing {
namespace {

using namespace std::chrono_literals;

constexpr const char* kSouth = "house-1/air_temperature/south";

std::shared_ptr<const RuleSet> part_house(const std::string& counts_from) {
  FarmTexts texts;
  FarmTexts::change(texts.flock, "packs:", "counts_from: " + counts_from + "\npacks:");
  return texts.load();
}

TEST(PartHouse, AColdEmptyEndRaisesNothing) {
  Bench bench(part_house("{south: 3 d}"));
  bench.set(kSouth, 18);
  bench.run_to(march(3, 20, 30));
  EXPECT_EQ(bench.events(), "");
  bench.reply("ines", "STATUS");
  bench.run(1min);
  const std::string told = bench.told(true);
  EXPECT_NE(told.find("H1 day 1: 33 C"), std::string::npos) << told;
}

TEST(PartHouse, NorDoesItHideAColdBroodingEnd) {
  Bench bench(part_house("{south: 3 d}"));
  bench.set("house-1/air_temperature/north", 28);
  bench.set(kSouth, 40);
  bench.run_to(march(3, 20, 6));
  EXPECT_EQ(bench.events(), "20:06:00 raised cold-air low\n");
}

TEST(PartHouse, ItsSilentProbesTroubleNobody) {
  Bench bench(part_house("{south: 3 d, centre: 3 d}"));
  bench.silence(kSouth);
  bench.silence("house-1/relative_humidity/centre");
  bench.run_to(march(3, 21, 30));
  EXPECT_EQ(bench.events(), "");
  for (const std::string& text : bench.texts()) EXPECT_EQ(text.find("silent"), std::string::npos) << text;
}

TEST(PartHouse, IsSilentAsAWholeWithoutThem) {
  Bench bench(part_house("{south: 3 d}"));
  bench.silence("house-1/air_temperature/north");
  bench.silence("house-1/relative_humidity/centre");
  bench.run_to(march(3, 20, 20));
  const std::string told = bench.told(true);
  EXPECT_NE(told.find("all its probes silent"), std::string::npos) << told;
}

TEST(PartHouse, CountsFromThatAgeOn) {
  Bench bench(part_house("{south: 3 d}"), march(5, 9, 20));
  bench.set(kSouth, 20);
  bench.run_to(march(5, 9, 40));
  EXPECT_EQ(bench.events(), "09:35:00 raised cold-air low\n");
}

TEST(PartHouse, CountsAfterAnOutageInWhichItsAgeCame) {
  Bench bench(part_house("{south: 3 d}"), march(5, 9, 20));
  bench.set(kSouth, 20);
  bench.run_to(march(5, 9, 28));
  EXPECT_EQ(bench.events(), "");
  bench.restart(bench.watch().snapshot(), 10min);
  bench.run_to(march(5, 9, 50));
  // Nobody knows of the air during the outage: the delay begins with the first reading after it.
  EXPECT_EQ(bench.events(), "09:44:00 raised cold-air low\n");
}

TEST(PartHouse, OfASilentProbeHearsFromThatAgeOn) {
  Bench bench(part_house("{south: 3 d}"), march(5, 9, 0));
  bench.silence(kSouth);
  bench.run_to(march(5, 10, 5));
  EXPECT_EQ(bench.events(), "10:00:00 trouble air_temperature/south probe-bad\n");
}

TEST(PartHouse, ARuleBeginsWithItsFirstProbe) {
  Bench bench(part_house("{centre: 3 d}"), march(5, 9, 20));
  bench.set("house-1/relative_humidity/centre", 95);
  bench.run_to(march(5, 9, 29));
  EXPECT_EQ(bench.events(), "");
  bench.run_to(march(5, 9, 32));
  EXPECT_EQ(bench.events(), "09:31:00 raised damp-air high\n");
}

TEST(PartHouse, AReloadTakesAProbeOut) {
  Bench bench;
  bench.set(kSouth, 18);
  bench.run_to(march(3, 20, 10));
  EXPECT_EQ(bench.events(), "20:06:00 raised cold-air low\n");
  bench.watch().reload(part_house("{south: 3 d}"));
  bench.settle();
  bench.run_to(march(3, 20, 30));
  EXPECT_EQ(bench.events(), "20:20:00 returned cold-air\n");
}

TEST(PartHouse, ExplainSaysSo) {
  Bench bench(part_house("{south: 3 d}"));
  bench.run_to(march(3, 20, 10));
  const RuleSet& rules = bench.watch().rules();
  std::size_t cold = 0;
  while (rules.rules[cold].name != "cold-air") ++cold;
  const nlohmann::json probe = explain_now(bench.watch(), cold).at("probes").at(1);
  EXPECT_EQ(probe.at("probe"), "air_temperature/south");
  EXPECT_EQ(probe.at("counts"), false);
  EXPECT_EQ(probe.at("text"), "not counted until day 3, 09:30");
}

}  // namespace
}  // namespace underwing
