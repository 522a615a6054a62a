#include "rules/language/check.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <cmath>

#include "rules/base/issue.hpp"
#include "rules/base/limits.hpp"
#include "rules/language/words.hpp"

namespace underwing {

using Kind = Expression::Kind;
using Function = Expression::Function;
using Fact = Expression::Fact;

ExpressionPtr Checker::check(const Syntax& syntax) {
  if (++nodes_ > limits::kExpressionNodes) {
    if (nodes_ == limits::kExpressionNodes + 1) {
      return refuse(syntax, fmt::format("this rule has more than {} parts once its values are written out",
                                        limits::kExpressionNodes));
    }
    return nullptr;
  }
  switch (syntax.kind) {
    case Syntax::Kind::number:
      return number(syntax);
    case Syntax::Kind::on:
    case Syntax::Kind::off: {
      auto node = make(syntax, Kind::state, kStateType);
      node->number = syntax.kind == Syntax::Kind::on ? 1 : 0;
      return node;
    }
    case Syntax::Kind::name:
      return name(syntax);
    case Syntax::Kind::call:
      return call(syntax);
    case Syntax::Kind::over:
      return refuse(syntax, fmt::format("say what is wanted of '{0}' over that time, as in mean({0} over …)",
                                        syntax.word));
    case Syntax::Kind::negate: {
      const ExpressionPtr inner = check(*syntax.children[0]);
      if (!inner || !need_number(*syntax.children[0], inner)) return nullptr;
      if (inner->type.point)
        return refuse(syntax, "a temperature on a scale cannot be turned round; only a difference in K can");
      auto node = make(syntax, Kind::negate, inner->type);
      node->children = {inner};
      return node;
    }
    case Syntax::Kind::logic_not:
      return logic(syntax, Kind::logic_not);
    case Syntax::Kind::binary:
      return binary(syntax);
  }
  return nullptr;
}

ExpressionPtr Checker::refuse(const Syntax& at, std::string text) {
  return refuse_at(at.offset, at.length, std::move(text));
}

ExpressionPtr Checker::refuse_at(std::size_t offset, std::size_t length, std::string text) {
  report_(Problem{offset, length, std::move(text)});
  return nullptr;
}

std::shared_ptr<Expression> Checker::make(const Syntax& at, Kind kind, Type type) {
  auto node = std::make_shared<Expression>();
  node->kind = kind;
  node->type = type;
  const Syntax& place = place_ != nullptr ? *place_ : at;
  node->offset = place.offset;
  node->length = place.length;
  return node;
}

ExpressionPtr Checker::number(const Syntax& at) {
  Type type;
  if (at.unit) {
    type.dimension = at.unit->dimension;
    type.point = at.unit->point;
  }
  auto node = make(at, Kind::number, type);
  node->number = at.unit ? at.unit->to_canonical(at.number) : at.number;
  return node;
}

std::optional<std::size_t> Checker::find_measure(std::string_view name) const {
  const auto& all = *scope_.measures;
  const auto found =
      std::lower_bound(all.begin(), all.end(), name,
                       [](const Measure& measure, std::string_view key) { return measure.name < key; });
  if (found == all.end() || found->name != name) return std::nullopt;
  return static_cast<std::size_t>(found - all.begin());
}

ExpressionPtr Checker::name(const Syntax& at) {
  if (const auto value_named = scope_.values.find(at.word); value_named != scope_.values.end()) {
    return value(at, value_named->second);
  }
  if (const auto curve = scope_.curves.find(at.word); curve != scope_.curves.end()) {
    if (!scope_.has_flock) {
      return refuse(at, fmt::format("'{}' goes by the age of a flock; a pack of the farm has none", at.word));
    }
    if (!curve->second) return nullptr;
    auto node = make(at, Kind::curve,
                     Type{Type::Kind::number, curve->second->unit.dimension, curve->second->unit.point});
    node->index = curve_index(curve->second);
    return node;
  }
  if (const auto measure = find_measure(at.word)) return bare_measure(at, *measure);
  if (find_fact(at.word)) return fact(at);
  if (is_function(at.word)) {
    return refuse(
        at, fmt::format("'{0}' is a function; it needs its arguments in brackets, as in {0}(…)", at.word));
  }
  if (is_unit_atom(at.word))
    return refuse(at, fmt::format("'{}' is a unit; it needs a number before it", at.word));
  return unknown_name(at, false);
}

ExpressionPtr Checker::unknown_name(const Syntax& at, bool only_measures) {
  std::vector<std::string> known;
  for (const Measure& measure : *scope_.measures) known.push_back(measure.name);
  if (!only_measures) {
    for (const auto& [curve, unused] : scope_.curves) known.push_back(curve);
    for (const auto& [value, unused] : scope_.values) known.push_back(value);
    for (const auto& entry : kFacts) known.emplace_back(entry.name);
  }
  const auto near = nearest(at.word, known);
  // A name that is near to none may come from a file that is not judged now.
  if (!near && !scope_.whole) return nullptr;
  std::string text =
      fmt::format("no {} named '{}'", only_measures ? "measure" : "measure, curve or value", at.word);
  if (near) text += fmt::format("; did you mean '{}'?", *near);
  return refuse(at, text);
}

ExpressionPtr Checker::bare_measure(const Syntax& at, std::size_t measure) {
  const Measure& it = (*scope_.measures)[measure];
  if (it.kind == MeasureKind::counter || it.kind == MeasureKind::tally) {
    return refuse(
        at, fmt::format("'{0}' only counts up; say over which time, as in total({0} over 24 h)", it.name));
  }
  if (it.kind == MeasureKind::sample) {
    return refuse(
        at,
        fmt::format("each reading of '{0}' stands for itself; say over which time, as in mean({0} over 24 h)",
                    it.name));
  }
  const auto probes = scope_.probes(measure);
  if (probes && *probes > 1 && own_ != measure) {
    return refuse(
        at, fmt::format("'{}' has {} probes here; say how to combine them: median, mean, lowest, highest",
                        it.name, *probes));
  }
  auto node = make(at, Kind::measure, type_of(it));
  node->measure = measure;
  return node;
}

ExpressionPtr Checker::value(const Syntax& at, const NamedValue& value) {
  if (!value.syntax) return nullptr;
  if (std::find(open_values_.begin(), open_values_.end(), at.word) != open_values_.end()) {
    std::string circle;
    for (const std::string& name : open_values_) circle += name + ", ";
    return refuse(at, fmt::format("the values {}{} go round in a circle", circle, at.word));
  }
  const Reporter outer_report = report_;
  const Syntax* outer_place = place_;
  report_ = value.report;
  if (place_ == nullptr) place_ = &at;
  open_values_.push_back(at.word);
  const ExpressionPtr inner = check(*value.syntax);
  open_values_.pop_back();
  place_ = outer_place;
  report_ = outer_report;
  if (!inner || value.words.empty()) return inner;
  auto spoken = std::make_shared<Expression>(*inner);
  spoken->words = value.words;
  return spoken;
}

ExpressionPtr Checker::fact(const Syntax& at) {
  const FactEntry& entry = *find_fact(at.word);
  if (!scope_.has_flock && entry.fact != Fact::hour_of_day) {
    return refuse(at, fmt::format("'{}' belongs to a flock; a pack of the farm has none", at.word));
  }
  auto node = make(at, Kind::fact, entry.type());
  node->fact = entry.fact;
  return node;
}

ExpressionPtr Checker::call(const Syntax& at) {
  if (!is_function(at.word)) {
    std::string text = fmt::format("no function named '{}'", at.word);
    if (auto near = nearest(at.word, function_names())) text += fmt::format("; did you mean '{}'?", *near);
    return refuse_at(at.offset, at.word.size(), text);
  }
  if (at.word == "count") return count(at);
  if (at.word == "at" || at.word == "age_at") return curve_call(at);
  if (at.word == "min" || at.word == "max" || at.word == "abs") return plain_call(at);
  if (at.word == "first_known") return first_known(at);
  if (at.word == "since") return since(at);
  if (at.word == "share_of" || at.word == "share_error") return share(at);
  if (const TradeEntry* entry = find_trade(at.word)) return trade_call(at, *entry);
  if (!right_count(at, 1, 1)) return nullptr;
  return at.children[0]->kind == Syntax::Kind::over ? over_time(at, false) : across(at);
}

bool Checker::right_count(const Syntax& at, std::size_t least, std::size_t most) {
  const std::size_t given = at.children.size();
  if (given >= least && given <= most) return true;
  const std::string wanted = least == most  ? fmt::format("{} argument{}", least, least == 1 ? "" : "s")
                             : most > 10000 ? fmt::format("at least {} arguments", least)
                                            : fmt::format("{} to {} arguments", least, most);
  refuse(at, fmt::format("'{}' takes {}, not {}", at.word, wanted, given));
  return false;
}

ExpressionPtr Checker::over_time(const Syntax& at, bool combined) {
  const Syntax& window = *at.children[0];
  const auto measure = find_measure(window.word);
  if (!measure) {
    if (scope_.values.contains(window.word) || scope_.curves.contains(window.word)) {
      return refuse(window,
                    fmt::format("only a measure can be looked at over a time; '{}' is none", window.word));
    }
    return unknown_name(window, true);
  }
  const Measure& it = (*scope_.measures)[*measure];
  const Function function = function_named(at.word);
  if (std::string wrong = unfit_for_window(it, function); !wrong.empty()) return refuse(at, wrong);
  if (function == Function::none) return refuse(at, fmt::format("'{}' does not look over a time", at.word));
  const auto probes = scope_.probes(*measure);
  if (!combined && function != Function::total && probes && *probes > 1 && own_ != *measure) {
    return refuse(
        at, fmt::format("'{}' has {} probes here, each with its own {}; say how to combine them: median, "
                        "mean, lowest, highest",
                        it.name, *probes, at.word));
  }
  auto node = make(at, Kind::window, type_over_time(it, function));
  node->function = function;
  node->measure = *measure;
  node->span = window.span;
  return node;
}

ExpressionPtr Checker::across(const Syntax& at) {
  const Syntax& argument = *at.children[0];
  const Function function = function_named(at.word);
  if (function == Function::change || function == Function::slope || function == Function::total) {
    return refuse(at, fmt::format("'{0}' looks over a time, as in {0}({1} over 1 h)", at.word,
                                  argument.kind == Syntax::Kind::name ? argument.word : "water"));
  }
  ExpressionPtr inner;
  if (argument.kind == Syntax::Kind::call && argument.children.size() == 1 &&
      argument.children[0]->kind == Syntax::Kind::over && is_function(argument.word)) {
    if (argument.word == "total") {
      return refuse(
          at, fmt::format("'total' adds its probes up by itself; '{}' has nothing to combine", at.word));
    }
    inner = over_time(argument, true);
    if (!inner) return nullptr;
  } else if (argument.kind == Syntax::Kind::name && find_measure(argument.word) &&
             !scope_.values.contains(argument.word) && !scope_.curves.contains(argument.word)) {
    const std::size_t measure = *find_measure(argument.word);
    const Measure& it = (*scope_.measures)[measure];
    if (it.kind == MeasureKind::counter || it.kind == MeasureKind::tally || it.kind == MeasureKind::sample) {
      return bare_measure(argument, measure);
    }
    auto node = make(argument, Kind::measure, type_of(it));
    node->measure = measure;
    inner = node;
  } else if (argument.kind == Syntax::Kind::name && !scope_.values.contains(argument.word) &&
             !scope_.curves.contains(argument.word) && !find_fact(argument.word) &&
             !is_function(argument.word)) {
    return unknown_name(argument, true);
  } else {
    const std::string instead = at.word == "lowest"    ? " (of plain numbers: min)"
                                : at.word == "highest" ? " (of plain numbers: max)"
                                                       : "";
    return refuse(argument, fmt::format("'{}' combines the probes of a measure, now or over a time{}",
                                        at.word, instead));
  }
  auto node = make(at, Kind::across, combined_type(inner->type, function));
  node->function = function;
  node->measure = inner->measure;
  node->children = {inner};
  return node;
}

ExpressionPtr Checker::of_probes(const Syntax& at, Kind kind, const Type& type, const char* says) {
  if (!right_count(at, 1, 1)) return nullptr;
  const Syntax& argument = *at.children[0];
  const auto measure = argument.kind == Syntax::Kind::name ? find_measure(argument.word) : std::nullopt;
  if (!measure) {
    if (argument.kind == Syntax::Kind::name && !scope_.values.contains(argument.word) &&
        !scope_.curves.contains(argument.word)) {
      return unknown_name(argument, true);
    }
    return refuse(argument, fmt::format("'{}' takes the name of a measure, and says {}", at.word, says));
  }
  auto inner = make(argument, Kind::measure, type_of((*scope_.measures)[*measure]));
  inner->measure = *measure;
  auto node = make(at, kind, type);
  node->measure = *measure;
  node->children = {inner};
  return node;
}

ExpressionPtr Checker::count(const Syntax& at) {
  return of_probes(at, Kind::count, Type{}, "how many of its probes are usable");
}

std::size_t Checker::curve_index(const std::shared_ptr<const Curve>& curve) {
  const auto found = std::find(curves_.begin(), curves_.end(), curve);
  if (found != curves_.end()) return static_cast<std::size_t>(found - curves_.begin());
  curves_.push_back(curve);
  return curves_.size() - 1;
}

/// A value that is nothing but the name of a curve stands for it, so that a flock can choose among curves.
std::map<std::string, std::shared_ptr<const Curve>>::const_iterator Checker::find_curve(const Syntax& named) const {
  const Syntax* at = &named;
  for (std::size_t hops = 0; at != nullptr && at->kind == Syntax::Kind::name && hops < limits::kExpressionDepth; ++hops) {
    const auto curve = scope_.curves.find(at->word);
    if (curve != scope_.curves.end()) return curve;
    const auto value = scope_.values.find(at->word);
    at = value == scope_.values.end() ? nullptr : value->second.syntax.get();
  }
  return scope_.curves.end();
}

ExpressionPtr Checker::no_curve(const Syntax& at, const Syntax& named) {
  std::vector<std::string> names;
  for (const auto& [name, unused] : scope_.curves) names.push_back(name);
  const bool is_name = named.kind == Syntax::Kind::name;
  const auto near = is_name ? nearest(named.word, names) : std::nullopt;
  if (is_name && !near && !scope_.whole) return nullptr;
  std::string text = is_name ? fmt::format("no curve named '{}'", named.word)
                             : fmt::format("'{}' takes the name of a curve {}", at.word, at.children.front().get() == &named ? "first" : "second");
  if (near) text += fmt::format("; did you mean '{}'?", *near);
  return refuse(named, text);
}

ExpressionPtr Checker::curve_call(const Syntax& at) {
  if (!right_count(at, 2, 2)) return nullptr;
  const Syntax& named = *at.children[0];
  const auto curve = find_curve(named);
  const ExpressionPtr argument = check(*at.children[1]);
  if (curve == scope_.curves.end()) return no_curve(at, named);
  if (!argument || !curve->second) return nullptr;
  const bool inverse = at.word == "age_at";
  const Type value_type{Type::Kind::number, curve->second->unit.dimension, curve->second->unit.point};
  const Type& needed = inverse ? value_type : kTimeType;
  if (argument->type != needed)
    return refuse(*at.children[1], mismatch(*at.children[1], argument->type, needed));
  if (inverse && !has_inverse(*curve->second)) {
    return refuse(named, fmt::format("'age_at' needs a curve that only rises or only falls; '{}' does not",
                                     named.word));
  }
  auto node = make(at, inverse ? Kind::curve_age_at : Kind::curve_at, inverse ? kTimeType : value_type);
  node->index = curve_index(curve->second);
  node->children = {argument};
  return node;
}

ExpressionPtr Checker::plain_call(const Syntax& at) {
  const bool is_abs = at.word == "abs";
  Children children;
  for (const auto& child : at.children) children.push_back(check(*child));
  if (!right_count(at, is_abs ? 1 : 2, is_abs ? 1 : limits::kExpressionNodes * 100)) return nullptr;
  for (std::size_t i = 0; i < children.size(); ++i) {
    if (!children[i] || !need_number(*at.children[i], children[i])) return nullptr;
    if (children[i]->type != children[0]->type) {
      return refuse(*at.children[i], mismatch(*at.children[i], children[i]->type, children[0]->type));
    }
  }
  if (is_abs && children[0]->type.point) {
    return refuse(at, "'abs' is for differences; a temperature on a scale has no size");
  }
  auto node = make(at,
                   is_abs             ? Kind::plain_abs
                   : at.word == "min" ? Kind::plain_min
                                      : Kind::plain_max,
                   children[0]->type);
  node->children = std::move(children);
  return node;
}

}  // namespace underwing
