#include "rules/trade/growth.hpp"

#include <algorithm>
#include <cmath>
#include <vector>

#include "rules/language/check.hpp"

namespace underwing::growth {
namespace {

constexpr double k95 = 1.959963985;  // of the normal distribution
constexpr double kWanders = 0.02;    // of the share, a day
constexpr double kDay7_h = 168;
constexpr double kByChance = 0.001;
constexpr double kMostCounted = 500;

double normal_below(double z) { return 0.5 * std::erfc(-z / std::sqrt(2.0)); }

/// The age at which a rising curve has this weight; nullopt beyond its ends.
std::optional<double> age_of_weight(const Curve& curve, double weight_g) {
  const auto& points = curve.points;
  for (std::size_t i = 1; i < points.size(); ++i) {
    const auto& [begin, least] = points[i - 1];
    const auto& [end, most] = points[i];
    if (!(least < most) || weight_g < least || weight_g > most) continue;
    return hours_of(begin) + hours_of(end - begin) * (weight_g - least) / (most - least);
  }
  return std::nullopt;
}

std::optional<Interval> behind(const Curve& curve, const Interval& weight_g, double age_h) {
  const auto middle = age_of_weight(curve, weight_g.middle);
  const auto light = age_of_weight(curve, weight_g.low);
  const auto heavy = age_of_weight(curve, weight_g.high);
  if (!middle || !light || !heavy) return std::nullopt;
  return Interval{age_h - *middle, age_h - *heavy, age_h - *light};
}

std::vector<double> shares_of(std::span<const Weighing> weighings, const Curve& curve) {
  std::vector<double> shares;
  for (const Weighing& it : weighings) {
    const double wanted = value_of(curve, it.age_h);
    if (wanted > 0) shares.push_back(it.weight_g / wanted);
  }
  return shares;
}

/// Whether the lightest and the heaviest that were taken lie too near.
bool cut_among(std::span<const double> shares, const flock::Weights& of) {
  double least = of.mean, most = of.mean;
  for (const double it : shares) {
    if (!flock::near_middle(it, of.middle)) continue;
    least = std::min(least, it);
    most = std::max(most, it);
  }
  return of.deviation > 0 && looks_cut((of.mean - least) / of.deviation, (most - of.mean) / of.deviation, of.count);
}

}  // namespace

double chance_of_range(double range, double count) {
  // n times the integral over the lowest one of its density, and of the others lying within the range above it.
  constexpr double kStep = 0.02, kEnd = 8;
  double sum = 0;
  for (double low = -kEnd; low < kEnd; low += kStep) {
    const double at = low + kStep / 2;
    const double density = std::exp(-at * at / 2) / std::sqrt(2 * std::acos(-1.0));
    sum += kStep * density * std::pow(normal_below(at + range) - normal_below(at), count - 1);
  }
  return std::min(1.0, count * sum);
}

bool looks_cut(double below, double above, std::size_t count) {
  const double counted = std::min(static_cast<double>(count) / 2, kMostCounted);
  if (counted < static_cast<double>(kFewest)) return false;
  // All of them on this side of the nearer edge.
  const double edge = std::pow(normal_below(std::min(below, above)), counted);
  return edge < kByChance || chance_of_range(below + above, counted) < kByChance;
}

double half_width_95(const flock::Weights& share) { return k95 * share.standard_error; }

std::optional<flock::Weights> share_of(std::span<const Weighing> weighings, const Curve& curve) {
  const auto of = flock::weights_of(shares_of(weighings, curve));
  return of && of->count >= kFewest ? of : std::nullopt;
}

std::optional<Estimate> weigh(std::span<const Weighing> weighings, const Curve& curve, double age_h) {
  const std::vector<double> shares = shares_of(weighings, curve);
  const auto of = share_of(weighings, curve);
  if (!of) return std::nullopt;
  Estimate all;
  all.share = *of;
  const double now_g = value_of(curve, age_h);
  const double half = half_width_95(*of);
  all.weight_g = {of->mean * now_g, (of->mean - half) * now_g, (of->mean + half) * now_g};
  all.behind_h = behind(curve, all.weight_g, age_h);
  all.cut = cut_among(shares, *of);
  return all;
}

std::optional<Interval> forecast_day_7(const Estimate& estimate, const Curve& curve, double age_h) {
  if (age_h >= kDay7_h) return std::nullopt;
  const double days = (kDay7_h - age_h) / 24;
  const double share = estimate.share.mean;
  const double half = k95 * std::hypot(estimate.share.standard_error, share * kWanders * std::sqrt(days));
  const double then_g = value_of(curve, kDay7_h);
  return Interval{share * then_g, (share - half) * then_g, (share + half) * then_g};
}

}  // namespace underwing::growth
