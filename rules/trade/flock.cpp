#include "rules/trade/flock.hpp"

#include <algorithm>
#include <cmath>
#include <limits>
#include <vector>

namespace underwing::flock {
namespace {

constexpr double kUnknown = std::numeric_limits<double>::quiet_NaN();
constexpr double k95 = 1.959963985;  // of the normal distribution

double middle_of(std::vector<double> values) {
  const auto half = values.begin() + static_cast<std::ptrdiff_t>(values.size() / 2);
  std::nth_element(values.begin(), half, values.end());
  return *half;
}

}  // namespace

double daily_mortality_percent(double lost, double present) {
  if (!(present > 0) || !(lost >= 0) || lost > present) return kUnknown;
  return 100 * lost / present;
}

double cumulative_daily_mortality_percent(double placed, std::span<const double> lost) {
  double present = placed;
  double sum = 0;
  for (const double day : lost) {
    sum += daily_mortality_percent(day, present);
    present -= day;
  }
  return sum;
}

double cumulative_mortality_limit_percent(double age_d) {
  return age_d >= 0 ? 1 + 0.06 * age_d : kUnknown;
}

bool near_middle(double weight, double middle) { return weight >= 0.5 * middle && weight <= 1.6 * middle; }

std::optional<Weights> weights_of(std::span<const double> weighings) {
  std::vector<double> kept(weighings.begin(), weighings.end());
  std::erase_if(kept, [](double it) { return !std::isfinite(it) || it <= 0; });
  if (kept.empty()) return std::nullopt;
  const double middle = middle_of(kept);
  std::erase_if(kept, [middle](double it) { return !near_middle(it, middle); });
  if (kept.size() < 2) return std::nullopt;
  Weights all;
  all.count = kept.size();
  all.middle = middle;
  all.left_out = weighings.size() - kept.size();
  const double n = static_cast<double>(kept.size());
  for (const double it : kept) all.mean += it / n;
  double squares = 0;
  double near = 0;
  for (const double it : kept) {
    squares += (it - all.mean) * (it - all.mean);
    if (std::fabs(it - all.mean) <= 0.1 * all.mean) ++near;
  }
  all.deviation = std::sqrt(squares / (n - 1));
  all.standard_error = all.deviation / std::sqrt(n);
  all.variation_percent = 100 * all.deviation / all.mean;
  all.uniformity_percent = 100 * near / n;
  return all;
}

double uniformity_of_variation_percent(double variation_percent) {
  if (!(variation_percent > 0)) return kUnknown;
  return 100 * std::erf(10 / variation_percent / std::sqrt(2.0));
}

double half_width_95_percent(double variation_percent, double count) {
  if (!(count > 0) || !(variation_percent >= 0)) return kUnknown;
  return k95 * variation_percent / std::sqrt(count);
}

}  // namespace underwing::flock
