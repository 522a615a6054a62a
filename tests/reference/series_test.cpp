// Goal: a series says the same however many readings it keeps, and keeps no more than it promises. Method: long rows of
// readings made up from a plain rule, against sums taken over all of them; medians against sorting. Every value is
// invented.

#include "rules/engine/series.hpp"

#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>
#include <cstdint>

namespace underwing {
namespace {

using std::chrono::minutes;
using std::chrono::seconds;

constexpr Instant kBegin{std::chrono::sys_days{std::chrono::year{2026} / 3 / 2}};

Measure measure_of(MeasureKind kind) {
  Measure measure;
  measure.name = "made_up";
  measure.kind = kind;
  measure.plausible_low = -1e6;
  measure.plausible_high = 1e9;
  measure.stale_after = minutes(5);
  return measure;
}

struct One {
  explicit One(MeasureKind kind) : measure(measure_of(kind)) {}
  void take(Duration after, double value) { (void)series.take(kBegin + after, value, kBegin + after); }

  Measure measure;
  Series::Quality quality{measure};
  Series series{measure, quality, kBegin};
};

/// Between -3 and 3, in quarters.
double wobble(std::int64_t number) { return static_cast<double>((number * 7919) % 25 - 12) / 4.0; }

TEST(Series, MeansRunOnOverManyBlocks) {
  One one(MeasureKind::gauge);
  const std::size_t slot = one.series.add_window(minutes(10), Expression::Function::mean);
  for (std::int64_t i = 0; i < 5000; ++i) {
    one.take(seconds(i), 30 + wobble(i));
    if (i % 60 == 0) one.series.trim(kBegin + seconds(i));
    if (i < 601 || i % 97 != 0) continue;
    // Each value holds for a second; the one at the end of the window has not held yet.
    double sum = 0;
    for (std::int64_t k = i - 600; k < i; ++k) sum += 30 + wobble(k);
    ASSERT_NEAR(one.series.window(slot, Expression::Function::mean, kBegin + seconds(i)), sum / 600, 1e-9) << i;
  }
  EXPECT_LE(one.series.readings_kept(), 662U);
}

TEST(Series, FindsExtremesThatWereNotAskedForMeanwhile) {
  One one(MeasureKind::gauge);
  const std::size_t slot = one.series.add_window(minutes(10), Expression::Function::lowest);
  for (std::int64_t i = 0; i < 4000; ++i) {
    one.take(seconds(i), 30 + wobble(i) - static_cast<double>(i % 500) / 100);
    if (i % 60 == 0) one.series.trim(kBegin + seconds(i));
    if (i < 1200 || i % 613 != 0) continue;
    double lowest = 100;
    for (std::int64_t k = i - 600; k <= i; ++k) lowest = std::min(lowest, 30 + wobble(k) - static_cast<double>(k % 500) / 100);
    ASSERT_EQ(one.series.window(slot, Expression::Function::lowest, kBegin + seconds(i)), lowest) << i;
  }
}

TEST(Series, KeepsNoMoreReadingsThanItPromises) {
  One one(MeasureKind::gauge);
  const std::size_t slot = one.series.add_window(std::chrono::hours(48), Expression::Function::mean);
  constexpr std::int64_t kReadings = Series::kReadingsMax + 10'000;
  double last_sum = 0;
  for (std::int64_t i = 0; i < kReadings; ++i) {
    one.take(seconds(i), 30 + wobble(i));
    ASSERT_LE(one.series.readings_kept(), Series::kReadingsMax);
  }
  // What is gone counts as not held: the mean is that of what is left.
  const auto kept = static_cast<std::int64_t>(one.series.readings_kept());
  EXPECT_GT(kept, static_cast<std::int64_t>(Series::kReadingsMax) - 100);
  for (std::int64_t k = kReadings - kept; k < kReadings - 1; ++k) last_sum += 30 + wobble(k);
  const Instant now = kBegin + seconds(kReadings - 1);
  EXPECT_NEAR(one.series.window(slot, Expression::Function::mean, now), last_sum / static_cast<double>(kept - 1), 1e-9);
}

TEST(Series, CountsWhatAMeterGrewOverBlocksAndANewBeginning) {
  One one(MeasureKind::counter);
  (void)one.series.add_window(std::chrono::hours(1), Expression::Function::total);
  double count = 0;
  for (std::int64_t i = 0; i < 6000; ++i) {
    count = i == 4500 ? 0.5 : count + 0.5;  // once it begins anew
    one.take(seconds(i), count);
    if (i % 60 == 0) one.series.trim(kBegin + seconds(i));
  }
  EXPECT_DOUBLE_EQ(one.series.grown_since(kBegin + seconds(4000)), 0.5 * 1999);
  EXPECT_DOUBLE_EQ(one.series.grown_since(kBegin + seconds(5998)), 0.5);
  EXPECT_TRUE(std::isnan(one.series.grown_since(kBegin + seconds(1000)))) << "longer ago than is kept";
}

TEST(Series, AddsUpATallyFromAnyMoment) {
  One one(MeasureKind::tally);
  double all = 0;
  for (std::int64_t i = 0; i < 300; ++i) {
    one.take(minutes(i), static_cast<double>(i % 4));
    all += static_cast<double>(i % 4);
  }
  EXPECT_EQ(one.series.tally_since(kBegin), all);
  EXPECT_EQ(one.series.tally_since(kBegin + minutes(296)), 0 + 1 + 2 + 3);
  EXPECT_EQ(one.series.tally_since(kBegin + minutes(300)), 0);
}

TEST(Medians, AreThoseOfTheSortedRow) {
  std::uint64_t bits = 1;
  const auto next = [&] { return bits = bits * 6364136223846793005ULL + 1442695040888963407ULL; };
  for (std::size_t size = 1; size < 300; ++size) {
    for (const std::uint64_t kinds : {1ULL, 2ULL, 7ULL, 1'000'000ULL}) {  // few kinds: many are equal
      std::vector<double> values;
      for (std::size_t i = 0; i < size; ++i) values.push_back(static_cast<double>((next() >> 33) % kinds) / 3.0);
      std::vector<double> sorted = values;
      std::sort(sorted.begin(), sorted.end());
      const double median = size % 2 == 1 ? sorted[size / 2] : (sorted[size / 2 - 1] + sorted[size / 2]) / 2.0;
      ASSERT_EQ(median_of(values), median) << size << " of " << kinds;
    }
  }
}

}  // namespace
}  // namespace underwing
