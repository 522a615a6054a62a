// Goal: a house that is not warm for the chicks is told in time: in the day before as something for today, from 6 h before
// placement on as a call. Method: the shipped packs over a house whose floor lags behind its air, minute by minute.

#include <gtest/gtest.h>

#include "tests/packs/pack_night.hpp"

namespace underwing {
namespace {

using namespace std::chrono_literals;

PackFarm with_probes_below() {
  PackFarm farm;
  farm.packs = "air, ready";
  farm.probes = "      floor_temperature: [slab]\n      litter_temperature: [middle]\n";
  return farm;
}

/// All that was told of one rule: "05:30 soon" a line.
std::string told_of(const std::vector<Told>& told, const std::string& head) {
  std::string text;
  for (const Told& it : told) {
    if (it.text.starts_with(head)) text += to_rfc3339(it.time).substr(11, 5) + " " + std::string(to_string(it.priority)) + "\n";
  }
  return text;
}

/// Placement is at 09:30 on the second; the floor begins at 18 °C a day before and follows in `hours`.
void run(PackNight& night, Instant until, double floor_c, double litter_c) {
  night.run_to(until, [&](Instant minute) {
    const double wobble = minute.time_since_epoch() / 1min % 2 == 0 ? 0.02 : -0.02;
    night.set("floor_temperature/slab", floor_c + wobble);
    night.set("litter_temperature/middle", litter_c + wobble);
  });
}

TEST(Ready, AColdFloorIsForTodayAtFirstAndThenACall) {
  PackNight night(with_probes_below(), march(1, 9, 30), 33);
  run(night, march(1, 13), 20, 29);
  const std::vector<Told> first = night.told();
  EXPECT_EQ(told_of(first, "H1 FLOOR NOT WARMING 20 C"), "11:45 soon\n") << first.size();
  EXPECT_EQ(told_of(first, "H1 LITTER"), "");
  run(night, march(2, 3, 29), 26.5, 29);
  (void)night.told();
  run(night, march(2, 4, 30), 26.5, 29);
  const std::vector<Told> call = night.told();
  ASSERT_FALSE(call.empty());
  EXPECT_TRUE(told_of(call, "H1 FLOOR COLD 26.5 C, limit 28 C").starts_with("04:00 urgent\n")) << told_of(call, "H1");
  EXPECT_NE(call.front().text.find("GO NOW: Gas smell? Get out. "), std::string::npos) << call.front().text;
  // Warm at last; nothing calls any more when the chicks come.
  run(night, march(2, 10), 30, 30);
  EXPECT_NE(night.events().find("returned floor-not-ready"), std::string::npos);
  EXPECT_FALSE(night.bench().has_alarm("floor-not-ready"));
}

TEST(Ready, WarmFloorAndLitterCallNobody) {
  PackNight night(with_probes_below(), march(1, 9, 30), 33);
  run(night, march(2, 9), 29.5, 31);
  for (const Told& it : night.told()) {
    EXPECT_NE(it.priority, Priority::urgent) << it.text;
    EXPECT_EQ(it.text.find("FLOOR"), std::string::npos) << it.text;
  }
}

TEST(Ready, AHouseWithoutProbesInItsFloorIsNotCalledFor) {
  PackFarm farm;
  farm.packs = "air, ready";
  PackNight night(farm, march(2, 2), 33);
  night.run_to(march(2, 9));
  EXPECT_EQ(night.first_call().time, kNever);
}

}  // namespace
}  // namespace underwing
