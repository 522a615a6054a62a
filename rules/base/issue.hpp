#pragma once

#include <optional>
#include <string>
#include <string_view>
#include <vector>

namespace underwing {

/// Something wrong, or worth a second look, in a file. Line and column count from 1; columns count
/// characters, not bytes.
struct Issue {
  enum class Severity {
    error,
    caution,  ///< odd, or worth a second look
    danger    ///< a caution that can cost the flock
  };
  Severity severity = Severity::error;
  std::string file;
  std::size_t line = 1;
  std::size_t column = 1;
  std::size_t length = 1;   ///< characters to underline
  std::string text;         ///< one sentence that a grower can act on, without a stop at the end
  friend bool operator==(const Issue&, const Issue&) = default;
};

/// `file:line:column: text`, then the line of the file and a caret under the place:
///
///     rules/first-weeks.yaml:14:19: no measure or value named 'air_temprature'; did you mean 'air_temperature'?
///       14 |     watch: median(air_temprature)
///          |                   ^~~~~~~~~~~~~~
///
/// Cautions begin with "caution: " after the place, dangers with "DANGER: ". `source` is the whole text of the file.
[[nodiscard]] std::string to_text(const Issue& issue, std::string_view source);

/// The candidate nearest to `word`, if it is near enough to suggest: the same but for capitals, or at an edit
/// distance of at most a third of the word's length (at least 1, at most 3).
[[nodiscard]] std::optional<std::string> nearest(std::string_view word, const std::vector<std::string>& candidates);

}  // namespace underwing
