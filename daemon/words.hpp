#pragma once

#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "rules/engine/engine.hpp"
#include "rules/model.hpp"

namespace underwing {

/// Characters that one text message carries in the GSM 7-bit alphabet (3GPP TS 23.038, 23.040).
inline constexpr std::size_t kTextSeptetsMax = 160;

/// The text in the GSM 7-bit alphabet: the degree sign and typographic marks are replaced or dropped,
/// characters that the alphabet does not have become '?'.
[[nodiscard]] std::string to_gsm(std::string_view text);

/// Length in septets; characters of the extension table count two.
[[nodiscard]] std::size_t gsm_length(std::string_view text);

/// The first of `variants` that fits one message; the last one is cut to fit.
[[nodiscard]] std::string fit(const std::vector<std::string>& variants);

/// As much of the text as `septets_max` have room for, in the GSM 7-bit alphabet.
[[nodiscard]] std::string cut_to(std::string_view text, std::size_t septets_max);

/// "H1" for house-1, else the name in capitals; at most eight characters.
[[nodiscard]] std::string house_in_short(const std::string& house);

/// "day 2", as the flock's people count.
[[nodiscard]] std::string day_of(const Flock& flock, const Zone& zone, Instant wall);

/// Local clock time "02:14".
[[nodiscard]] std::string clock_time(const Zone& zone, Instant wall);

/// Local date and clock time "2026-03-07 02:14".
[[nodiscard]] std::string date_and_time(const Zone& zone, Instant wall);

/// The parts in a row, with `between` between them.
[[nodiscard]] std::string list_of(const std::vector<std::string>& parts, const char* between);

/// A value with its unit for a text: "28.6 C", "22 ppm".
[[nodiscard]] std::string with_unit(double canonical, const Unit& unit);

/// What is wrong in one or two words of capitals: COLD, HOT, AMMONIA …; from the measure that is watched and
/// the side, else from the first words of what the rule is about.
[[nodiscard]] std::string what_is_wrong(const WatchedRule& rule, const RuleSet& rules, Reason reason);

/// The measure in plain words: "air temperature".
[[nodiscard]] std::string measure_in_words(const std::string& measure);

/// What an alarm's text says. All parts are plain words; empty parts are left out.
struct AlarmWords {
  std::string head;      ///< "H1 COLD 28.6 C": what a locked screen shows
  std::string expected;  ///< ", wants 31 (day 2)"
  std::string trend;     ///< "Falling since 01:45, 26 C by 02:40."; gives way to what to do
  std::string action;    ///< "GO NOW: look at the chicks first."
  std::string replies;   ///< "Reply OK K7. Cannot go: PASS K7"
};
[[nodiscard]] std::string to_text(const AlarmWords& words);

}  // namespace underwing
