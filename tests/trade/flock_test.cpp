// Goal: what is reckoned about a flock is what its sources reckon.
// Method: their worked examples, by hand where a source gives a rule only.
#include "rules/trade/flock.hpp"

#include <gtest/gtest.h>

#include <cmath>
#include <vector>

namespace underwing::flock {
namespace {

TEST(Flock, CumulativeDailyMortalityOfThreeDays) {
  // 20 000 placed: 40 of 20 000, 60 of 19 960, 50 of 19 900. The simple share would be 0.75 %.
  const std::vector<double> lost = {40, 60, 50};
  EXPECT_NEAR(cumulative_daily_mortality_percent(20000, lost), 0.2000 + 0.3006 + 0.2513, 1e-4);
  EXPECT_NEAR(daily_mortality_percent(200, 5000), 4, 1e-12);
  EXPECT_TRUE(std::isnan(daily_mortality_percent(1, 0)));
  EXPECT_TRUE(std::isnan(cumulative_daily_mortality_percent(50, lost)));
  EXPECT_EQ(cumulative_daily_mortality_percent(20000, {}), 0);
}

TEST(Flock, LimitAt42DaysFromMemory) {
  EXPECT_NEAR(cumulative_mortality_limit_percent(42), 3.52, 1e-12);
}

TEST(Flock, UniformityOfAHundredAndFifteenBirds) {
  // IASRI, e-course: 115 birds, mean 1050 g, 95 of them from 945 to 1155 g: about 83 %.
  std::vector<double> weights;
  for (int i = 0; i < 95; ++i) weights.push_back(i % 2 == 0 ? 1000 : 1100);
  weights[94] = 1050;
  for (int i = 0; i < 10; ++i) weights.insert(weights.end(), {940, 1160});
  const auto all = weights_of(weights);
  ASSERT_TRUE(all);
  EXPECT_NEAR(all->mean, 1050, 1e-9);
  EXPECT_NEAR(all->uniformity_percent, 82.6, 0.05);
}

TEST(Flock, UniformityWithinATenthOfTheMean) {
  // Hy-Line, Red Book, page 43: mean 1.320 kg, a tenth is 0.132; 1.452 is the upper end, 1.188 the lower one.
  const auto inside = weights_of(std::vector{1.320, 1.4519, 1.1881});
  const auto outside = weights_of(std::vector{1.320, 1.4521, 1.1879});
  EXPECT_NEAR(inside->uniformity_percent, 100, 1e-9);
  EXPECT_NEAR(outside->uniformity_percent, 100.0 / 3, 1e-9);
}

TEST(Flock, VariationAndUniformityOfNormalWeights) {
  const std::vector<std::pair<double, double>> table = {
      {5, 95.4}, {6, 90.4}, {7, 84.7}, {8, 78.9}, {9, 73.3}, {10, 68.3}, {12, 59.5}, {14, 52.5}, {16, 46.8}};
  for (const auto& [variation, uniformity] : table)
    EXPECT_NEAR(uniformity_of_variation_percent(variation), uniformity, 0.06) << variation;
}

TEST(Flock, HalfWidthsOfAMeanAtAVariationOf10) {
  const std::vector<std::pair<double, double>> table = {
      {30, 3.6}, {50, 2.8}, {100, 2.0}, {200, 1.4}, {500, 0.9}};
  for (const auto& [count, width] : table)
    EXPECT_NEAR(half_width_95_percent(10, count), width, 0.05) << count;
}

TEST(Flock, DoublesAndEmptiesAreLeftOut) {
  const auto all = weights_of(std::vector<double>{95, 100, 105, 100, 200, 210, 3, 0, std::nan("")});
  ASSERT_TRUE(all);
  EXPECT_EQ(all->count, 4U);
  EXPECT_EQ(all->left_out, 5U);
  EXPECT_NEAR(all->mean, 100, 1e-9);
  EXPECT_NEAR(all->deviation, std::sqrt(50.0 / 3), 1e-9);
  EXPECT_NEAR(all->standard_error, std::sqrt(50.0 / 3) / 2, 1e-9);
  EXPECT_NEAR(all->variation_percent, std::sqrt(50.0 / 3), 1e-9);
  EXPECT_FALSE(weights_of(std::vector<double>{100}));
  EXPECT_FALSE(weights_of(std::vector<double>{0, -1}));
}

}  // namespace
}  // namespace underwing::flock
