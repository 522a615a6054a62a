#pragma once

#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "rules/languages/language.hpp"
#include "rules/model.hpp"

namespace underwing {

/// What a person's message asks for. Read without regard to case, spaces, full stops and the slips that thumbs make;
/// what cannot be read for certain is `unclear` and changes nothing.
struct Reply {
  enum class Kind : std::uint8_t {
    unclear,    ///< to be answered with a line of help, once
    automatic,  ///< too long for a person in a hurry: kept, never answered
    ok, here, pass, status, shelve, work, record, undo, help
  };
  Kind kind = Kind::unclear;
  std::vector<std::string> codes;     ///< of alarms, in capitals, as written: they may not exist
  std::optional<std::size_t> house;   ///< index
  std::optional<Duration> span;       ///< of WORK and SHELVE; a bare number of WORK counts minutes, of SHELVE hours
  std::string why;                    ///< of SHELVE
  std::optional<std::size_t> measure; ///< of `record`: one that people enter on rounds, index
  std::optional<double> value;        ///< of `record`
  std::optional<std::string> unit;    ///< of `value`, where one is written behind it: °F or °C; else in that which the person is shown
};

/// English words are understood in every language, those of `language` besides.
[[nodiscard]] Reply read_reply(std::string_view text, const RuleSet& rules, const Language& language = english());

/// The word by which people enter a measure: "CROP" for crop_fill, "NAVEL" for navels_healed; its first part, in
/// capitals and without the s of the plural.
[[nodiscard]] std::string word_of(const Measure& measure);

}  // namespace underwing
