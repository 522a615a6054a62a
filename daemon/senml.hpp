#pragma once

#include <cstdint>
#include <memory>
#include <optional>
#include <span>
#include <string>
#include <string_view>

#include "rules/base/result.hpp"
#include "rules/base/time.hpp"

/// SenML (RFC 8428) in its JSON form, one pack a line: what plugins hand over and what tapes hold.
namespace underwing {

/// One resolved number. The views live as long as the pack that holds it.
struct SenmlRecord {
  std::string_view name;                 ///< base name and name, joined
  std::optional<std::string_view> unit;  ///< as written: "Cel", "%RH", "/"
  double value = 0;                      ///< finite; of a state 1 (on) or 0 (off)
  Instant time{};                        ///< absolute
  bool timed = false;                    ///< the pack said a time; else `time` is the moment handed in
  bool is_sum = false;                   ///< `s` without `v`: a counter's value
};

/// A record that is no number: a text (`vs`), bytes (`vd`, as written), or a bare name and time. Tapes use them
/// as marks; from a plugin they count as not understood.
struct SenmlRemark {
  std::string_view name;
  std::string_view text;
  Instant time{};
  bool timed = false;
};

struct SenmlPack {
  std::span<const SenmlRecord> records;
  std::span<const SenmlRemark> remarks;
};

/// Parses packs, reusing its memory. One parser belongs to one thread; what a pack's views point into is good
/// until the next call of parse().
class SenmlParser {
 public:
  SenmlParser();
  ~SenmlParser();
  SenmlParser(SenmlParser&&) noexcept;
  SenmlParser& operator=(SenmlParser&&) noexcept;

  /// Resolves one line (RFC 8428, section 4.6) in the order of its records. A time below 2^28 s counts from
  /// `now`. A pack with any fault is refused whole, with a short reason; it never throws.
  /// `line` needs no padding and no newline at its end.
  Result<SenmlPack> parse(std::string_view line, Instant now) noexcept;

 private:
  struct Impl;
  std::unique_ptr<Impl> impl_;
};

/// Appends one reading as a line without its newline:
/// `[{"n":"house-1/air_temperature/north","u":"Cel","v":31.2,"t":1772443800.123}]`. The number is the shortest
/// one that reads back as the same. A value that is not finite has no place in SenML: nothing is appended, and
/// the answer is false.
[[nodiscard]] bool append_senml(std::string& line, const SenmlRecord& record);

/// Appends a mark, without its newline: `[{"n":"watch/rules","t":1772443800,"vs":"…"}]`; `t` and `vs` only
/// where they are given.
void append_senml_mark(std::string& line, std::string_view name, std::optional<Instant> time,
                       std::optional<std::string_view> text = std::nullopt);

}  // namespace underwing
