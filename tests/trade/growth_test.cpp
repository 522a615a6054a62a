// Goal: what is said of a flock's weight is certain, and a scale that shows its own curve is found out.
// Method: flocks made up from a seed whose true weight is known; a curve that can be reckoned by hand; the
// published points of the distribution of the range.
#include "rules/trade/growth.hpp"

#include <gtest/gtest.h>

#include <cmath>
#include <random>
#include <vector>

namespace underwing::growth {
namespace {

using namespace std::chrono_literals;

const Curve kCurve{"by_hand", *parse_unit("g"), {{0h, 40}, {24h * 7, 208}, {24h * 14, 544}}, ""};  // 24 g, then 48 g a day

std::vector<Weighing> made_up(double share, double variation, std::size_t count, double from_h, double to_h, unsigned seed) {
  std::mt19937 random(seed);
  std::normal_distribution<double> bird(share, share * variation);
  std::vector<Weighing> all;
  for (std::size_t i = 0; i < count; ++i) {
    const double age_h = from_h + (to_h - from_h) * static_cast<double>(i) / static_cast<double>(count);
    all.push_back({age_h, bird(random) * (40 + age_h)});  // the curve up to day 7: 1 g an hour
  }
  return all;
}

TEST(Growth, WeightIsThatOfTheHourAskedFor) {
  // A flock of exactly 0.9 of the curve, weighed over the 24 h before an age of 144 h: 0.9 · 184 g there.
  const auto all = weigh(made_up(0.9, 1e-6, 100, 120, 144, 1), kCurve, 144);
  ASSERT_TRUE(all);
  EXPECT_NEAR(all->weight_g.middle, 0.9 * 184, 0.01);
  EXPECT_LT(all->share.variation_percent, 0.01) << "a day's growth is no spread of the birds";
  // 165.6 g stand on the curve at 125.6 h.
  ASSERT_TRUE(all->behind_h);
  EXPECT_NEAR(all->behind_h->middle, 144 - 125.6, 0.01);
}

TEST(Growth, IntervalHoldsTheTruthInNineteenOfTwenty) {
  int held = 0, lag_held = 0;
  for (unsigned seed = 1; seed <= 400; ++seed) {
    const auto all = weigh(made_up(0.95, 0.1, 200, 120, 144, seed), kCurve, 144);
    ASSERT_TRUE(all);
    held += all->weight_g.low <= 0.95 * 184 && 0.95 * 184 <= all->weight_g.high;
    const double truth = 144 - (0.95 * 184 - 40);
    lag_held += all->behind_h->low <= truth && truth <= all->behind_h->high;
  }
  EXPECT_NEAR(held / 400.0, 0.95, 0.03);
  EXPECT_EQ(lag_held, held) << "the lag is the same interval, read on the other axis";
}

TEST(Growth, DoublesAndEmptiesDoNotMoveIt) {
  std::vector<Weighing> weighings = made_up(1, 0.08, 300, 120, 144, 7);
  const double clean = weigh(weighings, kCurve, 144)->weight_g.middle;
  for (int i = 0; i < 40; ++i) {
    weighings.push_back({130, 2 * 170.0});
    weighings.push_back({131, 5});
  }
  const auto all = weigh(weighings, kCurve, 144);
  EXPECT_EQ(all->share.left_out, 80U);
  EXPECT_NEAR(all->weight_g.middle, clean, 0.01);
}

TEST(Growth, FewWeighingsSayNothing) {
  EXPECT_FALSE(weigh(made_up(1, 0.1, kFewest - 1, 120, 144, 1), kCurve, 144));
  EXPECT_TRUE(weigh(made_up(1, 0.05, kFewest, 120, 144, 1), kCurve, 144));
  EXPECT_FALSE(weigh({}, kCurve, 144));
  // Beyond the curve's ends nobody knows by how much it is behind.
  EXPECT_FALSE(weigh(made_up(0.2, 0.01, 100, 0, 24, 1), kCurve, 24)->behind_h);
}

TEST(Growth, ForecastKeepsTheShareAndWidensByTheDay) {
  const auto now = weigh(made_up(0.9, 1e-6, 100, 72, 96, 1), kCurve, 96);
  const auto then = forecast_day_7(*now, kCurve, 96);
  ASSERT_TRUE(then);
  EXPECT_NEAR(then->middle, 0.9 * 208, 0.01);
  // 3 days: 1.96 · 2 % · √3 of it, each way.
  EXPECT_NEAR(then->high - then->middle, 1.96 * 0.02 * std::sqrt(3.0) * 0.9 * 208, 0.05);
  EXPECT_FALSE(forecast_day_7(*now, kCurve, 168));
}

TEST(Growth, RangeOfNormalNumbersAsTippettHasItFromMemory) {
  // Mean range of 10, 100 and 1000: 3.08, 5.02, 6.48 standard deviations. It is skewed, so that a little more than half
  // lies below the mean.
  for (const auto& [count, mean] : {std::pair(10.0, 3.08), std::pair(100.0, 5.02), std::pair(1000.0, 6.48)}) {
    EXPECT_NEAR(chance_of_range(mean, count), 0.53, 0.03) << count;
    // The mean from its distribution: the integral of what lies above.
    double above = 0;
    for (double range = 0; range < 14; range += 0.02) above += 0.02 * (1 - chance_of_range(range + 0.01, count));
    EXPECT_NEAR(above, mean, 0.01) << count;
  }
}

TEST(Growth, ScaleThatTakesOnlyWhatIsNearItsCurveIsFoundOut) {
  int honest_cut = 0, hiding_found = 0;
  for (unsigned seed = 1; seed <= 200; ++seed) {
    // Birds 15 % behind: the scale's window of 20 % round the curve takes the upper part of them.
    std::vector<Weighing> taken;
    for (const Weighing& it : made_up(0.85, 0.1, 2000, 120, 144, seed)) {
      if (std::fabs(it.weight_g / (40 + it.age_h) - 1) <= 0.2) taken.push_back(it);
    }
    const auto hiding = weigh(taken, kCurve, 144);
    hiding_found += hiding->cut;
    std::vector<Weighing> even;
    for (const Weighing& it : made_up(1, 0.1, 2000, 120, 144, seed)) {
      if (std::fabs(it.weight_g / (40 + it.age_h) - 1) <= 0.15) even.push_back(it);
    }
    EXPECT_TRUE(weigh(even, kCurve, 144)->cut) << "a flock on its curve, cut on both sides";
    EXPECT_GT(hiding->share.mean, 0.87) << "and looks heavier than it is";
    honest_cut += weigh(made_up(0.85, 0.1, 2000, 120, 144, seed), kCurve, 144)->cut;
  }
  EXPECT_EQ(hiding_found, 200);
  EXPECT_LE(honest_cut, 1);
}

}  // namespace
}  // namespace underwing::growth
