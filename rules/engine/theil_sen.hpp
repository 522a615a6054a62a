#pragma once

#include <span>
#include <utility>
#include <vector>

namespace underwing {

/// A point of a trend: minutes on the time axis, value in any unit.
struct TrendPoint {
  double minute = 0;
  double value = 0;
};

/// Theil-Sen slope: the median of the slopes of all pairs of points, in value per minute; of an even number
/// of pairs the mean of the middle two. Unknown (NaN) for fewer than two points. Times must differ.
/// `workspace` is scratch memory that grows to the number of pairs and may be reused.
/// Source: P. K. Sen, Estimates of the regression coefficient based on Kendall's tau, Journal of the American
/// Statistical Association 63 (1968), 1379-1389.
[[nodiscard]] double theil_sen_per_minute(std::span<const TrendPoint> points, std::vector<double>& workspace);

/// Median of `values`, which it reorders; of an even number the mean of the middle two. Unknown for none.
[[nodiscard]] double median_of(std::span<double> values);

}  // namespace underwing
