#pragma once

#include <optional>
#include <string>
#include <string_view>
#include <variant>
#include <vector>

#include "rules/language/syntax.hpp"

namespace underwing {

struct Token {
  enum class Kind { number, word, sign, open, close, comma, end };
  Kind kind = Kind::end;
  std::string text;  ///< of word and sign
  double number = 0;
  std::optional<Unit> unit;  ///< of a number
  std::size_t offset = 0;
  std::size_t length = 0;
  bool touches_next = false;  ///< nothing stands between this token and the next
};

/// Cuts an expression into tokens; a unit goes with its number. The last token is `end`.
[[nodiscard]] std::variant<std::vector<Token>, Problem> tokens_of(std::string_view text);

}  // namespace underwing
