#include "rules/language/lexer.hpp"

#include <fmt/format.h>

#include <charconv>

#include "rules/base/issue.hpp"

namespace underwing {
namespace {

bool is_space(char c) {
  return c == ' ' || c == '\t' || c == '\n' || c == '\r';
}
bool is_digit(char c) {
  return c >= '0' && c <= '9';
}
bool is_letter(char c) {
  return (c >= 'a' && c <= 'z') || (c >= 'A' && c <= 'Z') || c == '_';
}
bool is_beyond_ascii(char c) {
  return static_cast<unsigned char>(c) >= 0x80;
}
bool is_unit_character(char c) {
  return is_letter(c) || is_beyond_ascii(c) || c == '%';
}

/// Words that may follow a number without being its unit.
bool is_word_of_grammar(std::string_view word) {
  return word == "and" || word == "or" || word == "not" || word == "is" || word == "over" || word == "on" ||
         word == "off";
}

class Lexer {
 public:
  explicit Lexer(std::string_view text) : text_(text) {}

  std::variant<std::vector<Token>, Problem> run() {
    for (;;) {
      while (at_ < text_.size() && is_space(text_[at_])) ++at_;
      if (at_ == text_.size()) break;
      if (!tokens_.empty())
        tokens_.back().touches_next = tokens_.back().offset + tokens_.back().length == at_;
      if (auto problem = next()) return *problem;
    }
    Token end;
    end.offset = text_.size();
    tokens_.push_back(end);
    return std::move(tokens_);
  }

 private:
  char peek(std::size_t ahead = 0) const { return at_ + ahead < text_.size() ? text_[at_ + ahead] : '\0'; }

  void push(Token::Kind kind, std::size_t begin) {
    Token token;
    token.kind = kind;
    token.offset = begin;
    token.length = at_ - begin;
    token.text = std::string(text_.substr(begin, at_ - begin));
    tokens_.push_back(std::move(token));
  }

  std::optional<Problem> next() {
    const std::size_t begin = at_;
    const char c = peek();
    if (is_digit(c) || (c == '.' && is_digit(peek(1)))) return number();
    if (is_letter(c)) {
      while (is_letter(peek()) || is_digit(peek())) ++at_;
      push(Token::Kind::word, begin);
      return std::nullopt;
    }
    if (c == '(' || c == ')' || c == ',') {
      ++at_;
      push(c == '(' ? Token::Kind::open : c == ')' ? Token::Kind::close : Token::Kind::comma, begin);
      return std::nullopt;
    }
    if (c == '<' || c == '>') {
      at_ += peek(1) == '=' ? 2u : 1u;
      push(Token::Kind::sign, begin);
      return std::nullopt;
    }
    if (c == '+' || c == '-' || c == '*' || c == '/') {
      ++at_;
      push(Token::Kind::sign, begin);
      return std::nullopt;
    }
    return unknown_sign();
  }

  std::optional<Problem> number() {
    const std::size_t begin = at_;
    while (is_digit(peek())) ++at_;
    if (peek() == '.') {
      ++at_;
      if (!is_digit(peek())) return Problem{begin, at_ - begin, "a number does not end with a point"};
      while (is_digit(peek())) ++at_;
    }
    if (peek() == 'e' && (is_digit(peek(1)) || ((peek(1) == '-' || peek(1) == '+') && is_digit(peek(2))))) {
      at_ += 2;
      while (is_digit(peek())) ++at_;
    }
    push(Token::Kind::number, begin);
    Token& token = tokens_.back();
    const char* last = text_.data() + at_;
    const auto [end, error] = std::from_chars(text_.data() + begin, last, token.number);
    if (error != std::errc{} || end != last) return Problem{begin, at_ - begin, "this number is too large"};
    if (peek() == '.' || peek() == ',') {
      if (peek() == '.' || is_digit(peek(1))) {
        return Problem{at_, 1, "a decimal is written with one point, as in 0.5"};
      }
    }
    return unit();
  }

  /// A unit stands after its number, with or without a space; its atoms are joined by '/' without spaces.
  std::optional<Problem> unit() {
    std::size_t begin = at_;
    while (begin < text_.size() && is_space(text_[begin])) ++begin;
    std::size_t end = begin;
    while (end < text_.size() && is_unit_character(text_[end])) ++end;
    const std::string_view word = text_.substr(begin, end - begin);
    // 0xE2 begins dashes and signs such as '≤'; no unit has it.
    if (word.empty() || word[0] == '\xE2' || is_word_of_grammar(word)) return std::nullopt;
    if (!is_unit_atom(word)) {
      return Problem{begin, end - begin, unknown_unit(word)};
    }
    for (;;) {
      if (end >= text_.size() || text_[end] != '/') break;
      std::size_t stop = end + 1;
      while (stop < text_.size() && is_unit_character(text_[stop])) ++stop;
      if (!is_unit_atom(text_.substr(end + 1, stop - end - 1))) break;
      end = stop;
    }
    const std::string_view whole = text_.substr(begin, end - begin);
    Token& token = tokens_.back();
    token.unit = parse_unit(whole);
    if (!token.unit) {
      return Problem{begin, end - begin,
                     fmt::format("'{}' is no unit: a quotient takes K, not a temperature on a scale", whole)};
    }
    at_ = end;
    token.length = at_ - token.offset;
    return std::nullopt;
  }

  std::optional<Problem> unknown_sign() {
    struct Hint {
      std::string_view sign;
      const char* text;
    };
    static constexpr Hint kHints[] = {
        {"==", "'==' is not part of the language; write 'is'"},
        {"!=", "'!=' is not part of the language; write 'is not'"},
        {"=", "'=' is not part of the language; write 'is'"},
        {"&&", "'&&' is not part of the language; write 'and'"},
        {"||", "'||' is not part of the language; write 'or'"},
        {"!", "'!' is not part of the language; write 'not'"},
        {"\xE2\x88\x92", "this is a typographic minus; write '-'"},
        {"\xE2\x80\x93", "this is a dash; write '-'"},
        {"\xE2\x89\xA4", "this sign is not part of the language; write '<='"},
        {"\xE2\x89\xA5", "this sign is not part of the language; write '>='"},
    };
    const std::string_view rest = text_.substr(at_);
    for (const Hint& hint : kHints) {
      if (rest.starts_with(hint.sign)) return Problem{at_, hint.sign.size(), hint.text};
    }
    std::size_t end = at_ + 1;
    if (is_unit_character(text_[at_])) {
      while (end < text_.size() && is_unit_character(text_[end])) ++end;
      const std::string_view word = text_.substr(at_, end - at_);
      if (is_unit_atom(word))
        return Problem{at_, word.size(), fmt::format("'{}' needs a number before it", word)};
      return Problem{at_, word.size(), fmt::format("'{}' is not part of the language", word)};
    }
    return Problem{at_, 1, fmt::format("'{}' is not part of the language", text_.substr(at_, 1))};
  }

  std::string_view text_;
  std::size_t at_ = 0;
  std::vector<Token> tokens_;
};

}  // namespace

std::string unknown_unit(std::string_view word) {
  struct Slip {
    std::string_view written;
    const char* meant;
  };
  static constexpr Slip kSlips[] = {
      {"hour", "h"},   {"hours", "h"},    {"hr", "h"},     {"minute", "min"}, {"minutes", "min"},
      {"mins", "min"}, {"sec", "s"},      {"second", "s"}, {"seconds", "s"},  {"day", "d"},
      {"days", "d"},   {"litre", "L"},    {"litres", "L"}, {"gram", "g"},     {"grams", "g"},
      {"C", "°C"},     {"°", "°C"},       {"F", "°F"},     {"percent", "%"},  {"m3", "m³"},
      {"lux", "lx"},   {"celsius", "°C"}, {"degC", "°C"},  {"ºC", "°C"},
      {"˚C", "°C"},    {"ºF", "°F"},      {"˚F", "°F"},
  };
  std::string text = fmt::format("no unit named '{}'", word);
  for (const Slip& slip : kSlips) {
    if (word == slip.written) return text + fmt::format("; did you mean '{}'?", slip.meant);
  }
  if (auto near = nearest(word, unit_atoms())) text += fmt::format("; did you mean '{}'?", *near);
  return text;
}

std::variant<std::vector<Token>, Problem> tokens_of(std::string_view text) {
  return Lexer(text).run();
}

}  // namespace underwing
