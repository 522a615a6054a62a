#pragma once

#include <optional>
#include <string>
#include <vector>

#include "daemon/duty.hpp"
#include "daemon/journal.hpp"
#include "rules/engine/compare.hpp"
#include "rules/model.hpp"

/// What the journal has kept of a flock, day by day, from placement on.
namespace underwing {

/// One day of the farm's calendar. Numbers are in °C, %, g, L and kg; unknown is NaN.
struct DayOfFlock {
  Date date{};
  Instant begin{}, end{};          ///< of what is told of it: from placement, up to what the journal has
  double dead = 0, culled = 0;
  double lost_percent = 0;         ///< of the birds that were there when it began, see rules/trade/flock.hpp
  double cumulative_percent = 0;   ///< the sum of these from placement on (Council Directive 2007/43/EC)
  double alive = 0;                ///< at its end
  /// Of the middle one of the house's probes, minute by minute.
  double air_low = kUnknown, air_mean = kUnknown, air_high = kUnknown;
  double humidity = kUnknown;      ///< likewise, its mean
  double weight_g = kUnknown;      ///< mean of the weighings, empties and doubles left out by the minute
  double of_curve_percent = kUnknown;  ///< the same, each at its own age, of the flock's curve
  std::size_t weighings = 0;
  double water_l_per_1000 = kUnknown, feed_kg_per_1000 = kUnknown;  ///< for 1000 of the birds that were alive when it began
};

/// An alarm of its house, or of the whole farm, while the flock was there.
struct AlarmOfFlock {
  AlarmRow row;
  std::string answered_by;                ///< empty: nobody
  std::optional<Instant> answered;        ///< for the first time
};

struct Drill {
  Instant time{};                          ///< at its end
  std::string who;                         ///< who answered, or was asked; empty: the whole call-out
  bool answered = false, at_night = false;
  Duration took{0};
};

struct FlockReport {
  Instant until{};                         ///< the journal's last word, or when the house was cleared
  std::vector<DayOfFlock> days;
  std::vector<AlarmOfFlock> alarms;        ///< in the order in which they were raised
  std::vector<RoundRow> rounds;            ///< what people entered in its house, dead and culled birds apart
  std::vector<Drill> drills;
};

/// Reads all that, of alarms and drills from two days before placement on; the times are the watch's own. Half a second for a week of 60 probes at one row a minute. A failure says
/// what of the journal could not be read.
[[nodiscard]] Result<FlockReport> report_of(JournalReader& journal, const RuleSet& rules, std::size_t flock);

}  // namespace underwing
