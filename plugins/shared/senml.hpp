#pragma once

#include <cstdint>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

namespace underwing {

/// A SenML record, resolved (RFC 8428, section 4.6): base fields worked in. Only what the line protocol
/// carries: numbers, booleans and sums.
struct SenmlRecord {
  enum class Kind : std::uint8_t { number, boolean, sum, other };
  std::string name;
  std::string unit;
  Kind kind = Kind::other;  ///< `other`: a text, data or no value at all
  double value = 0;         ///< of a boolean, 0 or 1
  double time = 0;          ///< seconds: since 1970 from 2^28 up, below that relative to now

  [[nodiscard]] bool time_is_absolute() const { return time >= kAbsoluteFrom; }
  static constexpr double kAbsoluteFrom = 268435456.0;  ///< 2^28, RFC 8428 section 4.5.3
};

/// Reads a pack. On failure `error` says why and the result is empty. A record that holds base fields only is
/// no record of its own.
[[nodiscard]] std::optional<std::vector<SenmlRecord>> read_senml(std::string_view pack, std::string& error);

/// True where `name` is a SenML name: letters, digits and `- : . / _`, a letter or digit first (4.5.1).
[[nodiscard]] bool is_senml_name(std::string_view name);

/// Appends one line `[{"n":…,"u":…,"v":…,"t":…}]` with its line end. `name` must be a SenML name. An empty
/// unit and a time of 0 (that is now) are left out. Times are written in whole milliseconds.
void append_senml(std::string& lines, std::string_view name, std::string_view unit, double value,
                  double time);

/// Likewise, keeping the record's kind. `Kind::other` appends nothing.
void append_senml(std::string& lines, const SenmlRecord& record);

/// Appends the shortest text that reads back as the same number; never NaN or infinity (those become 0).
void append_number(std::string& text, double value);

/// Appends seconds, rounded to whole milliseconds, without trailing zeros.
void append_seconds(std::string& text, double seconds);

/// A unit as people write it ("°C", "L", "kPa"), and what becomes of it on the line:
/// line value = value × scale + offset, in `senml`.
struct UnitOnTheLine {
  const char* text;
  const char* senml;
  double scale;
  double offset;
};

/// Looks a unit text up. nullptr: not known. "%" becomes "%RH", which the daemon takes as plain percent,
/// because "%" in SenML stands for a ratio from 0 to 1 (RFC 8428, section 12.1, note 1).
[[nodiscard]] const UnitOnTheLine* find_unit(std::string_view text);

/// All known unit texts, for messages.
[[nodiscard]] std::string known_units();

}  // namespace underwing
