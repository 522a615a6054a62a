#pragma once

#include <algorithm>
#include <cstdint>
#include <deque>
#include <memory>
#include <optional>
#include <span>
#include <vector>

#include "rules/base/time.hpp"
#include "rules/engine/chunks.hpp"
#include "rules/engine/range.hpp"
#include "rules/engine/ring.hpp"
#include "rules/engine/theil_sen.hpp"
#include "rules/language/ast.hpp"
#include "rules/model.hpp"

namespace underwing {

/// The quality tests, by the names that QARTOD gives them (US IOOS, Manual for Real-Time Quality Control of
/// In-situ Temperature and Salinity Data, version 2.1, 2020).
enum class QualityTest : std::uint8_t { none, gross_range, rate_of_change, flat_line, neighbour };

[[nodiscard]] const char* to_string(QualityTest test);  // "gross range", "rate of change" …

/// What is worked out at whole minutes over a span: at each, and for spans above 1 h at every ceil(span / 1 h)-th, counted
/// from the epoch.
[[nodiscard]] inline Duration minute_step(Duration span) {
  return std::max<Duration>(std::chrono::minutes(1), std::chrono::minutes(std::chrono::ceil<std::chrono::hours>(span).count()));
}

/// The readings of one probe as far back as its longest window, and the windows over them.
///
/// A good reading holds until the next one or until it is stale; everything here is worked out on that step
/// function. Readings come in rising time. All values are in the measure's own unit. Sums run in whole
/// numbers (1e-9 of a unit times milliseconds, 128 bits), so that a mean is the same however long the watch
/// has run, and costs the same however long the window is.
///
/// Memory: 16 bytes a good reading inside the longest window, at most kReadingsMax of them; beyond that the
/// oldest go, and long windows count as held only for what is left.
class alignas(64) Series {
 public:
  static constexpr std::size_t kReadingsMax = 131'072;

  /// What the tests of quality go by. Many probes share one, which is then at hand for all of them.
  struct Quality {
    explicit Quality(const Measure& measure);
    double plausible_low, plausible_high;
    double max_rate_per_min;             ///< infinite: the measure has none
    Duration stale_after, flat_after;    ///< Duration::max(): never flat
    friend bool operator==(const Quality&, const Quality&) = default;
  };

  /// `measure` and `quality`, made from it, must outlive the series.
  Series(const Measure& measure, const Quality& quality, Instant begin);

  /// Makes room for windows over `span`; returns the slot by which `window` knows it. Only before the first
  /// reading.
  std::size_t add_window(Duration span, Expression::Function function);

  /// The readings that are expected of it; empty where any reading, or none, can change whether it is usable.
  struct Band {
    double low = 1, high = 0;
    [[nodiscard]] bool empty() const { return low > high; }
    [[nodiscard]] bool holds(double value) const { return low <= value && value <= high; }
  };
  /// What the engine keeps of it. It lies here since, with many houses, a series is seldom in the processor's cache when
  /// its next reading comes: what most readings touch fills the first two lines of 64 bytes and no more.
  struct Gate {
    Band expected;                        ///< within the outlook of its house
    Band near;                            ///< surely near its siblings, within the outlook
    std::uint32_t house = 0;
    bool awake = true;                    ///< one of its dependents is not settled
    bool suspect = false;                 ///< the neighbour test marks it
    QualityTest failing = QualityTest::none;
  } gate;

  /// What a reading did.
  struct Taken {
    bool newer = false;                       ///< false: not newer than the newest, nothing changed
    bool first_good = false;                  ///< none was good before it
    QualityTest failed = QualityTest::none;   ///< gross range or rate of change: the reading is passed over
    bool ran_back = false;                    ///< a counter fell by less than half: no growth
  };
  Taken take(Instant time, double value, Instant now);

  /// What working out a slope needs of memory, for whoever works out many.
  struct SlopeScratch {
    std::vector<TrendPoint> points;
    std::vector<double> pairs;
  };
  /// Notes the values held at whole minute `minute` and works out the slopes. Minutes come in order, none
  /// left out.
  void work_off_minute(Instant minute, SlopeScratch& scratch);
  /// Whether a slope is asked for; otherwise there is nothing to work off.
  [[nodiscard]] bool has_trend() const { return has_trend_; }
  /// Lets go of readings that no window reaches any more.
  void trim(Instant now);

  [[nodiscard]] const Measure& measure() const { return *measure_; }
  [[nodiscard]] bool ever_good() const { return ever_good_; }
  [[nodiscard]] Instant first_good() const { return first_good_; }
  [[nodiscard]] Instant last_good() const { return last_good_; }
  [[nodiscard]] double last_value() const { return last_value_; }
  /// From then on it is not fresh, unless a reading comes. Only where one was good.
  [[nodiscard]] Instant stale_at() const { return last_good_ + stale_after(); }
  [[nodiscard]] bool fresh(Instant now) const {
    return ever_good() && now - last_good_ < stale_after();
  }
  [[nodiscard]] bool flat() const { return flat_; }
  [[nodiscard]] bool usable(Instant now) const { return fresh(now) && !flat_; }
  /// The value held now, unknown where the probe is not usable.
  [[nodiscard]] double held(Instant now) const { return usable(now) ? last_value_ : kUnknown; }
  /// The value of a window (now - D, now]; unknown where it cannot be told.
  [[nodiscard]] double window(std::size_t slot, Expression::Function function, Instant now);
  /// Of a tally: the sum of its readings at or after `since`.
  [[nodiscard]] double tally_since(Instant since) const;
  /// Of a counter: how much it grew since then, or since its first reading; unknown where what is kept does not
  /// reach back so far.
  [[nodiscard]] double grown_since(Instant since) const;
  /// Calls visit(time, value) for each good reading that is kept and newer than `since`, oldest first.
  template <typename Visit>
  void each_since(Instant since, Visit visit) const {
    for (std::int64_t number = first_at_or_after(since + Duration(1)); number <= last(); ++number)
      visit(at(number).time, at(number).value);
  }

  [[nodiscard]] Band expected_within(const Outlook& outlook) const;
  /// All that `held` and `window` can give within the outlook if readings stay inside what is expected.
  [[nodiscard]] Range held_range(const Outlook& outlook) const;
  [[nodiscard]] Range window_range(std::size_t slot, Expression::Function function, const Outlook& outlook);

  [[nodiscard]] std::size_t readings_kept() const { return entries_.places() - room_; }

  /// Takes over the readings of `older`, the series of the same probe under earlier rules.
  void adopt(const Series& older, Instant now);

 private:
  __extension__ using Sum = __int128;

  struct Entry {
    Instant time{};
    double value = 0;
  };
  /// What belongs to an entry and is not kept with it: it follows from that of the entry before.
  struct Sums {
    Sum integral = 0;        ///< of held value over held time before the entry, 1e-9 units x ms
    Duration held{0};        ///< held time before the entry
    double grown = 0;        ///< counters and tallies: growth; samples: sum; up to and with the entry
  };

  /// Candidates for lowest and highest, oldest first.
  struct Candidate {
    std::int64_t number = 0;
    double value = 0;
  };
  struct Extremes {
    Ring<Candidate> lows, highs;
    std::int64_t next = 0;  ///< entries from it on have not been looked at yet
  };
  struct Trend {
    Duration step{};
    std::deque<std::pair<Instant, double>> minutes;  ///< values held at whole minutes
    bool changed = false;
    double slope_per_h = 0;
  };
  /// `base` and `next_time` are those of `cursor`, so that a mean reads this and no entry.
  struct Window {
    Duration span{};
    Instant next_time = kNone;           ///< of the entry after `cursor`; kNone: there was none
    std::int64_t cursor = -1;            ///< entry at or before now - span; below first_: none
    Entry base{};                        ///< the one at `cursor`, or else the first
    std::int64_t base_parts = 0;         ///< its value in parts; 0 where there is none, so that it adds nothing
    Sums base_sums{};
    std::unique_ptr<Extremes> extremes;  ///< where a function asks for them
    std::unique_ptr<Trend> trend;
  };
  static constexpr Instant kNone{Duration::max()};

  [[nodiscard]] const Entry& at(std::int64_t number) const {
    return entries_[static_cast<std::size_t>(number - first_)];
  }
  [[nodiscard]] std::int64_t last() const { return first_ + static_cast<std::int64_t>(readings_kept()) - 1; }
  [[nodiscard]] Duration stale_after() const { return quality_->stale_after; }
  [[nodiscard]] Sums last_sums() const { return {last_integral_, last_held_, last_grown_}; }
  [[nodiscard]] Instant end_of(std::int64_t number) const;
  [[nodiscard]] bool point_like() const { return kind_ == MeasureKind::sample || kind_ == MeasureKind::tally; }
  /// The value held at an earlier time, as far as readings are kept.
  [[nodiscard]] double held_at(Instant time) const;
  [[nodiscard]] std::int64_t first_at_or_after(Instant time) const;
  void append(Instant time, double value);
  [[nodiscard]] double grown_between(double value, double next) const;
  [[nodiscard]] Sums after(const Sums& before, const Entry& entry, std::int64_t parts, const Entry& next) const;
  [[nodiscard]] double grown_before(const Window& window) const;
  [[nodiscard]] double grown_after(const Window& window) const;
  void note_run(Instant time, double value);
  void mend_minutes(Trend& trend, Instant time, double value) const;
  void move_cursor(Window& window, Instant now) const;
  void put_before_first(Window& window) const;
  void drop_front();
  void note_extremes(Extremes& extremes) const;
  void drop_expired(const Window& window, Instant now) const;
  [[nodiscard]] Duration held_in(const Window& window, Instant now) const;
  [[nodiscard]] Duration held_since(Instant time, Instant now) const { return std::min<Duration>(now - time, stale_after()); }
  [[nodiscard]] Duration held_before(const Window& window, Instant start) const;
  /// Longer without a reading, and most functions know nothing.
  [[nodiscard]] Duration silent_after(const Window& window) const { return std::max(window.span / 4, stale_after()); }
  [[nodiscard]] double mean_of_samples(const Window& window) const;
  [[nodiscard]] double mean_held(const Window& window, Instant now) const;
  [[nodiscard]] double extreme(const Window& window, Expression::Function function, Instant now) const;
  [[nodiscard]] double change(const Window& window, Instant now) const;
  [[nodiscard]] double total(const Window& window, Instant now) const;
  void work_out_slope(const Window& window, Instant minute, SlopeScratch& scratch);
  /// What a window loses within an outlook.
  struct Leaving {
    double low = 0, high = 0;    ///< of the values that held at its beginning
    double grown = 0;            ///< up to the last of them
  };
  [[nodiscard]] std::optional<Leaving> leaving(const Window& window, const Outlook& outlook) const;
  [[nodiscard]] Range mean_range(const Window& window, const Outlook& outlook) const;
  [[nodiscard]] Range total_range(const Window& window, const Outlook& outlook) const;
  [[nodiscard]] Range extreme_range(const Window& window, Expression::Function function, const Outlook& outlook) const;

  MeasureKind kind_;
  bool flat_ = false;
  bool ever_good_ = false;
  bool has_trend_ = false;
  std::uint8_t run_count_ = 0;       ///< equal readings in a row, counted up to kFlatReadingsMin
  std::uint8_t room_ = 0;            ///< entries that still go into the last block
  Instant newest_{Duration::min()};  ///< of all readings, rejected ones included
  const Quality* quality_;

  Instant last_good_{};
  double last_value_ = 0;
  float mean_value_ = 0;             ///< of the readings, the later ones counting more
  float mean_step_ = 0;              ///< how far a reading lies from the one before, likewise
  Instant run_begin_{};
  Sum last_integral_ = 0;            ///< the sums of the last entry
  Duration last_held_{0};
  Entry* next_ = nullptr;            ///< where the next entry goes, if there is room

  double last_grown_ = 0;
  std::int64_t first_ = 0;           ///< number of entries_.front(); numbers only rise
  static constexpr std::uint8_t kChunk = 32;
  Chunks<Entry, kChunk> entries_;

  Sums first_sums_;                  ///< of the first entry
  std::vector<Window> windows_;
  Duration span_max_{0};
  Instant newest_minute_{};          ///< at which a slope has noted a value
  Ring<double> tallied_;             ///< of a tally: what it had grown to, for each entry

  Instant first_good_{};
  const Measure* measure_;
  Instant begin_{};
};

}  // namespace underwing
