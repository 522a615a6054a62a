#include "rules/engine/series.hpp"

#include <algorithm>
#include <cmath>
#include <limits>

#include "rules/engine/compare.hpp"
#include "rules/engine/counter.hpp"

namespace underwing {

namespace {

constexpr double kParts = 1e9;                 // of a unit, in the whole-number sums
constexpr std::uint8_t kFlatReadingsMin = 5;    // equal readings in a row before a line counts as flat
constexpr std::size_t kTrendPointsMin = 5;
constexpr float kNewestWeight = 1.0F / 16;     // in the means from which the next readings are expected
constexpr auto kMinute = std::chrono::minutes(1);
constexpr double kNoRate = std::numeric_limits<double>::infinity();

std::int64_t to_parts(double value) { return std::llround(value * kParts); }

/// Sums of 128 bits mostly fit into 64, which the processor converts by itself; the result is the same.
__extension__ double to_double(__int128 sum) {
  const auto small = static_cast<std::int64_t>(sum);
  return small == sum ? static_cast<double>(small) : static_cast<double>(sum);
}

template <typename Candidates, typename Condition>
void drop_while(Candidates& ring, Condition condition) {
  while (!ring.empty() && condition(ring.front().number)) ring.pop_front();
}

}  // namespace

const char* to_string(QualityTest test) {
  switch (test) {
    case QualityTest::none: return "none";
    case QualityTest::gross_range: return "gross range";
    case QualityTest::rate_of_change: return "rate of change";
    case QualityTest::flat_line: return "flat line";
    case QualityTest::neighbour: return "neighbour";
  }
  return "";
}

Series::Quality::Quality(const Measure& measure)
    // A tally takes back by a negative reading what was entered wrongly.
    : plausible_low(measure.kind == MeasureKind::tally ? -measure.plausible_high : measure.plausible_low),
      plausible_high(measure.plausible_high),
      max_rate_per_min(measure.max_rate_per_min.value_or(kNoRate)),
      stale_after(measure.stale_after),
      flat_after(measure.kind == MeasureKind::gauge ? measure.flat_after.value_or(Duration::max()) : Duration::max()) {}

Series::Series(const Measure& measure, const Quality& quality, Instant begin)
    : kind_(measure.kind), quality_(&quality), measure_(&measure), begin_(begin) {}

std::size_t Series::add_window(Duration span, Expression::Function function) {
  std::size_t slot = 0;
  while (slot < windows_.size() && windows_[slot].span != span) ++slot;
  if (slot == windows_.size()) {
    windows_.emplace_back();
    windows_.back().span = span;
    span_max_ = std::max(span_max_, span);
  }
  Window& window = windows_[slot];
  using enum Expression::Function;
  const bool extreme = function == lowest || function == highest || function == spread;
  if (extreme && !window.extremes) window.extremes = std::make_unique<Extremes>();
  if (function == slope && !window.trend) {
    window.trend = std::make_unique<Trend>();
    has_trend_ = true;
    newest_minute_ = begin_;
    Trend& trend = *window.trend;
    trend.slope_per_h = kUnknown;
    trend.step = minute_step(span);
    // A reading that comes late may still give a value to minutes before the watch began.
    for (Instant m = ceil_minute(begin_ - span); m < begin_; m += kMinute) {
      if (m.time_since_epoch() % trend.step == Duration::zero()) trend.minutes.emplace_back(m, kUnknown);
    }
  }
  return slot;
}

Instant Series::end_of(std::int64_t number) const {
  const Entry& entry = at(number);
  if (point_like()) return entry.time + Duration(1);  // a sample stands in a window as long as its instant does
  const Instant stale = entry.time + stale_after();
  return number == last() ? stale : std::min(stale, at(number + 1).time);
}

Series::Taken Series::take(Instant time, double value, Instant now) {
  Taken taken;
  if (time <= newest_) return taken;
  taken.newer = true;
  newest_ = time;
  if (!known(value) || below(value, quality_->plausible_low) || below(quality_->plausible_high, value)) {
    taken.failed = QualityTest::gross_range;
    return taken;
  }
  if (quality_->max_rate_per_min < kNoRate && fresh(time)) {
    const double minutes = std::max(1.0, hours_of(time - last_good_) * 60.0);
    if (below(quality_->max_rate_per_min * minutes, std::fabs(value - last_value_))) {
      taken.failed = QualityTest::rate_of_change;
      return taken;
    }
  }
  taken.ran_back = kind_ == MeasureKind::counter && ever_good() && value < last_value_ &&
                   value >= last_value_ / 2;
  taken.first_good = !ever_good();
  note_run(time, value);
  append(time, value);
  if (has_trend_ && time <= newest_minute_) {
    for (Window& window : windows_) {
      if (window.trend) mend_minutes(*window.trend, time, value);
    }
  }
  // Looked at for each block: it may fill up.
  if (room_ == kChunk - 1 && entries_.places() > kReadingsMax) trim(now);
  return taken;
}

void Series::note_run(Instant time, double value) {
  if (run_count_ > 0 && value == last_value_) {
    run_count_ = std::min<std::uint8_t>(run_count_ + 1, kFlatReadingsMin);
  } else {
    run_begin_ = time;
    run_count_ = 1;
  }
  flat_ = run_count_ >= kFlatReadingsMin && time - run_begin_ >= quality_->flat_after;
}

void Series::append(Instant time, double value) {
  const Entry entry{time, value};
  const bool first = !ever_good_;
  if (first) {
    ever_good_ = true;
    first_good_ = time;
    mean_value_ = static_cast<float>(value);
    if (point_like()) last_grown_ = value;
    first_sums_ = last_sums();
  } else {
    // Not by `after`: of a gauge, what has grown lies in a line that is then not touched.
    mean_step_ += (static_cast<float>(std::fabs(value - last_value_)) - mean_step_) * kNewestWeight;
    mean_value_ += (static_cast<float>(value) - mean_value_) * kNewestWeight;
    const Duration held = held_since(last_good_, time);
    last_held_ += held;
    last_integral_ += static_cast<Sum>(to_parts(last_value_)) * held.count();
    if (kind_ != MeasureKind::gauge) last_grown_ += grown_between(last_value_, value);
  }
  if (room_ == 0) {
    next_ = entries_.begin_block();
    room_ = kChunk;
  }
  *next_++ = entry;
  --room_;
  if (kind_ == MeasureKind::tally) tallied_.push_back(last_grown_);
  last_good_ = time;
  last_value_ = value;
  // A meter is expected to go on from where it is: each way back and up again would be growth.
  if (kind_ == MeasureKind::counter) gate.expected.low = std::max(gate.expected.low, value);
  if (!first) return;
  for (Window& window : windows_) put_before_first(window);
}

double Series::grown_between(double value, double next) const {
  if (kind_ == MeasureKind::counter) return counter_growth(value, next);
  return point_like() ? next : 0;
}

Series::Sums Series::after(const Sums& before, const Entry& entry, std::int64_t parts, const Entry& next) const {
  const Duration held = held_since(entry.time, next.time);
  return {before.integral + static_cast<Sum>(parts) * held.count(), before.held + held, before.grown + grown_between(entry.value, next.value)};
}

/// Each entry becomes a candidate, and ends those that it outdoes.
void Series::note_extremes(Extremes& extremes) const {
  for (std::int64_t number = std::max(extremes.next, first_); number <= last(); ++number) {
    const Candidate candidate{number, at(number).value};
    while (!extremes.lows.empty() && extremes.lows.back().value >= candidate.value) extremes.lows.pop_back();
    while (!extremes.highs.empty() && extremes.highs.back().value <= candidate.value) extremes.highs.pop_back();
    extremes.lows.push_back(candidate);
    extremes.highs.push_back(candidate);
  }
  extremes.next = last() + 1;
}

/// A late reading gives minutes that were already worked off another value.
void Series::mend_minutes(Trend& trend, Instant time, double value) const {
  for (auto it = trend.minutes.rbegin(); it != trend.minutes.rend() && it->first >= time; ++it) {
    it->second = it->first - time < stale_after() ? value : kUnknown;
    trend.changed = true;
  }
}

void Series::trim(Instant now) {
  if (readings_kept() < 2) return;
  const Instant oldest = kind_ == MeasureKind::tally ? Instant(Duration::min()) : now - span_max_;
  const std::int64_t before = first_;
  while (readings_kept() > 1 && (entries_.places() > kReadingsMax || entries_[1].time <= oldest)) drop_front();
  if (first_ == before) return;
  for (Window& window : windows_) {
    if (window.extremes) {
      drop_while(window.extremes->lows, [&](std::int64_t number) { return number < first_; });
      drop_while(window.extremes->highs, [&](std::int64_t number) { return number < first_; });
    }
    if (window.cursor < first_) put_before_first(window);
  }
}

void Series::drop_front() {
  const Entry& front = entries_.front();
  first_sums_ = after(first_sums_, front, to_parts(front.value), entries_[1]);
  entries_.pop_front();
  if (!tallied_.empty()) tallied_.pop_front();
  ++first_;
}

double Series::tally_since(Instant since) const {
  const std::int64_t begin = first_at_or_after(since);
  if (begin > last()) return 0.0;
  return last_grown_ - tallied_[static_cast<std::size_t>(begin - first_)] + at(begin).value;
}

double Series::grown_since(Instant since) const {
  if (!ever_good()) return kUnknown;
  const std::int64_t after_it = first_at_or_after(since + Duration(1));
  if (after_it == first_ && first_ > 0) return kUnknown;  // what was read before then is gone
  double grown = first_sums_.grown;
  for (std::int64_t number = first_ + 1; number < after_it; ++number) grown += counter_growth(at(number - 1).value, at(number).value);
  return last_grown_ - grown;
}

std::int64_t Series::first_at_or_after(Instant time) const {
  std::int64_t low = first_, high = last() + 1;
  while (low < high) {
    const std::int64_t middle = low + (high - low) / 2;
    if (at(middle).time < time) low = middle + 1;
    else high = middle;
  }
  return low;
}

void Series::move_cursor(Window& window, Instant now) const {
  const Instant start = now - window.span;
  if (window.cursor < first_) {
    if (entries_.front().time > start) {
      window.next_time = entries_.front().time;
      return;
    }
    window.cursor = first_;
    window.base_parts = to_parts(window.base.value);
  }
  for (; window.cursor < last(); ++window.cursor) {
    const Entry& next = at(window.cursor + 1);
    window.next_time = next.time;
    if (next.time > start) return;
    window.base_sums = after(window.base_sums, window.base, window.base_parts, next);
    window.base = next;
    window.base_parts = to_parts(next.value);
  }
  window.next_time = kNone;
}

/// It begins before all that is kept.
void Series::put_before_first(Window& window) const {
  window.cursor = first_ - 1;
  window.next_time = kNone;
  window.base = entries_.front();
  window.base_sums = first_sums_;
  window.base_parts = 0;
}

/// Held time up to `start`, the beginning of the window.
Duration Series::held_before(const Window& window, Instant start) const {
  return window.cursor < first_ ? window.base_sums.held : window.base_sums.held + held_since(window.base.time, start);
}

Duration Series::held_in(const Window& window, Instant now) const {
  return last_held_ + held_since(last_good_, now) - held_before(window, now - window.span);
}

/// What samples or a tally had come to before those within the window.
double Series::grown_before(const Window& window) const {
  return window.cursor < first_ ? window.base_sums.grown - window.base.value : window.base_sums.grown;
}

/// What was grown to with the entry after `cursor`.
double Series::grown_after(const Window& window) const {
  if (window.cursor < first_) return window.base_sums.grown;
  return after(window.base_sums, window.base, window.base_parts, at(window.cursor + 1)).grown;
}

double Series::window(std::size_t slot, Expression::Function function, Instant now) {
  using enum Expression::Function;
  Window& window = windows_[slot];
  if (flat_) return kUnknown;
  if (!ever_good_) return function == total && kind_ == MeasureKind::tally ? 0.0 : kUnknown;
  if (function != change && function != total && now - last_good_ > silent_after(window)) return kUnknown;
  if (function == slope) return window.trend->slope_per_h;
  if (window.next_time == kNone || window.next_time <= now - window.span) move_cursor(window, now);
  switch (function) {
    case mean: return kind_ == MeasureKind::sample ? mean_of_samples(window) : mean_held(window, now);
    case lowest:
    case highest:
    case spread: return extreme(window, function, now);
    case change: return this->change(window, now);
    case total: return this->total(window, now);
    case slope:
    case none:
    case median: break;
  }
  return kUnknown;
}

double Series::mean_of_samples(const Window& window) const {
  const std::int64_t count = last() - window.cursor;
  if (count == 0) return kUnknown;
  return (last_grown_ - grown_before(window)) / static_cast<double>(count);
}

double Series::mean_held(const Window& window, Instant now) const {
  const Duration since_last = held_since(last_good_, now);
  const Duration since_base = window.cursor < first_ ? Duration::zero() : held_since(window.base.time, now - window.span);
  const Duration held = last_held_ + since_last - window.base_sums.held - since_base;
  if (held <= Duration::zero() || held * 2 < window.span) return kUnknown;
  const Sum sum = last_integral_ + static_cast<Sum>(to_parts(last_value_)) * since_last.count() - window.base_sums.integral -
                  static_cast<Sum>(window.base_parts) * since_base.count();
  return to_double(sum) / static_cast<double>(held.count()) / kParts;
}

void Series::drop_expired(const Window& window, Instant now) const {
  const Instant start = now - window.span;
  const auto expired = [&](std::int64_t number) { return end_of(number) <= start || (point_like() && at(number).time <= start); };
  drop_while(window.extremes->lows, expired);
  drop_while(window.extremes->highs, expired);
}

double Series::extreme(const Window& window, Expression::Function function, Instant now) const {
  note_extremes(*window.extremes);
  drop_expired(window, now);
  if (window.extremes->lows.empty()) return kUnknown;
  if (!point_like() && held_in(window, now) * 2 < window.span) return kUnknown;
  const double low = window.extremes->lows.front().value;
  const double high = window.extremes->highs.front().value;
  if (function == Expression::Function::lowest) return low;
  if (function == Expression::Function::highest) return high;
  return high - low;
}

double Series::change(const Window& window, Instant now) const {
  if (!usable(now) || window.cursor < first_) return kUnknown;
  if (now - window.span - window.base.time >= stale_after()) return kUnknown;
  return last_value_ - window.base.value;
}

double Series::total(const Window& window, Instant now) const {
  if (kind_ == MeasureKind::tally) {
    if (window.cursor == last()) return 0.0;
    return last_grown_ - grown_before(window);
  }
  if (!usable(now) || held_in(window, now) * 2 < window.span) return kUnknown;
  const Instant start = now - window.span;
  const bool base_before = window.cursor >= first_ && start - window.base.time <= stale_after();
  if (!base_before && window.cursor == last()) return kUnknown;
  return last_grown_ - (base_before ? window.base_sums.grown : grown_after(window));
}

void Series::work_off_minute(Instant minute, SlopeScratch& scratch) {
  newest_minute_ = std::max(newest_minute_, minute);
  for (Window& window : windows_) {
    if (!window.trend) continue;
    Trend& trend = *window.trend;
    if (minute.time_since_epoch() % trend.step == Duration::zero()) {
      trend.minutes.emplace_back(minute, fresh(minute) ? last_value_ : kUnknown);
      trend.changed = true;
    }
    while (!trend.minutes.empty() && trend.minutes.front().first < minute - window.span) {
      trend.minutes.pop_front();
      trend.changed = true;
    }
    if (trend.changed) work_out_slope(window, minute, scratch);
  }
}

void Series::work_out_slope(const Window& window, Instant minute, SlopeScratch& scratch) {
  Trend& trend = *window.trend;
  trend.changed = false;
  trend.slope_per_h = kUnknown;
  std::vector<TrendPoint>& points = scratch.points;
  points.clear();
  for (const auto& [time, value] : trend.minutes) {
    if (known(value)) points.push_back({hours_of(time - minute) * 60.0, value});
  }
  if (points.size() < kTrendPointsMin) return;
  const double span_minutes = points.back().minute - points.front().minute;
  if (below(span_minutes * 2.0, hours_of(window.span) * 60.0)) return;
  trend.slope_per_h = theil_sen_per_minute(points, scratch.pairs) * 60.0;
}

double Series::held_at(Instant time) const {
  const std::int64_t number = first_at_or_after(time + Duration(1)) - 1;
  if (number < first_) return kUnknown;
  const Entry& entry = at(number);
  return time - entry.time < stale_after() ? entry.value : kUnknown;
}

void Series::adopt(const Series& older, Instant now) {
  for (std::size_t i = 0; i < older.readings_kept(); ++i) take(older.entries_[i].time, older.entries_[i].value, now);
  newest_ = std::max(newest_, older.newest_);
  if (older.ever_good()) first_good_ = older.first_good_;
  if (has_trend_) newest_minute_ = std::max(newest_minute_, now);
  for (Window& window : windows_) {
    if (!window.trend) continue;
    const auto source = std::find_if(older.windows_.begin(), older.windows_.end(), [&](const Window& other) {
      return other.trend && other.span == window.span;
    });
    if (source != older.windows_.end()) {
      window.trend->minutes = source->trend->minutes;
      window.trend->slope_per_h = source->trend->slope_per_h;
      continue;
    }
    window.trend->minutes.clear();
    for (Instant m = ceil_minute(now - window.span); m < now; m += kMinute) {
      if (m.time_since_epoch() % window.trend->step == Duration::zero()) window.trend->minutes.emplace_back(m, held_at(m));
    }
  }
}

}  // namespace underwing
