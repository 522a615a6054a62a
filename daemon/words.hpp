#pragma once

#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "rules/engine/engine.hpp"
#include "rules/languages/gsm.hpp"
#include "rules/languages/language.hpp"
#include "rules/model.hpp"

namespace underwing {

/// "H1" for house-1, else the name in capitals; at most eight characters.
[[nodiscard]] std::string house_in_short(const std::string& house);

/// "day 2", as the flock's people count.
[[nodiscard]] std::string day_of(const Flock& flock, const Zone& zone, Instant wall, const Language& language = english());

/// "not counted until day 7, 09:30": of a probe in a part of the house without birds, that waits for that age.
[[nodiscard]] std::string not_counted_until(const Flock& flock, const Zone& zone, Duration age);

/// Local clock time "02:14".
[[nodiscard]] std::string clock_time(const Zone& zone, Instant wall);

/// Local date and clock time "2026-03-07 02:14".
[[nodiscard]] std::string date_and_time(const Zone& zone, Instant wall);

/// "; did you mean cold-air or cold-floor?": the rule nearest to the word, else those that have it in their names, else where
/// all are listed.
[[nodiscard]] std::string suggested_rules(const std::string& word, std::vector<std::string> known);

/// The parts in a row, with `between` between them.
[[nodiscard]] std::string list_of(const std::vector<std::string>& parts, const char* between);

/// What is wrong in a few words of capitals: COLD, HOT, AMMONIA …; the rule's own `head`, else from the measure that is
/// watched and the side, else from the first words of what the rule is about.
[[nodiscard]] std::string what_is_wrong(const WatchedRule& rule, const RuleSet& rules, Reason reason, const Language& language = english());

/// Whether two rules say the same of one house, be it in other words: COLD and DEADLY COLD.
[[nodiscard]] bool same_trouble(const WatchedRule& rule, Reason reason, const WatchedRule& other, Reason its_reason, const RuleSet& rules);

/// Who answered, in that language where it is nobody by name.
[[nodiscard]] std::string who_in(const std::string& who, const Language& language);

/// A rule's head, what it is about and what to do, in that language where its pack says it, else as the pack has it.
[[nodiscard]] const std::string& head_in(const WatchedRule& rule, const Language& language);
[[nodiscard]] const std::string& about_in(const WatchedRule& rule, const Language& language);
[[nodiscard]] const std::string& action_in(const WatchedRule& rule, const Language& language);

/// What an alarm's text says. All parts are plain words; empty parts are left out.
struct AlarmWords {
  std::string head;      ///< "H1 COLD 28.6 C": what a locked screen shows
  std::string expected;  ///< ", wants 31 (day 2)"
  std::string trend;     ///< "Falling since 01:45, 26 C by 02:40."; gives way to what to do
  std::string action;    ///< "GO NOW: look at the chicks first."
  std::string replies;   ///< "Reply OK K7. Cannot go: PASS K7"
  std::string cause{};   ///< "MAINS LOST since 01:45.", told after `expected`; gives way to what to do, after the trend
};
[[nodiscard]] std::string to_text(const AlarmWords& words);

}  // namespace underwing
