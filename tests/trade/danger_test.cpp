// Goal: the minutes that a house leaves are of the size that is published, and follow from what it was seen
// to do. Method: the published fan stop, and arithmetic by hand.
#include "rules/trade/danger.hpp"

#include <gtest/gtest.h>

#include <cmath>

namespace underwing::danger {
namespace {

TEST(Danger, FanStopAsPublished) {
  // Cobb-Vantress, Barnwell and Wilson, table 2: 20.0, 23.9, 27.8, 31.1 °C after 0, 5, 10 and 15 min.
  const double rise = (31.1 - 20.0) / 15;
  EXPECT_NEAR(rise, 0.74, 0.005);
  EXPECT_NEAR(*minutes_to_heat_as_seen(rise, 20.0, 27.8), 10, 0.6);
  // The same from the birds: 20 000 of 2 kg under 6000 m³ rise as fast, within a factor of two.
  const House house{6000, 20000, 2, 15, 0};
  const double minutes = *minutes_to_heat(house, 20.0, 31.1);
  EXPECT_GT(minutes, 15.0 / 2);
  EXPECT_LT(minutes, 15.0 * 2);
}

TEST(Danger, SensibleHeatFromMemory) {
  EXPECT_NEAR(sensible_heat_w(1, 20), 10.62 * (0.61 - 0.0912), 1e-9);
  EXPECT_EQ(sensible_heat_w(1, 60), 0);
  EXPECT_GT(sensible_heat_w(2, 20), sensible_heat_w(1, 20));
}

TEST(Danger, HeatNeedsBirdsAndMayFindItsBalance) {
  EXPECT_EQ(*minutes_to_heat({6000, 20000, 2, 15, 0}, 32, 30), 0);
  EXPECT_FALSE(minutes_to_heat({6000, 0, 2, 15, 0}, 20, 30));
  EXPECT_FALSE(minutes_to_heat({6000, 20000, 2, 15, 1e6}, 20, 30));
  EXPECT_FALSE(minutes_to_heat_as_seen(0, 20, 30));
  EXPECT_EQ(*minutes_to_heat_as_seen(-1, 31, 30), 0);
}

TEST(Danger, CoolingGoesByTheDistanceFromOutside) {
  // 31 K above outside and falling by 0.1 K a minute: 310 min. Down to 25 °C: 310 · ln(31 / 23).
  const double constant = *time_constant_min(33, 2, 0.1);
  EXPECT_NEAR(constant, 310, 1e-9);
  EXPECT_NEAR(*minutes_to_cool(constant, 33, 2, 25), 310 * std::log(31.0 / 23), 1e-9);
  EXPECT_EQ(*minutes_to_cool(constant, 24, 2, 25), 0);
  EXPECT_FALSE(minutes_to_cool(constant, 33, 26, 25));
  EXPECT_FALSE(time_constant_min(33, 2, 0));
  EXPECT_FALSE(time_constant_min(2, 2, 0.1));
}

}  // namespace
}  // namespace underwing::danger
