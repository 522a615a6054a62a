#pragma once

#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "rules/base/time.hpp"
#include "rules/base/units.hpp"

/// Numbers, times and ages as a person would say them.
namespace underwing {

/// "5 minutes", "1 hour 30 minutes", "14 days"; "no time" for none.
[[nodiscard]] std::string in_long_words(Duration span);

/// "6 hours before placement", "placement", "the age of 14 days".
[[nodiscard]] std::string age_in_words(Duration age);

/// "-24 h", "0 d", "3 d 12 h": as a file would have it.
[[nodiscard]] std::string short_age(Duration age);

/// A flock's hours of light by age, as its file would have them: "0 d: 23 h", "7 d: 18 h".
[[nodiscard]] std::vector<std::string> steps_of_light(const std::vector<std::pair<Duration, Duration>>& lights);

/// "10 minutes", "24 hours", "7 days": hours up to two days, as people speak of what has been.
[[nodiscard]] std::string look_back(Duration span);

/// "3 d", "36h", "-6 h", "3 d 12 h". nullopt: not an age, or longer than any flock lives (limits::kAge).
[[nodiscard]] std::optional<Duration> parse_age(std::string_view text);

/// "three"; digits above twelve.
[[nodiscard]] std::string count_in_words(std::size_t count);

/// "1 reading", "3 readings".
[[nodiscard]] std::string counted(std::uint64_t count, std::string_view what);

/// "a", "a and b", "a, b and c"; `joint` stands before the last.
[[nodiscard]] std::string join_words(const std::vector<std::string>& words, std::string_view joint = "and");

/// A number without needless zeros: one decimal from 10 up, two from 1 up, three places below.
[[nodiscard]] std::string plain_number(double value);

/// A canonical value in its unit: "29 °C", "1.8 L/kg", "17000".
[[nodiscard]] std::string with_its_unit(double canonical, const Unit& unit);

/// A measure or a curve by name, as words: "air temperature".
[[nodiscard]] std::string spaced(std::string_view name);

/// How many columns of a terminal a text takes: its characters, not its bytes.
[[nodiscard]] std::size_t columns_of(std::string_view text);

/// `text` with spaces before it (or behind it) so that it takes `width` columns.
[[nodiscard]] std::string right_aligned(std::string_view text, std::size_t width);
[[nodiscard]] std::string left_aligned(std::string_view text, std::size_t width);

/// Breaks a text at spaces into lines of at most `width` columns. The first line begins with `head`, every
/// other one with as many spaces. Ends with a line feed.
[[nodiscard]] std::string wrapped(std::string_view text, std::size_t width, std::string_view head = "");

/// Rows of cells as lines, each column as wide as its widest cell and aligned to the right; the
/// first `names` columns to the left.
[[nodiscard]] std::string grid(const std::vector<std::vector<std::string>>& rows, std::size_t names = 0);

}  // namespace underwing
