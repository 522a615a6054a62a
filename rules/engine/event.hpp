#pragma once

#include <cstdint>
#include <optional>
#include <string>

#include "rules/engine/series.hpp"
#include "rules/model.hpp"

namespace underwing {

/// Why an alarm was raised, worsened or returned.
enum class Reason : std::uint8_t { none, low, high, when, ahead, not_watched };

[[nodiscard]] const char* to_string(Reason reason);  // "low" … "not watched"

/// One thing that the engine found. Indices refer to the rule set that the engine runs on.
struct Event {
  enum class Kind : std::uint8_t { raised, worsened, eased, returned, blind, sees, rejected, accepted, suspect, ran_back };
  Instant time{};
  Kind kind = Kind::raised;
  std::size_t house = 0;
  std::optional<std::size_t> rule;   ///< of alarms and blindness
  std::optional<std::size_t> probe;  ///< of a reading's quality; of a rule under `each: probe`
  Priority priority = Priority::note;
  Reason reason = Reason::none;
  std::optional<double> value, limit;      ///< canonical; none where unknown or without meaning
  std::optional<double> minutes_left;      ///< of `ahead`
  std::optional<double> age_h;             ///< age of the flock
  QualityTest test = QualityTest::none;
};

[[nodiscard]] const char* to_string(Event::Kind kind);

/// One line of JSON as `replay --json` prints it. Values are shown in the rule's unit, rounded to 1e-6.
[[nodiscard]] std::string to_json(const Event& event, const RuleSet& rules);

}  // namespace underwing
