#pragma once

#include <optional>
#include <string>
#include <vector>

#include "tests/reference/brute_force.hpp"
#include "tests/reference/plain_values.hpp"

namespace underwing::reference {

/// Why a rule is evaluated: after a reading (neither), or as something due is worked off.
struct Occasion {
  bool worked_off = false;  ///< only then do delays longer than nothing end
  bool whole_minute = false;
};

/// One rule's memory and the behaviour of its alarm and of its blindness.
class PlainRule {
 public:
  PlainRule(const RuleSet& rules, const WatchedRule& rule);

  /// Works everything out at `known.now` and appends what happens.
  void evaluate(const Known& known, Occasion occasion, std::vector<ReferenceEvent>& events);

  /// Instants at which this rule has to be evaluated by itself: ends of delays, borders of its ages.
  [[nodiscard]] std::vector<Instant> dues(const Known& known) const;

 private:
  using Logic = std::optional<bool>;
  /// What is seen of the rule at one evaluation.
  struct View {
    bool in_force = false;
    std::optional<double> value;
    std::vector<std::optional<double>> limits;
    std::vector<Logic> broken;  ///< beyond the limit
    std::vector<Logic> in_sight;
    std::vector<Logic> back;  ///< inside by the deadband
  };
  struct LimitMemory {
    std::optional<Instant> met_since;     ///< beyond the limit or in sight
    std::optional<Instant> broken_since;  ///< beyond the limit
    std::optional<Instant> back_since;
    bool active = false;
    bool confirmed = false;  ///< active for being broken, not only in sight
  };
  struct Span {
    Instant begin{};
    std::optional<Instant> end;
  };
  struct Minute {
    Instant time{};
    std::optional<double> value;
  };

  [[nodiscard]] View look(const Known& known) const;
  [[nodiscard]] bool in_force(const Known& known, const PlainEvaluator& evaluator) const;
  void judge_limits(const PlainEvaluator& evaluator, View& view) const;
  void judge_in_sight(View& view) const;
  void follow_limits(Instant now, Occasion occasion, const View& view, std::vector<ReferenceEvent>& events);
  void follow_blindness(const Known& known, Occasion occasion, const View& view,
                        std::vector<ReferenceEvent>& events);
  void remember_unknown(Instant now, bool unknown);
  [[nodiscard]] Instant counting_start(const Known& known) const;
  [[nodiscard]] bool often_unknown(const Known& known) const;
  [[nodiscard]] std::optional<std::size_t> worst_active() const;
  [[nodiscard]] std::string reason_of(std::size_t limit) const;
  [[nodiscard]] ReferenceEvent event(Instant now, const char* what) const;
  [[nodiscard]] ReferenceEvent limit_event(Instant now, const char* what, std::size_t limit,
                                           const View& view) const;

  const RuleSet& rules_;
  const WatchedRule& rule_;
  std::vector<LimitMemory> limits_;
  std::vector<Minute> minutes_;  ///< one for each whole minute worked off
  std::optional<Instant> in_force_since_;
  std::vector<Span> unknown_;  ///< since the rule came into force
  std::optional<Instant> known_since_;
  bool often_unknown_ = false;  ///< more than 30 of 60 min, as last judged at a whole minute
  bool blind_ = false;
};

}  // namespace underwing::reference
