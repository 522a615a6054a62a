#pragma once

#include <array>
#include <optional>
#include <utility>
#include <vector>

#include "rules/engine/compare.hpp"
#include "rules/engine/event.hpp"
#include "rules/model.hpp"

namespace underwing {

/// A moment that has not come.
inline constexpr Instant kNever{Duration::max()};

/// Whether a reading's own evaluation or the working off of a due moment is under way: delays only end in
/// the latter, so that every reading of that instant is taken first.
enum class Occasion : std::uint8_t { reading, due, minute };

/// What a rule sees at one moment: numbers are canonical, logic is 1, 0 or unknown.
struct Sight {
  Instant now{};
  Occasion occasion = Occasion::reading;
  bool in_force = true;
  double value = kUnknown;              ///< of `watch`
  std::vector<double> limits;           ///< of each limit: its number; of `when`: the condition
  Instant counting_begin{};             ///< unknown time before this is not counted
};

/// The memory of one rule in one house: which limits are active, which delays run, whether it is blind. Plain
/// data, so that the daemon can keep it over a restart.
struct RuleState {
  struct LimitState {
    bool active = false;
    bool broken_itself = false;   ///< active because the limit itself is broken, not only in sight
    Instant met_since = kNever;   ///< broken or in sight
    Instant broken_since = kNever;
    Instant back_since = kNever;  ///< inside by the deadband, nothing in sight; only while active
  };
  std::vector<LimitState> limits;

  bool calm = false;              ///< nothing runs, stands or is unknown: while no limit is broken or in sight, or it is
                                  ///< not in force, nothing changes
  bool in_force = false;
  bool left_force = false;        ///< the standing alarm was not watched any more at some time since it last was
  bool often_unknown = false;     ///< as judged at the last whole minute
  bool blind = false;
  bool known_long = false;        ///< blind, but able to tell for long enough to see again
  double last_value = kUnknown;   ///< last known watched value when it was judged; see Engine::latest
  Instant in_force_since = kNever;
  Instant unknown_since = kNever; ///< of the running span
  Instant known_since = kNever;
  std::vector<std::pair<Instant, Instant>> unknown_spans;  ///< ended ones of the last hour

  static constexpr std::size_t kMinutesKept = 16;
  std::array<double, kMinutesKept> minutes{};  ///< watched values at whole minutes, for `ahead`
  std::size_t minutes_count = 0;               ///< worked off in all; the newest is at (count - 1) % 16
  double trend_per_min = kUnknown;             ///< Theil-Sen slope of them; unknown for fewer than eight

  /// In force and unable to tell, with no limit that runs or stands: only time, or knowing, changes that.
  [[nodiscard]] bool waits_to_know() const;
  [[nodiscard]] bool standing() const;
  /// It stands, but every active limit is on its way back: inside by the deadband, its `off_delay` running.
  [[nodiscard]] bool coming_back() const;
  /// Index of the worst active limit; of `low` and `high`, the first. nullopt: none.
  [[nodiscard]] std::optional<std::size_t> worst(bool staged) const;

  /// Puts the watched value of a whole minute that is worked off where `ahead` finds it.
  void keep_minute(double value);

  /// What one look at the values says, before delays. Handed in to be used again, so that a step asks for no memory.
  struct Judged {
    double broken = 0, met = 0, back = 1;  ///< of one limit: broken, broken or in sight, inside by the deadband
  };
  struct Judgement {
    double condition = 0;                  ///< any limit is broken
    std::vector<Judged> limits;
  };

  /// Takes one step at `sight.now` and appends what came of it to `events` (kind, reason, priority, value and
  /// limit are filled in; the caller adds place and age).
  void step(const WatchedRule& rule, const Sight& sight, Judgement& judgement, std::vector<Event>& events);

  /// The short way for most readings: true where `step` would change nothing but the last value, which it then
  /// notes. Needs of `sight` all but the beginning of counting.
  [[nodiscard]] bool stays_calm(const WatchedRule& rule, const Sight& sight);

  /// The next moment at which something falls due by itself; kNever where nothing does.
  [[nodiscard]] Instant next_due(const WatchedRule& rule, Instant counting_begin) const;

 private:
  void judge(const WatchedRule& rule, const Sight& sight, Judgement& judgement) const;
  [[nodiscard]] double project(const WatchedRule& rule, double value) const;
  [[nodiscard]] bool is_calm() const;
  [[nodiscard]] bool nothing_runs() const;
  void leave_force(const WatchedRule& rule, Instant now, std::vector<Event>& events);
  void run_delays(const Sight& sight, const Judgement& judgement);
  void begin_and_end(const WatchedRule& rule, const Sight& sight, const Judgement& judgement,
                     std::vector<Event>& events);
  void watch_blindness(const WatchedRule& rule, const Sight& sight, double condition, std::vector<Event>& events);
  [[nodiscard]] bool judge_often_unknown(const WatchedRule& rule, const Sight& sight);
};

}  // namespace underwing
