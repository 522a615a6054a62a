#include "rules/explain/plot.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <limits>
#include <set>

#include "rules/explain/by_age.hpp"

namespace underwing {
namespace {

double days_of(Duration age) {
  return hours_of(age) / 24.0;
}

}  // namespace

double Plot::Line::at(double age_d) const {
  if (points.empty()) return std::numeric_limits<double>::quiet_NaN();
  if (age_d <= points.front().first) return points.front().second;
  for (std::size_t i = 1; i < points.size(); ++i) {
    const auto& [x0, y0] = points[i - 1];
    const auto& [x1, y1] = points[i];
    if (age_d <= x1) return y0 + (y1 - y0) * (age_d - x0) / (x1 - x0);
  }
  return points.back().second;
}

std::optional<Plot> plot_of(const WatchedRule& rule, const Flock* flock, std::optional<Duration> marked, Units units) {
  if (!rule.flock) return std::nullopt;
  const auto [begin, end] = ages_shown(rule);
  // Every three hours shows limits that are no straight lines; the bends make those exact that are.
  std::set<Duration> ages{begin, end};
  for (Duration age = begin; age < end; age += std::chrono::hours(3)) ages.insert(age);
  for (const auto& curve : rule.curves) {
    for (const auto& point : curve->points) {
      if (point.first > begin && point.first < end) ages.insert(point.first);
    }
  }
  Plot plot;
  plot.title = rule.name;
  const Unit shown = shown_in(rule.unit, units);
  plot.unit = shown.text;
  plot.begin_d = days_of(begin);
  plot.end_d = days_of(end);
  if (marked && *marked >= begin && *marked <= end) plot.mark_d = days_of(*marked);
  for (const Limit& limit : rule.limits) {
    Plot::Line line{name_of_limit(rule, limit), limit.side, {}};
    for (const Duration age : ages) {
      const double value = limit_at(rule, limit, flock, age);
      if (std::isfinite(value)) line.points.emplace_back(days_of(age), shown.from_canonical(value));
    }
    if (!line.points.empty()) plot.lines.push_back(std::move(line));
  }
  return plot.lines.empty() ? std::nullopt : std::optional(std::move(plot));
}

std::pair<double, double> value_range(const Plot& plot) {
  double low = std::numeric_limits<double>::infinity();
  double high = -low;
  for (const Plot::Line& line : plot.lines) {
    for (const auto& [age, value] : line.points) {
      low = std::min(low, value);
      high = std::max(high, value);
    }
  }
  const double room = high > low ? (high - low) * 0.15 : std::max(1.0, std::fabs(high) * 0.25);
  return {low - room, high + room};
}

std::vector<double> round_ticks(double low, double high, std::size_t count) {
  const double rough = (high - low) / static_cast<double>(std::max<std::size_t>(1, count));
  const double power = std::pow(10.0, std::floor(std::log10(rough)));
  double step = 10 * power;
  for (const double times : {1.0, 2.0, 5.0}) {
    if (times * power >= rough * (1 - 1e-9)) {
      step = times * power;
      break;
    }
  }
  std::vector<double> ticks;
  for (double i = std::ceil(low / step - 1e-9); i * step <= high + step * 1e-9; i += 1)
    ticks.push_back(i * step);
  return ticks;
}

std::vector<double> age_ticks(double begin_d, double end_d, std::size_t count_max) {
  // Half days, days and weeks are what people count in; parts of days only where there are few.
  static constexpr std::array<double, 8> kSteps{0.25, 0.5, 1, 2, 7, 14, 28, 56};
  double step = kSteps.back();
  const bool parts = end_d - begin_d <= 3;
  for (const double candidate : kSteps) {
    if ((parts || candidate >= 1) && (end_d - begin_d) / candidate <= static_cast<double>(count_max)) {
      step = candidate;
      break;
    }
  }
  std::vector<double> ticks;
  for (double i = std::ceil(begin_d / step - 1e-9); i * step <= end_d + 1e-9; i += 1)
    ticks.push_back(i * step);
  return ticks;
}

}  // namespace underwing
