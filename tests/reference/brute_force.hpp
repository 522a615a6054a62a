#pragma once

#include <cstddef>
#include <optional>
#include <string>
#include <vector>

#include "rules/model.hpp"

/// A second evaluator of the rules, for the tests alone: slow and plain. It keeps every reading, works out
/// every number from all of them at every instant at which the rules of order ask for an evaluation, and
/// shares no code with the engine. What the two say must be the same.
namespace underwing {

struct ReferenceReading {
  std::size_t probe = 0;  ///< index into RuleSet::probes
  Instant time{};
  double value = 0;  ///< in the measure's unit
};

struct ReferenceInput {
  enum class Kind { reading, clock, work };
  Kind kind = Kind::clock;
  ReferenceReading reading;  ///< of a reading
  Instant time{};            ///< of a clock line, or when work is announced
  std::size_t house = 0;     ///< of work
  Instant until{};           ///< of work
};

struct ReferenceEvent {
  Instant time{};
  std::string event;  ///< raised, worsened, eased, returned, blind, sees, rejected, suspect, accepted
  std::string house;
  std::string rule;                  ///< empty where the event is a series' own
  std::optional<std::string> probe;  ///< the probe's own name, under `each: probe`
  std::optional<Priority> priority;
  std::string reason;           ///< low, high, when, ahead; of returned: not watched, or empty
  std::optional<double> value;  ///< in the rule's unit
  std::optional<double> limit;  ///< in the limit's unit
  std::string test;             ///< of rejected: gross range, rate of change, flat line
  std::string series;           ///< of rejected, suspect and accepted: measure/probe
};

/// Plays the inputs from the first to the last and gives the events in order. Engine time starts at the first
/// input's time; what falls due at the last one is worked off too.
[[nodiscard]] std::vector<ReferenceEvent> run_reference(const RuleSet& rules,
                                                        const std::vector<ReferenceInput>& inputs);

/// One line of text for a message: time, event, names, reason and numbers.
[[nodiscard]] std::string to_text(const ReferenceEvent& event);

}  // namespace underwing
