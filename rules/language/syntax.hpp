#pragma once

#include <memory>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "rules/base/time.hpp"
#include "rules/base/units.hpp"

namespace underwing {

/// Something wrong inside an expression, in bytes of its own text.
struct Problem {
  std::size_t offset = 0;
  std::size_t length = 1;
  std::string text;  ///< one sentence, as in Issue
};

/// An expression as it is written: names not looked up, types not known.
struct Syntax {
  enum class Kind { number, on, off, name, call, over, negate, binary, logic_not };
  Kind kind = Kind::number;
  std::string word;  ///< of name, call and over: the name; of binary: the sign, "and", "or", "is" or "is not"
  double number = 0;  ///< as written, in `unit`
  std::optional<Unit> unit;
  Duration span{0};        ///< of over
  std::size_t offset = 0;  ///< bytes of the whole part
  std::size_t length = 0;
  std::size_t sign_offset = 0;  ///< of binary: where the sign stands
  std::vector<std::unique_ptr<Syntax>> children;
};

struct Parsed {
  std::unique_ptr<Syntax> syntax;  ///< null where there is a problem
  std::optional<Problem> problem;  ///< the first one; what follows it would be guesswork
};

/// Parses one expression:
///
///     or := and {"or" and}      and := not {"and" not}      not := "not" not | comparison
///     comparison := sum [("<"|"<="|">"|">="|"is"|"is not") sum]
///     sum := product {("+"|"-") product}      product := unary {("*"|"/") unary}      unary := "-" unary |
///     primary primary := number [unit] | name | name "(" argument {"," argument} ")" | "(" or ")" | "on" |
///     "off" argument := or | measure "over" number time-unit
[[nodiscard]] Parsed parse_expression(std::string_view text);

/// Words that cannot name a measure, curve or value: signs of the language, its functions and its facts.
[[nodiscard]] bool is_reserved_word(std::string_view word);

/// "no unit named 'hour'; did you mean 'h'?"
[[nodiscard]] std::string unknown_unit(std::string_view word);

/// The canonical unit of a dimension as a text: "K", "L/g"; of a point "°C".
[[nodiscard]] std::string unit_text_of(const Dimension& dimension, bool point);

}  // namespace underwing
