#include <algorithm>
#include <cmath>
#include <limits>
#include <set>

#include "rules/language/check.hpp"
#include "rules/language/words.hpp"

namespace underwing {
namespace {

using Kind = Expression::Kind;

enum class Need { any, required };

void collect(const Expression& it, Need need, std::set<std::size_t>& found) {
  if (it.kind == Kind::measure || it.kind == Kind::window) found.insert(it.measure);
  if (need == Need::required && it.kind == Kind::first_known) return collect(*it.children.back(), need, found);
  for (const ExpressionPtr& child : it.children) collect(*child, need, found);
}

bool is_measure(const Scope& scope, const std::string& name) {
  return std::any_of(scope.measures->begin(), scope.measures->end(),
                     [&](const Measure& it) { return it.name == name; });
}

std::optional<std::string> bare_in(const Syntax& at, const Scope& scope, std::vector<std::string>& open) {
  if (at.kind == Syntax::Kind::name) {
    const auto value = scope.values.find(at.word);
    if (value != scope.values.end()) {
      if (!value->second.syntax || std::find(open.begin(), open.end(), at.word) != open.end())
        return std::nullopt;
      open.push_back(at.word);
      auto found = bare_in(*value->second.syntax, scope, open);
      open.pop_back();
      return found;
    }
    if (scope.curves.contains(at.word)) return std::nullopt;
    return is_measure(scope, at.word) ? std::optional(at.word) : std::nullopt;
  }
  if (at.kind == Syntax::Kind::call && at.children.size() == 1) {
    const Syntax& argument = *at.children[0];
    if (argument.kind == Syntax::Kind::over) {
      return is_measure(scope, argument.word) ? std::optional(argument.word) : std::nullopt;
    }
    // A function across probes takes all of them; it leaves nothing bare.
    if (at.word == "count" || at.word == "since" || function_named(at.word) != Expression::Function::none) return std::nullopt;
  }
  for (const auto& child : at.children) {
    if (auto found = bare_in(*child, scope, open)) return found;
  }
  return std::nullopt;
}

double interpolate(double x, double x0, double y0, double x1, double y1) {
  return y0 + (y1 - y0) * (x - x0) / (x1 - x0);
}

double age_of(const Curve& curve, double value) {
  const auto& points = curve.points;
  const bool rises = points.back().second > points.front().second;
  const auto reached = [&](double at) { return rises ? at >= value : at <= value; };
  if (reached(points.front().second)) return hours_of(points.front().first);
  for (std::size_t i = 1; i < points.size(); ++i) {
    if (reached(points[i].second)) {
      return interpolate(value, points[i - 1].second, hours_of(points[i - 1].first), points[i].second,
                         hours_of(points[i].first));
    }
  }
  return hours_of(points.back().first);
}

}  // namespace

std::vector<std::size_t> measures_of(const Expression& expression) {
  std::set<std::size_t> found;
  collect(expression, Need::any, found);
  return {found.begin(), found.end()};
}

bool reads(const ExpressionPtr& expression, std::size_t measure) {
  if (!expression) return false;
  const auto all = measures_of(*expression);
  return std::binary_search(all.begin(), all.end(), measure);
}

std::vector<std::size_t> measures_required(const Expression& expression) {
  std::set<std::size_t> found;
  collect(expression, Need::required, found);
  return {found.begin(), found.end()};
}

std::optional<std::string> first_bare_measure(const Syntax& syntax, const Scope& scope) {
  std::vector<std::string> open;
  return bare_in(syntax, scope, open);
}

double value_of(const Curve& curve, double age_h) {
  const auto& points = curve.points;
  if (age_h <= hours_of(points.front().first)) return points.front().second;
  for (std::size_t i = 1; i < points.size(); ++i) {
    const double end = hours_of(points[i].first);
    if (age_h <= end) {
      return interpolate(age_h, hours_of(points[i - 1].first), points[i - 1].second, end, points[i].second);
    }
  }
  return points.back().second;
}

bool has_inverse(const Curve& curve) {
  const auto& points = curve.points;
  if (points.size() < 2) return false;
  const bool rises = points[1].second > points[0].second;
  for (std::size_t i = 1; i < points.size(); ++i) {
    const double step = points[i].second - points[i - 1].second;
    if (rises ? step <= 0 : step >= 0) return false;
  }
  return true;
}

FlockFacts facts_of(const Flock* flock) {
  if (flock == nullptr) return {};
  FlockFacts facts{flock->birds, flock->chick_weight_g};
  facts.has_no_goal = !flock->goal_day_7_g;
  if (flock->goal_day_7_g) facts.goal_day_7_g = *flock->goal_day_7_g;
  return facts;
}

namespace {

/// Unknown for good, since the flock has no goal.
bool asks_for_no_goal(const Expression& it, const FlockFacts& facts) {
  if (!facts.has_no_goal || it.kind == Kind::first_known) return false;
  return (it.kind == Kind::fact && it.fact == Expression::Fact::goal_day_7) ||
         std::any_of(it.children.begin(), it.children.end(), [&](const ExpressionPtr& child) { return asks_for_no_goal(*child, facts); });
}

}  // namespace

double value_at_age(const Expression& it, const std::vector<std::shared_ptr<const Curve>>& curves, double age_h, const FlockFacts& facts) {
  constexpr double kUnknown = std::numeric_limits<double>::quiet_NaN();
  const auto child = [&](std::size_t i) { return value_at_age(*it.children[i], curves, age_h, facts); };
  switch (it.kind) {
    case Kind::number:
      return it.number;
    case Kind::curve:
      return value_of(*curves[it.index], age_h);
    case Kind::curve_at: {
      const double at_h = child(0);
      return std::isnan(at_h) ? kUnknown : value_of(*curves[it.index], at_h);
    }
    case Kind::curve_age_at: {
      const double value = child(0);
      return std::isnan(value) ? kUnknown : age_of(*curves[it.index], value);
    }
    case Kind::fact:
      if (it.fact == Expression::Fact::age) return age_h;
      if (it.fact == Expression::Fact::birds_placed) return facts.birds_placed;
      if (it.fact == Expression::Fact::chick_weight) return facts.chick_weight_g;
      if (it.fact == Expression::Fact::goal_day_7) return facts.goal_day_7_g;
      return kUnknown;
    // What comes first and can come to be known with a reading leaves all open.
    case Kind::first_known: {
      std::size_t i = 0;
      while (i + 1 < it.children.size() && asks_for_no_goal(*it.children[i], facts)) ++i;
      return child(i);
    }
    case Kind::negate:
      return -child(0);
    case Kind::add:
      return child(0) + child(1);
    case Kind::subtract:
      return child(0) - child(1);
    case Kind::multiply:
      return child(0) * child(1);
    case Kind::divide:
      return child(0) / child(1);
    case Kind::plain_abs:
      return std::fabs(child(0));
    case Kind::plain_min:
    case Kind::plain_max: {
      double best = child(0);
      for (std::size_t i = 1; i < it.children.size(); ++i) {
        const double next = child(i);
        if (std::isnan(best) || std::isnan(next)) return kUnknown;
        best = it.kind == Kind::plain_min ? std::min(best, next) : std::max(best, next);
      }
      return best;
    }
    default:
      return kUnknown;
  }
}

}  // namespace underwing
