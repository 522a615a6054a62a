#pragma once

#include <cstdint>
#include <deque>
#include <memory>
#include <span>
#include <unordered_map>
#include <vector>

#include "rules/engine/series.hpp"
#include "rules/model.hpp"

namespace underwing {

class Program;

/// Where a program runs: the first of a house's series, aggregates, cells and shares, and the flock that is meant.
struct Site {
  const Flock* flock = nullptr;
  std::uint32_t series = 0, aggregate = 0, cell = 0, share = 0;
};

/// What a program reads besides series: where and when it runs.
struct Moment {
  Instant engine{};           ///< engine time
  Instant wall{};             ///< wall time: ages and the clock of the day
  std::uint64_t version = 0;  ///< rises whenever a series may have changed
};

/// The moment for which something was worked out last.
struct MomentMark {
  Instant engine{Duration::min()};
  std::uint64_t version = 0;
  [[nodiscard]] bool is(const Moment& moment) const {
    return version == moment.version && engine == moment.engine;
  }
  void set(const Moment& moment) {
    engine = moment.engine;
    version = moment.version;
  }
};

/// The numbers of several probes at one moment, in rising order: of their windows, or what they hold now.
/// Shared by all aggregates of a house that combine them.
struct ProbeRow {
  std::vector<std::size_t> probes;  ///< series to read, in the order of their last values
  Expression::Function window_function = Expression::Function::none;  ///< none: the values held now
  std::size_t window_slot = 0;
  const Flock* flock = nullptr;  ///< for which some of the probes do not count yet; null: all count
  MomentMark known_for;
  std::vector<double> values;  ///< the known ones
  std::size_t counting = 0;    ///< how many probes counted then

  std::uint64_t outlook = 0;        ///< for which the following holds
  std::vector<double> lows, highs;  ///< of the ranges of those that are surely known, each in rising order
  std::size_t counting_then = 0;    ///< how many probes count; a rule that this changes for is not settled then
  bool settled = false;             ///< of no probe is it open whether it is known

  [[nodiscard]] bool reads_like(const ProbeRow& other) const {
    return probes == other.probes && window_function == other.window_function &&
           window_slot == other.window_slot && flock == other.flock;
  }
};

/// A row combined to one number.
struct Aggregate {
  Expression::Function function = Expression::Function::none;
  std::size_t row = 0;
  double factor = 1, offset = 0;  ///< to canonical
  friend bool operator==(const Aggregate&, const Aggregate&) = default;
};

/// Part of an expression that several rules of a house share, and that costs more than looking it up.
struct Cell {
  std::shared_ptr<const Program> program;
  Site site;
  MomentMark known_for;
  double value = 0;
  std::uint64_t outlook = 0;
  Range range = Range::open();  ///< within that outlook
};

/// What the readings of a window are of a curve, each at its own age: their mean share and how sure that is. Worked out at
/// whole minutes, as slopes are.
struct Share {
  std::vector<std::size_t> probes;
  std::shared_ptr<const Curve> curve;
  Duration span{};
  double factor = 1;                ///< to canonical
  const Flock* flock = nullptr;     ///< whose age it goes by
  double mean = kUnknown, error = kUnknown;

  [[nodiscard]] bool reads_like(const Share& other) const {
    return probes == other.probes && curve->points == other.curve->points && span == other.span && flock == other.flock;
  }
};

/// All series of a farm and what several rules read from them, each worked out once for a moment. Owned by
/// the engine; programs refer into it.
struct Board {
  std::vector<Series> series;  ///< by probe index
  std::deque<Series::Quality> qualities;  ///< of them, each once
  std::vector<ProbeRow> rows;
  std::vector<Aggregate> aggregates;
  std::vector<Cell> cells;
  std::vector<Share> shares;
  const RuleSet* rules = nullptr;
  Site house;                  ///< while compiling: of the house at hand, without a flock
  std::size_t house_row = 0;   ///< its first row

  Board();
  ~Board();
  Board(Board&&) noexcept;
  Board& operator=(Board&&) noexcept;

  /// While compiling: a new house begins, which shares no number with those before; programs it may.
  void begin_house(std::size_t first_series);
  void add_series(const Measure& measure, Instant begin);
  /// Finds or adds; gives the index.
  std::size_t find_row(ProbeRow row);
  std::size_t find_aggregate(const Aggregate& aggregate);
  std::size_t find_share(Share share);
  std::size_t find_cell(Program program, const Flock* flock);
  /// One program for all that read alike, so that houses built alike find it at hand.
  std::shared_ptr<const Program> share_program(Program program);

  /// Works out those of `some` shares that are due at this whole minute; `work_out` one of them, whatever is due.
  void work_off_minute(std::span<Share> some, Instant minute, Duration wall_ahead);
  void work_out(Share& share, Instant now, Duration wall_ahead);

  [[nodiscard]] double value_of(const Aggregate& aggregate, const Moment& moment);
  [[nodiscard]] double value_of_cell(std::size_t cell, const Moment& moment);

  /// All that aggregates and cells can come to within the outlook at hand.
  [[nodiscard]] Range range_of(const Aggregate& aggregate, const Outlook& outlook);
  [[nodiscard]] Range range_of_cell(std::size_t cell, const Outlook& outlook);

 private:
  std::unordered_multimap<std::size_t, std::shared_ptr<const Program>> programs_;  ///< by their hashes

  void fill(ProbeRow& row, const Moment& moment);
  void fill_range(ProbeRow& row, const Outlook& outlook);
};

}  // namespace underwing
