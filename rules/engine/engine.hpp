#pragma once

#include <algorithm>
#include <cstdint>
#include <memory>
#include <optional>
#include <set>
#include <span>
#include <vector>

#include "rules/engine/event.hpp"
#include "rules/engine/program.hpp"
#include "rules/engine/rule_state.hpp"
#include "rules/model.hpp"

namespace underwing {

/// Holds readings against rules. Deterministic: time and readings are handed in, events come out; the same
/// inputs give the same events. One thread.
///
/// Time. Engine time only rises: with every reading whose own time is later, and with `advance`. What falls
/// due at T (a delay ends, a probe goes stale, an age begins, a whole minute of UTC) is worked off when time
/// moves past T, so that every reading of T is taken first.
class Engine {
 public:
  /// `rules` must have been loaded without errors.
  explicit Engine(std::shared_ptr<const RuleSet> rules);

  /// The watch begins: every rule is evaluated once. `wall_ahead` is wall time minus engine time.
  void begin(Instant now, Duration wall_ahead = Duration::zero());

  /// Takes one reading of a probe, `value` in the measure's unit. Begins the watch if nothing has. Moves
  /// engine time to `time` if that is later.
  void take(std::size_t probe, Instant time, double value);

  /// Moves engine time to `now` and works off what was due before it. Earlier times change nothing.
  void advance(Instant now);

  /// Works off what is due at engine time itself, as where a tape ends.
  void finish();

  /// Nothing falls due before this; a lower bound of `next_due` that costs nothing.
  [[nodiscard]] Instant quiet_until() const { return due_.empty() ? next_minute_ : std::min(next_minute_, due_.begin()->first); }
  /// The next moment at which something falls due; `work_off_next` works it off. For callers that interleave
  /// their own timers; `advance` does both in a loop.
  [[nodiscard]] Instant next_due();
  void work_off_next();

  /// Wall time is now `wall_ahead` ahead of engine time: ages and the clock of the day move, delays do not.
  void set_wall(Duration wall_ahead);

  /// People work in the house until then: only rules that are in force even during work are. The past: no work.
  void set_work(std::size_t house, Instant until);
  [[nodiscard]] Instant work_until(std::size_t house) const { return work_until_[house]; }

  /// Takes over from an engine that ran under other rules: readings of probes that are still there, and the
  /// memory of rules that are. A rule that reads differently keeps its standing alarm, its delays start afresh.
  void adopt(const Engine& older);

  /// Goes on after an outage that ended now: running `on_delay`s have gone on, `off_delay`s start afresh, and
  /// the time without input is not counted as unknown.
  void resume(Instant now);

  /// Events since the last call of `clear_events`, in order.
  [[nodiscard]] std::span<const Event> events() const { return events_; }
  void clear_events() { events_.clear(); }

  [[nodiscard]] bool begun() const { return begun_; }
  [[nodiscard]] Instant now() const { return now_; }
  [[nodiscard]] Instant wall() const { return now_ + wall_ahead_; }
  [[nodiscard]] Duration wall_ahead() const { return wall_ahead_; }
  [[nodiscard]] const RuleSet& rules() const { return *rules_; }
  [[nodiscard]] const std::shared_ptr<const RuleSet>& shared_rules() const { return rules_; }
  [[nodiscard]] const Series& series(std::size_t probe) const { return board_.series[probe]; }
  [[nodiscard]] const RuleState& state(std::size_t rule) const { return states_[rule]; }
  /// The last known watched value of a rule. That in its state is older where nothing that has come concerned the rule.
  [[nodiscard]] double latest(std::size_t rule);
  /// Puts back a rule's memory, for a start from a snapshot; to be followed by `resume`.
  void restore(std::size_t rule, const RuleState& state);

  /// What the rule sees right now, for showing: value and limits, canonical; unknown is NaN.
  [[nodiscard]] Sight look(std::size_t rule);
  /// The flock's age in hours, nullopt for a rule that belongs to no flock.
  [[nodiscard]] std::optional<double> age_h(std::size_t rule) const;
  /// The rules of a house stand together: [first, last). None before the watch begins.
  [[nodiscard]] std::pair<std::size_t, std::size_t> rules_of(std::size_t house) const {
    return houses_.empty() ? std::pair<std::size_t, std::size_t>() : std::pair(houses_[house].rules_begin, houses_[house].rules_end);
  }
  /// Probe indices that the rule depends on.
  [[nodiscard]] const std::vector<std::size_t>& probes_of(std::size_t rule) const { return compiled_[rule].probes; }

 private:
  struct Compiled {
    std::shared_ptr<const Program> watch, only_if;      ///< null: it has none
    std::vector<std::shared_ptr<const Program>> limits;
    Site site;
    std::vector<std::size_t> probes;                    ///< that it depends on
    std::vector<std::vector<std::size_t>> by_measure;   ///< the same, for each measure
    std::vector<Instant> bounds;                        ///< wall times at which it may begin or cease to be in force
    Instant next_bound = kNever;                        ///< engine time; the first of them after the last evaluation
    bool bounds_known = false;                          ///< `next_bound`, and whether it is in force up to then
    bool in_bounds = false;
    Duration span_max{0};
    std::size_t firsts_seen = 0;                        ///< of `first_readings_`, when `windows_ready` was worked out
    Instant windows_ready{Duration::min()};             ///< the longest window after each measure's first good reading
  };
  /// One house: its probes, rules and shares, which stand together in the rows of all, and its outlook. Houses share
  /// nothing, so that minute work goes from house to house, over what then fits into the processor's cache.
  struct HouseState {
    std::size_t probes_begin = 0, probes_end = 0;
    std::size_t rules_begin = 0, rules_end = 0;
    std::size_t shares_begin = 0, shares_end = 0;
    Outlook outlook;
    int minutes_ahead = 1;                ///< how far to look out next
    std::size_t judged_since = 0;         ///< rules judged at readings since it was taken
    std::vector<std::size_t> trending;    ///< probes of which slopes are asked for
  };
  /// What is kept of a probe beside its series and its gate there.
  struct ProbeState {
    bool may_wait = false;                ///< a flock of its house names it as one that counts only later
    std::vector<std::size_t> dependents;  ///< rules to evaluate after its readings
    std::vector<std::size_t> readers;     ///< rules that depend on its measure in its house, through other probes too
    std::vector<std::size_t> siblings;    ///< other probes of its measure, where the neighbour test asks for them
  };

  [[nodiscard]] Series::Gate& gate(std::size_t probe) { return board_.series[probe].gate; }
  [[nodiscard]] const Series::Gate& gate(std::size_t probe) const { return board_.series[probe].gate; }
  void compile();
  void compile_rule(std::size_t rule);
  [[nodiscard]] double run(const Program& program, std::size_t rule) { return program.run(compiled_[rule].site, moment(), board_); }
  void find_siblings();
  [[nodiscard]] bool in_bounds(const WatchedRule& rule) const;
  void note_bounds(std::size_t rule);
  void forget_bounds();
  void work_off_minute(HouseState& house, Instant minute);
  void look_out(HouseState& house);
  void look_out_anew(HouseState& house, Instant minute);
  void note_silence(Instant time);
  [[nodiscard]] bool stays_as_it_is(std::size_t rule, const Outlook& outlook);
  void unsettle(std::size_t rule);
  void wake_probes_of(std::size_t rule);
  void forget_outlook();
  void forget_outlook_of(std::size_t probe);
  [[nodiscard]] Series::Band near_siblings(std::size_t probe, const Outlook& outlook) const;
  void see(std::size_t rule, Occasion occasion);
  [[nodiscard]] bool waits(std::size_t probe, Instant wall) const { return probes_[probe].may_wait && rules_->waits_for(probe, wall); }
  [[nodiscard]] Instant counting_begin(std::size_t rule);
  [[nodiscard]] Instant due_of(std::size_t id);
  void schedule(std::size_t id, Instant time);
  void evaluate(std::size_t rule, Occasion occasion);
  void evaluate_all(Occasion occasion);
  void note_quality(std::size_t probe, const Series::Taken& taken, double value);
  void note_neighbours(std::size_t probe, double value);
  void emit_quality(std::size_t probe, Event::Kind kind, QualityTest test, double value);
  [[nodiscard]] Moment moment() const { return {now_, now_ + wall_ahead_, version_}; }

  std::shared_ptr<const RuleSet> rules_;
  Board board_;
  std::vector<Compiled> compiled_;
  std::vector<RuleState> states_;
  std::vector<ProbeState> probes_;                    ///< by probe
  std::vector<HouseState> houses_;                    ///< by house
  std::vector<Instant> work_until_;                   ///< by house
  std::set<std::pair<Instant, std::size_t>> due_;     ///< what falls due when: a probe, or the number of probes plus a rule
  std::vector<Instant> scheduled_;                    ///< by id: its one entry in `due_`
  std::vector<std::size_t> concerned_;
  std::vector<char> settled_;                       ///< by rule: nothing that is expected within the outlook changes it
  std::vector<Event> events_;
  std::vector<Event> found_;
  std::vector<double> held_;                          ///< scratch of the neighbour test
  Series::SlopeScratch slope_scratch_;
  Sight sight_;
  RuleState::Judgement judgement_;
  bool begun_ = false;
  Instant now_{};
  Instant resumed_at_{Duration::min()};               ///< end of the last outage, and how long it was
  Duration outage_{0};
  std::size_t first_readings_ = 0;                    ///< how many series have had a good reading
  Instant next_minute_ = kNever;
  Duration wall_ahead_{0};
  std::uint64_t version_ = 1;
};

/// The longest window of any rule, without compiling anything.
[[nodiscard]] Duration longest_span(const RuleSet& rules);

}  // namespace underwing
