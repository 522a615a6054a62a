#pragma once

#include <optional>
#include <string>
#include <vector>

#include "rules/model.hpp"

namespace underwing {

/// Who has duty at this wall time: the first line of the farm's duty list that fits, judged on the local
/// clock, so that a shift is as long as the clock says even where the clocks change. nullopt: nobody.
[[nodiscard]] std::optional<std::string> on_duty(const Farm& farm, Instant wall);

/// The people that a step names at this moment: `on-duty` is whoever has duty (nobody: everyone), `everyone`
/// all people of the farm. Each once, in the order of the step, then of the file.
[[nodiscard]] std::vector<std::string> people_of(const Farm& farm, const std::vector<std::string>& tell, Instant wall);

[[nodiscard]] const Person* find_person(const Farm& farm, const std::string& name);

/// The person who has this number or address, for any way; spaces, dashes and brackets in numbers do not count.
[[nodiscard]] const Person* person_at(const Farm& farm, const std::string& address);

/// Whether the local clock stands within [begin, end); `end` at or before `begin` goes over midnight.
[[nodiscard]] bool within_hours(const Zone& zone, Instant wall, std::pair<Duration, Duration> hours);

/// The local time of day, since midnight.
[[nodiscard]] Duration time_of_day(const Zone& zone, Instant wall);

}  // namespace underwing
