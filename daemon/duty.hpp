#pragma once

#include <chrono>
#include <nlohmann/json_fwd.hpp>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "rules/languages/language.hpp"
#include "rules/model.hpp"

namespace underwing {

/// A date of the farm's calendar, counted as if it were UTC.
using Date = std::chrono::sys_days;

/// Two people who change places for the shifts that begin on one date.
struct DutySwap {
  Date date{};
  std::string one, other;
};

/// Who has duty at this wall time: the first line of the farm's duty list that fits, after swaps, and whose person
/// is not off on the date on which the shift begins. nullopt: nobody.
/// A shift begins and ends when the local clock first shows its times. One whose begin the clocks skip begins at the next instant that
/// exists, and has its planned length where they skip its end as well; of an hour that they repeat, begin and end
/// count the first time. So shifts that follow each other on paper leave no gap and share no moment.
[[nodiscard]] std::optional<std::string> on_duty(const Farm& farm, Instant wall, const std::vector<DutySwap>& swaps);

/// A stretch of time in which duty does not change hands.
struct DutyTurn {
  Instant begin{}, end{};
  std::string who;          ///< empty: nobody
  std::string in_place_of;  ///< whose shift it is by the farm's file, where they have swapped
};

/// Who has duty in [from, until), in order and without gaps; hours in which nobody has it are turns of nobody.
[[nodiscard]] std::vector<DutyTurn> duty_turns(const Farm& farm, Instant from, Instant until, const std::vector<DutySwap>& swaps);

/// Most days that a list of turns is asked for.
inline constexpr int kDutyDaysMax = 366;

/// {"begin", "end": RFC 3339; "begin_local", "end_local": "2026-03-07 20:00"; "minutes"; "who", "in_place_of": a name or null}
[[nodiscard]] nlohmann::json to_json(const DutyTurn& turn, const Zone& zone);

/// Whether this person is off on that date, by the farm's file.
[[nodiscard]] bool is_off(const Farm& farm, const std::string& who, Date date);

/// Whether a shift of this person, by the farm's file, begins on that date.
[[nodiscard]] bool has_shift_on(const Farm& farm, const std::string& who, Date date);

/// The instant at which that date begins on the farm's clock.
[[nodiscard]] Instant begin_of(const Zone& zone, Date date);
[[nodiscard]] Date date_of(const Zone& zone, Instant wall);
/// "2026-03-07"; nullopt where it is no date.
[[nodiscard]] std::optional<Date> read_date(std::string_view text);
[[nodiscard]] std::string to_text(Date date);
/// "Sat 7 March".
[[nodiscard]] std::string date_in_words(Date date, const Language& language = english());

/// The people that a step names at this moment: `on-duty` is whoever has duty (nobody: everyone), `everyone`
/// all people of the farm. Each once, in the order of the step, then of the file.
[[nodiscard]] std::vector<std::string> people_of(const Farm& farm, const std::vector<std::string>& tell, Instant wall,
                                                 const std::vector<DutySwap>& swaps);

[[nodiscard]] const Person* find_person(const Farm& farm, const std::string& name);

/// The person who has this number or address, for any way; spaces, dashes and brackets in numbers do not count.
[[nodiscard]] const Person* person_at(const Farm& farm, const std::string& address);

/// Whether the local clock stands within [begin, end); `end` at or before `begin` goes over midnight.
[[nodiscard]] bool within_hours(const Zone& zone, Instant wall, std::pair<Duration, Duration> hours);

/// The local time of day, since midnight.
[[nodiscard]] Duration time_of_day(const Zone& zone, Instant wall);

}  // namespace underwing
