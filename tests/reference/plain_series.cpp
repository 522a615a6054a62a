#include "tests/reference/plain_series.hpp"

#include <algorithm>
#include <cmath>

namespace underwing::reference {
namespace {

using Function = Expression::Function;

std::optional<double> of_values(Function function, const std::vector<double>& values) {
  if (values.empty()) return std::nullopt;
  const auto [lowest, highest] = std::minmax_element(values.begin(), values.end());
  if (function == Function::lowest) return *lowest;
  if (function == Function::highest) return *highest;
  return *highest - *lowest;
}

/// Less than half of the span is held: too little to tell.
bool too_little(Duration held, Duration span) {
  return 2 * held < span;
}

}  // namespace

bool same(double left, double right) {
  return std::abs(left - right) < std::max(1e-9, 1e-9 * std::max(std::abs(left), std::abs(right)));
}

bool below(double left, double right) {
  return left < right && !same(left, right);
}

double median_of(std::vector<double> values) {
  std::sort(values.begin(), values.end());
  const std::size_t middle = values.size() / 2;
  if (values.size() % 2 == 1) return values[middle];
  return (values[middle - 1] + values[middle]) / 2;
}

double median_slope(const std::vector<Point>& points) {
  std::vector<double> slopes;
  for (std::size_t i = 0; i < points.size(); ++i) {
    for (std::size_t j = i + 1; j < points.size(); ++j) {
      slopes.push_back((points[j].value - points[i].value) / hours_of(points[j].time - points[i].time));
    }
  }
  return median_of(std::move(slopes));
}

bool PlainSeries::take(Instant time, double raw) {
  if (!taken_.empty() && time <= taken_.back().time) return false;
  const std::string failed = judge(time, raw);
  const Taken reading{time, raw, measure_.unit.to_canonical(raw), failed};
  taken_.push_back(reading);
  if (failed.empty()) good_.push_back(reading);
  return true;
}

std::string PlainSeries::judge(Instant time, double raw) const {
  const double low = measure_.kind == MeasureKind::tally ? -measure_.plausible_high : measure_.plausible_low;
  if (below(raw, low) || below(measure_.plausible_high, raw)) return "gross range";
  if (!measure_.max_rate_per_min || good_.empty()) return "";
  const Taken& last = good_.back();
  const Duration between = time - last.time;
  if (between >= measure_.stale_after) return "";
  const double minutes = std::max(1.0, static_cast<double>(between.count()) / 60'000.0);
  return below(*measure_.max_rate_per_min * minutes, std::abs(raw - last.raw)) ? "rate of change" : "";
}

std::string PlainSeries::failed_test() const {
  if (taken_.empty()) return "";
  if (!taken_.back().failed.empty()) return taken_.back().failed;
  return flat() ? "flat line" : "";
}

bool PlainSeries::flat() const {
  if (!measure_.flat_after || measure_.kind != MeasureKind::gauge) return false;
  if (good_.empty()) return false;
  std::size_t first = good_.size() - 1;
  while (first > 0 && good_[first - 1].raw == good_.back().raw) --first;
  return good_.size() - first >= 5 && good_.back().time - good_[first].time >= *measure_.flat_after;
}

bool PlainSeries::usable(Instant now) const {
  return held_at(now).has_value() && !flat();
}

std::optional<Instant> PlainSeries::first_good() const {
  if (good_.empty()) return std::nullopt;
  return good_.front().time;
}

std::optional<Instant> PlainSeries::last_good() const {
  if (good_.empty()) return std::nullopt;
  return good_.back().time;
}

std::optional<double> PlainSeries::held_at(Instant time) const {
  for (auto it = good_.rbegin(); it != good_.rend(); ++it) {
    if (it->time > time) continue;
    if (time - it->time < measure_.stale_after) return it->value;
    return std::nullopt;
  }
  return std::nullopt;
}

double PlainSeries::sum(Instant after, Instant until) const {
  double sum = 0;
  for (const Taken& reading : good_) {
    if (reading.time > after && reading.time <= until) sum += reading.value;
  }
  return sum;
}

std::vector<Point> PlainSeries::readings(Instant after, Instant until) const {
  std::vector<Point> found;
  for (const Taken& reading : good_) {
    if (reading.time > after && reading.time <= until) found.push_back({reading.time, reading.value});
  }
  return found;
}

std::vector<PlainSeries::Held> PlainSeries::held_parts(Instant from, Instant now) const {
  std::vector<Held> parts;
  for (std::size_t i = 0; i < good_.size(); ++i) {
    if (good_[i].time > now) break;
    Instant end = good_[i].time + measure_.stale_after;
    if (i + 1 < good_.size()) end = std::min(end, good_[i + 1].time);
    // Held at the window's start counts; replaced or stale at that very instant does not.
    if (end <= from) continue;
    parts.push_back({std::max(good_[i].time, from), std::min(end, now), good_[i].value});
  }
  return parts;
}

bool PlainSeries::silent_or_flat(Duration span, Instant now) const {
  if (flat()) return true;
  const auto last = last_good();
  if (!last) return true;
  const Duration silence = now - *last;
  return 4 * silence > span && silence > measure_.stale_after;
}

std::optional<double> PlainSeries::window(Function function, Duration span, Instant now) const {
  if (function == Function::total && measure_.kind == MeasureKind::tally) return sum(now - span, now);
  if (flat()) return std::nullopt;
  switch (function) {
    case Function::change: {
      const auto held = held_at(now);
      const auto earlier = held_at(now - span);
      if (!held || !earlier) return std::nullopt;
      return *held - *earlier;
    }
    case Function::total:
      return growth(span, now);
    default:
      break;
  }
  if (silent_or_flat(span, now)) return std::nullopt;
  return measure_.kind == MeasureKind::sample ? of_samples(function, span, now)
                                              : of_held(function, span, now);
}

std::optional<double> PlainSeries::of_held(Function function, Duration span, Instant now) const {
  const std::vector<Held> parts = held_parts(now - span, now);
  Duration held{0};
  double weighted = 0;
  std::vector<double> values;
  for (const Held& part : parts) {
    held += part.end - part.begin;
    weighted += part.value * hours_of(part.end - part.begin);
    values.push_back(part.value);
  }
  if (too_little(held, span)) return std::nullopt;
  if (function == Function::mean) return weighted / hours_of(held);
  return of_values(function, values);
}

std::optional<double> PlainSeries::of_samples(Function function, Duration span, Instant now) const {
  std::vector<double> values;
  double sum = 0;
  for (const Taken& reading : good_) {
    if (reading.time <= now - span || reading.time > now) continue;
    values.push_back(reading.value);
    sum += reading.value;
  }
  if (values.empty()) return std::nullopt;
  if (function == Function::mean) return sum / static_cast<double>(values.size());
  return of_values(function, values);
}

std::optional<double> PlainSeries::growth(Duration span, Instant now) const {
  if (!held_at(now)) return std::nullopt;
  const Instant from = now - span;
  Duration held{0};
  for (const Held& part : held_parts(from, now)) held += part.end - part.begin;
  if (too_little(held, span)) return std::nullopt;

  std::size_t base = 0;
  while (base + 1 < good_.size() && good_[base + 1].time <= from) ++base;
  if (good_[base].time <= from && from - good_[base].time > measure_.stale_after) ++base;
  double grown = 0;
  for (std::size_t i = base + 1; i < good_.size(); ++i) {
    const double before = good_[i - 1].value;
    const double after = good_[i].value;
    if (below(after, before / 2)) {
      grown += after;
    } else if (after > before) {
      grown += after - before;
    }
  }
  return grown;
}

std::optional<double> PlainSeries::slope_at(Instant minute, Duration span) const {
  const auto hours = std::chrono::ceil<std::chrono::hours>(span).count();
  const std::chrono::minutes step(std::max<std::int64_t>(1, hours));
  std::vector<Point> points;
  for (Instant at = ceil_minute(minute - span); at <= minute; at += std::chrono::minutes(1)) {
    if (at.time_since_epoch() % step != Duration::zero()) continue;
    if (const auto held = held_at(at)) points.push_back({at, *held});
  }
  if (points.size() < 5) return std::nullopt;
  if (too_little(points.back().time - points.front().time, span)) return std::nullopt;
  return median_slope(points);
}

}  // namespace underwing::reference
