#pragma once

#include <optional>
#include <span>

/// What is reckoned about a flock from what people enter: birds, losses, weights. Pure functions; unknown is
/// NaN.
namespace underwing::flock {

/// Deaths and culls of one day as a percentage of the birds that were present when it began. Unknown where
/// none was. Source: Scottish Government, Welfare of meat chickens, mortality rate calculator; Defra, the
/// same method.
[[nodiscard]] double daily_mortality_percent(double lost, double present);

/// The cumulative daily mortality rate of Council Directive 2007/43/EC: the sum of the daily rates, `lost`
/// holding deaths and culls of each day from placement on. Unknown where more died than were there.
[[nodiscard]] double cumulative_daily_mortality_percent(double placed, std::span<const double> lost);

/// What that rate may be at slaughter where more than 39 kg/m2 are stocked: 1 % and 0.06 % for each day of
/// age. Source: Council Directive 2007/43/EC, Annex V; from memory.
[[nodiscard]] double cumulative_mortality_limit_percent(double age_d);

/// Of single weighings of a flock, in grams or kilograms.
struct Weights {
  std::size_t count = 0;     ///< of those that were taken
  std::size_t left_out = 0;  ///< doubles, empties and muck
  double middle = 0;         ///< the median that these were held against
  double mean = 0;
  double deviation = 0;           ///< standard deviation, by n - 1
  double standard_error = 0;      ///< of the mean
  double variation_percent = 0;   ///< coefficient of variation
  double uniformity_percent = 0;  ///< birds within 10 % of the mean
};

/// Weighings of less than half the middle one, or more than 1.6 times it, are left out: an empty platform,
/// muck, or two birds at once. They are held against the flock's own middle and not against a curve, so that
/// a flock that falls behind is seen. nullopt: fewer than two are left. CV = SD / mean; uniformity = share
/// within 10 % of the mean (Aviagen, Ross Broiler Management Handbook). The bounds are common practice: at a
/// usual CV of 10 % they lie five standard deviations out.
[[nodiscard]] bool near_middle(double weight, double middle);
[[nodiscard]] std::optional<Weights> weights_of(std::span<const double> weighings);

/// The uniformity that weights of this CV have where they are spread normally; mixed sexes are not.
[[nodiscard]] double uniformity_of_variation_percent(double variation_percent);

/// Half the width of the 95 % interval of a mean of `count` birds, in percent of it.
[[nodiscard]] double half_width_95_percent(double variation_percent, double count);

}  // namespace underwing::flock
