#include <fmt/format.h>

#include "rules/base/limits.hpp"
#include "rules/language/check.hpp"
#include "rules/language/words.hpp"

namespace underwing {

using Kind = Expression::Kind;

ExpressionPtr Checker::trade_call(const Syntax& at, const TradeEntry& entry) {
  Children children;
  for (const auto& child : at.children) children.push_back(check(*child));
  const std::size_t least = entry.arguments.size();
  if (!right_count(at, least, least + entry.optional.size())) return nullptr;
  for (std::size_t i = 0; i < children.size(); ++i) {
    if (!children[i]) return nullptr;
    const Type needed = number_type(i < least ? entry.arguments[i] : entry.optional[i - least].first);
    if (children[i]->type != needed)
      return refuse(*at.children[i], mismatch(*at.children[i], children[i]->type, needed));
  }
  for (std::size_t i = children.size(); i < least + entry.optional.size(); ++i) {
    const auto& [unit, value] = entry.optional[i - least];
    auto left_out = make(at, Kind::number, number_type(unit));
    left_out->number = value;
    children.push_back(left_out);
  }
  auto node = make(at, Kind::trade, number_type(entry.result));
  node->trade = entry.trade;
  node->children = std::move(children);
  return node;
}

ExpressionPtr Checker::first_known(const Syntax& at) {
  Children children;
  for (const auto& child : at.children) children.push_back(check(*child));
  if (!right_count(at, 2, limits::kExpressionNodes * 100)) return nullptr;
  for (std::size_t i = 0; i < children.size(); ++i) {
    if (!children[i] || !need_number(*at.children[i], children[i])) return nullptr;
    if (children[i]->type != children[0]->type)
      return refuse(*at.children[i], mismatch(*at.children[i], children[i]->type, children[0]->type));
  }
  auto node = make(at, Kind::first_known, children[0]->type);
  node->children = std::move(children);
  return node;
}

/// share_of(measure over D, curve), share_error(measure over D, curve).
ExpressionPtr Checker::share(const Syntax& at) {
  if (!right_count(at, 2, 2)) return nullptr;
  const Syntax& window = *at.children[0];
  if (window.kind != Syntax::Kind::over) {
    return refuse(window, fmt::format("'{0}' takes weighings over a time, as in {0}(bird_weight over 24 h, …)", at.word));
  }
  const auto measure = find_measure(window.word);
  if (!measure) return unknown_name(window, true);
  const Measure& it = (*scope_.measures)[*measure];
  if (it.kind != MeasureKind::sample) {
    return refuse(window, fmt::format("'{}' takes readings of which each stands for itself; '{}' is a {}", at.word, it.name, to_string(it.kind)));
  }
  const Syntax& named = *at.children[1];
  const auto curve = find_curve(named);
  if (curve == scope_.curves.end()) return no_curve(at, named);
  if (!scope_.has_flock) return refuse(named, fmt::format("'{}' goes by the age of a flock; a pack of the farm has none", named.word));
  if (!curve->second) return nullptr;
  if (const Type of{Type::Kind::number, curve->second->unit.dimension, curve->second->unit.point}; of != type_of(it)) return refuse(named, mismatch(named, of, type_of(it)));
  auto inner = make(window, Kind::window, type_of(it));
  inner->function = Expression::Function::mean;
  inner->measure = *measure;
  inner->span = window.span;
  auto node = make(at, Kind::share, Type{});
  node->function = at.word == "share_of" ? Expression::Function::mean : Expression::Function::spread;
  node->index = curve_index(curve->second);
  node->children = {inner};
  return node;
}

ExpressionPtr Checker::since(const Syntax& at) {
  return of_probes(at, Kind::since, kTimeType, "how long ago it was last read");
}

}  // namespace underwing
