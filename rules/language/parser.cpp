#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <cctype>

#include "rules/base/limits.hpp"
#include "rules/language/lexer.hpp"

namespace underwing {
namespace {

using Node = std::unique_ptr<Syntax>;

/// Recursive descent over the tokens. A problem is thrown and caught within this file.
class Parser {
 public:
  explicit Parser(std::vector<Token> tokens) : tokens_(std::move(tokens)) {}

  Node run() {
    if (peek().kind == Token::Kind::end) throw Problem{0, 1, "an expression is missing here"};
    Node node = parse_or();
    const Token& rest = peek();
    if (rest.kind == Token::Kind::end) return node;
    if (rest.kind == Token::Kind::close) throw Problem{rest.offset, 1, "this ')' closes nothing"};
    if (is_word("over")) {
      throw Problem{rest.offset, rest.length,
                    "'over' stands only inside a function, as in mean(water over 10 min)"};
    }
    if (is_comparison(rest)) throw chained(rest);
    if (rest.kind == Token::Kind::comma)
      throw Problem{rest.offset, 1, "a comma stands only between arguments"};
    refuse_capitals(rest);
    throw Problem{rest.offset, rest.length,
                  fmt::format("a sign such as '+' or 'and' is missing before '{}'", rest.text)};
  }

 private:
  /// AND in place of `and`.
  static void refuse_capitals(const Token& token) {
    std::string small(token.text);
    std::transform(small.begin(), small.end(), small.begin(), [](unsigned char c) { return static_cast<char>(std::tolower(c)); });
    for (const char* word : {"and", "or", "not", "is", "over"}) {
      if (small == word && token.text != word) throw Problem{token.offset, token.length, fmt::format("'{}' is written in small letters: {}", token.text, word)};
    }
  }

  const Token& peek() const { return tokens_[at_]; }
  const Token& take() { return tokens_[at_ + 1 < tokens_.size() ? at_++ : at_]; }
  bool is_word(std::string_view word) const {
    return peek().kind == Token::Kind::word && peek().text == word;
  }
  bool is_sign(std::string_view sign) const {
    return peek().kind == Token::Kind::sign && peek().text == sign;
  }

  static bool is_comparison(const Token& token) {
    if (token.kind == Token::Kind::word) return token.text == "is";
    return token.kind == Token::Kind::sign && (token.text[0] == '<' || token.text[0] == '>');
  }

  static Problem chained(const Token& token) {
    return {token.offset, token.length, "comparisons cannot be chained; join two of them with 'and'"};
  }

  /// Guards the depth of nesting, so that no text can exhaust the stack.
  struct Depth {
    explicit Depth(Parser& parser) : parser_(parser) {
      if (++parser_.depth_ > limits::kExpressionDepth) {
        throw Problem{parser_.peek().offset, 1,
                      fmt::format("this is nested more than {} deep; give parts of it a name under values",
                                  limits::kExpressionDepth)};
      }
    }
    ~Depth() { --parser_.depth_; }
    Depth(const Depth&) = delete;
    Depth& operator=(const Depth&) = delete;
    Parser& parser_;
  };

  static Node binary(Node left, std::string word, std::size_t sign_offset, Node right) {
    Node node = std::make_unique<Syntax>();
    node->kind = Syntax::Kind::binary;
    node->word = std::move(word);
    node->offset = left->offset;
    node->length = right->offset + right->length - left->offset;
    node->sign_offset = sign_offset;
    node->children.push_back(std::move(left));
    node->children.push_back(std::move(right));
    return node;
  }

  Node prefixed(Syntax::Kind kind, const Token& sign, Node inner) {
    Node node = std::make_unique<Syntax>();
    node->kind = kind;
    node->offset = sign.offset;
    node->length = inner->offset + inner->length - sign.offset;
    node->children.push_back(std::move(inner));
    return node;
  }

  Node parse_or() {
    const Depth depth(*this);
    Node left = parse_and();
    while (is_word("or")) {
      const std::size_t sign = take().offset;
      left = binary(std::move(left), "or", sign, parse_and());
    }
    return left;
  }

  Node parse_and() {
    Node left = parse_not();
    while (is_word("and")) {
      const std::size_t sign = take().offset;
      left = binary(std::move(left), "and", sign, parse_not());
    }
    return left;
  }

  Node parse_not() {
    if (!is_word("not")) return parse_comparison();
    const Depth depth(*this);
    const Token sign = take();
    return prefixed(Syntax::Kind::logic_not, sign, parse_not());
  }

  Node parse_comparison() {
    Node left = parse_sum();
    if (!is_comparison(peek())) return left;
    const Token sign = take();
    std::string word = sign.text;
    if (word == "is" && is_word("not")) {
      take();
      word = "is not";
    }
    left = binary(std::move(left), word, sign.offset, parse_sum());
    if (is_comparison(peek())) throw chained(peek());
    return left;
  }

  Node parse_sum() {
    Node left = parse_product();
    while (is_sign("+") || is_sign("-")) {
      const Token sign = take();
      left = binary(std::move(left), sign.text, sign.offset, parse_product());
    }
    return left;
  }

  Node parse_product() {
    Node left = parse_unary();
    while (is_sign("*") || is_sign("/")) {
      const Token sign = take();
      left = binary(std::move(left), sign.text, sign.offset, parse_unary());
    }
    return left;
  }

  Node parse_unary() {
    if (!is_sign("-")) return parse_primary();
    const Depth depth(*this);
    const Token sign = take();
    if (sign.touches_next && peek().kind == Token::Kind::number) {
      Node number = parse_primary();
      number->number = -number->number;
      number->length += number->offset - sign.offset;
      number->offset = sign.offset;
      return number;
    }
    return prefixed(Syntax::Kind::negate, sign, parse_unary());
  }

  Node leaf(Syntax::Kind kind) {
    const Token& token = take();
    Node node = std::make_unique<Syntax>();
    node->kind = kind;
    node->word = token.text;
    node->number = token.number;
    node->unit = token.unit;
    node->offset = token.offset;
    node->length = token.length;
    return node;
  }

  Node parse_primary() {
    const Token& token = peek();
    if (token.kind == Token::Kind::number) return leaf(Syntax::Kind::number);
    if (token.kind == Token::Kind::open) return parse_bracket();
    if (is_word("on")) return leaf(Syntax::Kind::on);
    if (is_word("off")) return leaf(Syntax::Kind::off);
    if (token.kind == Token::Kind::word && !is_word("and") && !is_word("or") && !is_word("is") &&
        !is_word("not") && !is_word("over")) {
      const bool call = tokens_[at_ + 1].kind == Token::Kind::open;
      return call ? parse_call() : leaf(Syntax::Kind::name);
    }
    if (token.kind == Token::Kind::end) {
      const std::size_t last = at_ == 0 ? 0 : tokens_[at_ - 1].offset;
      throw Problem{last, std::max<std::size_t>(1, token.offset - last), "something is missing after this"};
    }
    throw Problem{token.offset, token.length,
                  fmt::format("a number or a name is missing before '{}'", token.text)};
  }

  Node parse_bracket() {
    const Token open = take();
    Node inner = parse_or();
    close(open);
    // The brackets belong to the part, so that it is underlined whole.
    inner->length = tokens_[at_ - 1].offset + 1 - open.offset;
    inner->offset = open.offset;
    return inner;
  }

  void close(const Token& open) {
    const Token& token = peek();
    if (token.kind == Token::Kind::close) {
      take();
      return;
    }
    if (token.kind == Token::Kind::end) throw Problem{open.offset, 1, "this '(' is never closed"};
    if (is_word("over")) {
      throw Problem{token.offset, token.length, "only a measure by itself can be looked at over a time"};
    }
    if (is_comparison(token)) throw chained(token);
    refuse_capitals(token);
    throw Problem{
        token.offset, token.length,
        fmt::format("'{}' does not fit here; a sign, a comma or ')' is missing before it", token.text)};
  }

  Node parse_call() {
    Node node = leaf(Syntax::Kind::call);
    const Token open = take();
    if (peek().kind != Token::Kind::close) {
      node->children.push_back(parse_argument());
      while (peek().kind == Token::Kind::comma) {
        take();
        node->children.push_back(parse_argument());
      }
    }
    close(open);
    node->length = tokens_[at_ - 1].offset + 1 - node->offset;
    return node;
  }

  Node parse_argument() {
    const bool over = peek().kind == Token::Kind::word && tokens_[at_ + 1].kind == Token::Kind::word &&
                      tokens_[at_ + 1].text == "over";
    if (!over) return parse_or();
    Node node = leaf(Syntax::Kind::over);
    take();
    const Token& time = peek();
    if (time.kind != Token::Kind::number) {
      throw Problem{time.offset, std::max<std::size_t>(1, time.length),
                    "a time is missing after 'over', as in over 10 min"};
    }
    Dimension hours;
    hours.exponent[Dimension::time] = 1;
    if (!time.unit || time.unit->dimension != hours) {
      throw Problem{time.offset, time.length,
                    "a time with its unit is needed after 'over', as in over 10 min"};
    }
    const double span_h = time.unit->to_canonical(time.number);
    const double longest_h = std::chrono::duration<double, std::ratio<3600>>(limits::kWindow).count();
    if (span_h > longest_h) {
      throw Problem{time.offset, time.length,
                    fmt::format("a window is at most {}", to_words(limits::kWindow))};
    }
    node->span = Duration(static_cast<Duration::rep>(span_h * 3'600'000.0 + 0.5));
    if (node->span < std::chrono::seconds(1)) {
      throw Problem{time.offset, time.length, "a window is at least 1 s"};
    }
    node->length = time.offset + time.length - node->offset;
    take();
    return node;
  }

  std::vector<Token> tokens_;
  std::size_t at_ = 0;
  std::size_t depth_ = 0;
};

}  // namespace

Parsed parse_expression(std::string_view text) {
  if (text.size() > limits::kExpressionBytes) {
    return {nullptr, Problem{0, 1,
                             fmt::format("this expression is longer than {} characters; give parts of it a "
                                         "name under values",
                                         limits::kExpressionBytes)}};
  }
  auto tokens = tokens_of(text);
  if (auto* problem = std::get_if<Problem>(&tokens)) return {nullptr, *problem};
  try {
    return {Parser(std::get<std::vector<Token>>(std::move(tokens))).run(), std::nullopt};
  } catch (const Problem& problem) {
    return {nullptr, problem};
  }
}

}  // namespace underwing
