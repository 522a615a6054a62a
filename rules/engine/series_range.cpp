// Series: what it can say until the next whole minute.
#include <algorithm>

#include "rules/engine/counter.hpp"
#include "rules/engine/series.hpp"

namespace underwing {

namespace {
/// A reading is expected within so many mean steps of their mean, or of the last one where it wanders. Of
/// white noise one in a hundred thousand lies outside.
constexpr double kStepsFromMean = 4, kStepsFromLast = 2;
/// A counter is not expected to grow by more than so many times what it grew in the minute before.
constexpr double kGrowthExpected = 3;
}  // namespace

Series::Band Series::expected_within(const Outlook& outlook) const {
  if (!usable(outlook.now)) return {};
  // Readings that go on being equal may make it flat.
  if (outlook.until - run_begin_ >= quality_->flat_after) return {};
  switch (kind_) {
    case MeasureKind::gauge:
      return {std::min(mean_value_ - kStepsFromMean * mean_step_, last_value_ - kStepsFromLast * mean_step_),
              std::max(mean_value_ + kStepsFromMean * mean_step_, last_value_ + kStepsFromLast * mean_step_)};
    case MeasureKind::counter: {
      const double before = held_at(outlook.now - outlook.length());
      const double grown = known(before) ? std::max(0.0, last_value_ - before) : 0.0;
      return {last_value_, last_value_ + std::max(kStepsFromMean * mean_step_, kGrowthExpected * grown)};
    }
    case MeasureKind::state:
      return {last_value_, last_value_};
    case MeasureKind::sample:  // each stands for itself
      return {-Range::kFar, Range::kFar};
    default:
      return {};
  }
}

Range Series::held_range(const Outlook& outlook) const {
  if (!usable(outlook.now)) return Range::unknown();
  return gate.expected.empty() || kind_ == MeasureKind::sample ? Range::open() : Range::between(gate.expected.low, gate.expected.high);
}

/// The entries that hold at the window's beginning, now and until the outlook ends. nullopt: with a gap
/// between, or more than the window has.
std::optional<Series::Leaving> Series::leaving(const Window& window, const Outlook& outlook) const {
  const Instant start = outlook.now - window.span, end = outlook.until - window.span;
  if (window.span <= outlook.length() || window.cursor < first_ || start - window.base.time >= stale_after())
    return std::nullopt;
  Entry holds = window.base;
  Leaving found{holds.value, holds.value, window.base_sums.grown};
  for (std::int64_t number = window.cursor + 1; number <= last() && at(number).time <= end; ++number) {
    const Entry& entry = at(number);
    if (entry.time - holds.time >= stale_after()) return std::nullopt;
    found.low = std::min(found.low, entry.value);
    found.high = std::max(found.high, entry.value);
    if (kind_ == MeasureKind::counter) found.grown += counter_growth(holds.value, entry.value);
    holds = entry;
  }
  return end - holds.time < stale_after() ? std::optional(found) : std::nullopt;
}

Range Series::mean_range(const Window& window, const Outlook& outlook) const {
  const Band& band = gate.expected;
  const Duration held = held_in(window, outlook.now);
  const double mean = mean_held(window, outlook.now);
  if (!known(mean)) return Range::open();
  const auto moved = [&](double down, double up) {
    return Range::between(mean + std::min(0.0, down), mean + std::max(0.0, up));
  };
  const auto length = static_cast<double>(outlook.length().count());
  if (held == window.span) {
    const auto gone = leaving(window, outlook);
    if (!gone) return Range::open();
    const double share = length / static_cast<double>(window.span.count());
    return moved((band.low - gone->high) * share, (band.high - gone->low) * share);
  }
  // It is filling: nothing leaves it yet.
  if (window.cursor >= first_ || entries_.front().time < outlook.until - window.span) return Range::open();
  const double share = length / (length + static_cast<double>(held.count()));
  return moved((band.low - mean) * share, (band.high - mean) * share);
}

Range Series::total_range(const Window& window, const Outlook& outlook) const {
  const double grown = total(window, outlook.now);
  if (!known(grown)) return Range::open();
  const double more = gate.expected.high - last_value_;
  if (window.cursor < first_) {
    // It is filling: what it counts from stays.
    return entries_.front().time < outlook.until - window.span ? Range::open()
                                                               : Range::between(grown, grown + more);
  }
  const auto gone = leaving(window, outlook);
  if (!gone) return Range::open();
  return Range::between(grown - (gone->grown - window.base_sums.grown), grown + more);
}

Range Series::extreme_range(const Window& window, Expression::Function function, const Outlook& outlook) const {
  if (window.span <= outlook.length()) return Range::open();
  const double lowest = extreme(window, Expression::Function::lowest, outlook.now);
  const double highest = extreme(window, Expression::Function::highest, outlook.now);
  if (!known(lowest)) return Range::open();
  // What is held now stays in the window.
  const double low = std::min(lowest, gate.expected.low), high = std::max(highest, gate.expected.high);
  if (function == Expression::Function::lowest) return Range::between(low, last_value_);
  if (function == Expression::Function::highest) return Range::between(last_value_, high);
  return Range::between(0, high - low);
}

Range Series::window_range(std::size_t slot, Expression::Function function, const Outlook& outlook) {
  using enum Expression::Function;
  // Silent or flat, it says nothing until the next reading, which then is one that was not expected.
  if (flat_ || !ever_good_) return point_like() ? Range::open() : Range::unknown();
  const double now = window(slot, function, outlook.now);
  const Window& window = windows_[slot];
  if (!usable(outlook.now) && !known(now) && outlook.now - last_good_ > silent_after(window))
    return Range::unknown();
  const Band& band = gate.expected;
  if (band.empty() || point_like() || readings_kept() > kReadingsMax / 2)
    return Range::open();  // a full one loses its oldest early
  if (function == slope) return outlook.has_within(window.trend->step) ? Range::open() : Range::point(now);
  const Duration held = held_in(window, outlook.now);
  const bool half_held = (held - outlook.length()) * 2 >= window.span;
  if (function != change && (held + outlook.length()) * 2 < window.span) return Range::unknown();
  switch (function) {
    case mean:
      return mean_range(window, outlook);
    case total:
      return half_held ? total_range(window, outlook) : Range::open();
    case lowest:
    case highest:
    case spread:
      return half_held ? extreme_range(window, function, outlook) : Range::open();
    case change: {
      if (window.cursor < first_ && entries_.front().time > outlook.until - window.span)
        return Range::unknown();
      const auto gone = leaving(window, outlook);
      return gone ? Range::between(band.low - gone->high, band.high - gone->low) : Range::open();
    }
    default:
      return Range::open();
  }
}

}  // namespace underwing
