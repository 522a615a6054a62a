#include <fmt/format.h>

#include <cmath>

#include "rules/language/check.hpp"
#include "rules/language/words.hpp"

namespace underwing {

using Kind = Expression::Kind;

namespace {

bool is_scale_number(const Syntax& syntax) {
  return syntax.kind == Syntax::Kind::number && syntax.unit && syntax.unit->point;
}

/// "2 K" for "2 °C": how a shift by that many degrees is written.
std::string as_difference(const Syntax& number) {
  return fmt::format("{:g} {}", std::fabs(number.number), number.unit->of_difference().text);
}

/// The last operand of a sum that is a number on a scale, as in `air_target - 2 °C`.
const Syntax* shift_on_scale(const Syntax& syntax) {
  if (syntax.kind != Syntax::Kind::binary || (syntax.word != "-" && syntax.word != "+")) return nullptr;
  return is_scale_number(*syntax.children[1]) ? syntax.children[1].get() : nullptr;
}

}  // namespace

std::string mismatch(const Syntax& written, const Type& given, const Type& needed) {
  if (needed.point && given == Type{Type::Kind::number, needed.dimension, false}) {
    if (const Syntax* shift = shift_on_scale(written)) {
      return fmt::format("a temperature less a temperature is a difference; to shift it write {}",
                         as_difference(*shift));
    }
  }
  if (written.kind == Syntax::Kind::number && !written.unit && needed.kind == Type::Kind::number) {
    const std::string unit = unit_text_of(needed.dimension, needed.point);
    // On a farm of Fahrenheit, to obey and write °C would be deadly.
    const std::string other = unit == "°C" ? fmt::format(", or {:g} °F", written.number) : "";
    return fmt::format("this number needs a unit: {:g} {}", written.number, unit) + other;
  }
  if (given.kind == Type::Kind::state && needed.kind == Type::Kind::logic) {
    const std::string name = written.kind == Syntax::Kind::name ? written.word : "…";
    return fmt::format("this is on or off, not yet a condition; write '{0} is on' or '{0} is off'", name);
  }
  if (!needed.point && is_scale_number(written)) {
    Type difference = given;
    difference.point = false;
    if (difference == needed)
      return fmt::format("a difference is needed here; write {}", as_difference(written));
  }
  return fmt::format("{} is needed here, and this is {}", in_words(needed), in_words(given));
}

bool Checker::need_number(const Syntax& at, const ExpressionPtr& it) {
  if (it->type.kind == Type::Kind::number) return true;
  refuse(at, fmt::format("a number is needed here, and this is {}", in_words(it->type)));
  return false;
}

bool Checker::need_logic(const Syntax& at, const ExpressionPtr& it) {
  if (it->type.kind == Type::Kind::logic) return true;
  if (it->type.kind == Type::Kind::state) {
    refuse(at, mismatch(at, it->type, kLogicType));
  } else {
    refuse(at, fmt::format("a condition is needed here, and this is {}", in_words(it->type)));
  }
  return false;
}

ExpressionPtr Checker::binary(const Syntax& at) {
  const std::string& sign = at.word;
  if (sign == "and") return logic(at, Kind::logic_and);
  if (sign == "or") return logic(at, Kind::logic_or);
  if (sign == "<") return compare(at, Kind::less);
  if (sign == "<=") return compare(at, Kind::less_equal);
  if (sign == ">") return compare(at, Kind::greater);
  if (sign == ">=") return compare(at, Kind::greater_equal);
  if (sign == "is") return compare(at, Kind::is);
  if (sign == "is not") return compare(at, Kind::is_not);
  if (sign == "+" || sign == "-") return sum(at, sign == "+");
  return product(at, sign == "*");
}

ExpressionPtr Checker::logic(const Syntax& at, Kind kind) {
  Children children;
  for (const auto& child : at.children) children.push_back(check(*child));
  bool fine = true;
  for (std::size_t i = 0; i < children.size(); ++i) {
    fine = children[i] && need_logic(*at.children[i], children[i]) && fine;
  }
  if (!fine) return nullptr;
  auto node = make(at, kind, kLogicType);
  node->children = std::move(children);
  return node;
}

ExpressionPtr Checker::compare(const Syntax& at, Kind kind) {
  const ExpressionPtr left = check(*at.children[0]);
  const ExpressionPtr right = check(*at.children[1]);
  if (!left || !right) return nullptr;
  const bool equality = kind == Kind::is || kind == Kind::is_not;
  for (std::size_t i = 0; i < 2; ++i) {
    const ExpressionPtr& side = i == 0 ? left : right;
    if (side->type.kind == Type::Kind::logic) {
      return refuse(*at.children[i],
                    fmt::format("'{}' compares numbers or states, and this is a condition", at.word));
    }
    if (!equality && !need_number(*at.children[i], side)) return nullptr;
  }
  if (left->type != right->type) {
    const Syntax& first = *at.children[0];
    const bool left_is_bare = first.kind == Syntax::Kind::number && !first.unit &&
                              left->type.kind == Type::Kind::number && right->type.kind == Type::Kind::number;
    if (left_is_bare || (right->type.point && shift_on_scale(first) != nullptr)) {
      return refuse(first, mismatch(first, left->type, right->type));
    }
    const Syntax& second = *at.children[1];
    const bool plain_slip = (second.kind == Syntax::Kind::number) || shift_on_scale(second) != nullptr;
    if (plain_slip && left->type.kind == right->type.kind) {
      return refuse(second, mismatch(second, right->type, left->type));
    }
    return refuse(second,
                  fmt::format("{} cannot be compared with {}", in_words(left->type), in_words(right->type)));
  }
  auto node = make(at, kind, kLogicType);
  node->children = {left, right};
  return node;
}

ExpressionPtr Checker::sum(const Syntax& at, bool add) {
  const ExpressionPtr left = check(*at.children[0]);
  const ExpressionPtr right = check(*at.children[1]);
  if (!left || !right) return nullptr;
  const bool numbers = need_number(*at.children[0], left);
  if (!need_number(*at.children[1], right) || !numbers) return nullptr;
  const Syntax& second = *at.children[1];
  if (left->type.dimension != right->type.dimension) {
    if (second.kind == Syntax::Kind::number && !second.unit) {
      return refuse(second, mismatch(second, right->type,
                                     left->type.point ? Type{Type::Kind::number, left->type.dimension, false}
                                                      : left->type));
    }
    const Syntax& first = *at.children[0];
    if (first.kind == Syntax::Kind::number && !first.unit)
      return refuse(first, mismatch(first, left->type, right->type));
    return refuse(
        second, add ? fmt::format("{} cannot be added to {}", in_words(right->type), in_words(left->type))
                    : fmt::format("{} cannot be taken from {}", in_words(right->type), in_words(left->type)));
  }
  if (add && left->type.point && right->type.point) {
    if (is_scale_number(second)) {
      return refuse(second, fmt::format("two temperatures cannot be added; to shift one write {}",
                                        as_difference(second)));
    }
    return refuse(second, "two temperatures cannot be added; one of them has to be a difference in K");
  }
  if (!add && !left->type.point && right->type.point) {
    return refuse(second, "a temperature cannot be taken from a difference");
  }
  Type type = left->type;
  type.point = add ? (left->type.point || right->type.point) : (left->type.point && !right->type.point);
  auto node = make(at, add ? Kind::add : Kind::subtract, type);
  node->children = {left, right};
  return node;
}

ExpressionPtr Checker::product(const Syntax& at, bool multiply) {
  const ExpressionPtr left = check(*at.children[0]);
  const ExpressionPtr right = check(*at.children[1]);
  if (!left || !right) return nullptr;
  const bool numbers = need_number(*at.children[0], left);
  if (!need_number(*at.children[1], right) || !numbers) return nullptr;
  for (std::size_t i = 0; i < 2; ++i) {
    if ((i == 0 ? left : right)->type.point) {
      return refuse(*at.children[i],
                    "a temperature on a scale cannot be multiplied or divided; only a difference in K can");
    }
  }
  Type type;
  for (std::size_t base = 0; base < Dimension::count_; ++base) {
    const int other = right->type.dimension.exponent[base];
    const int power = left->type.dimension.exponent[base] + (multiply ? other : -other);
    if (power > 6 || power < -6) return refuse(at, "this product has no sensible unit");
    type.dimension.exponent[base] = static_cast<std::int8_t>(power);
  }
  auto node = make(at, multiply ? Kind::multiply : Kind::divide, type);
  node->children = {left, right};
  return node;
}

}  // namespace underwing
