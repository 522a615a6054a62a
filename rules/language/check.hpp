#pragma once

#include <functional>
#include <limits>
#include <map>
#include <memory>
#include <optional>
#include <string>
#include <vector>

#include "rules/language/ast.hpp"
#include "rules/language/syntax.hpp"
#include "rules/model.hpp"

namespace underwing {

struct TradeEntry;

/// A value of a pack: an expression with a name, written out wherever the name stands.
struct NamedValue {
  std::shared_ptr<const Syntax> syntax;        ///< null: its text could not be read, which has been said
  std::function<void(const Problem&)> report;  ///< problems inside the value's own text
  std::string words{};                         ///< how the pack speaks of it; may be empty
};

/// What the names of an expression mean in one place: a pack, of a flock or of the farm, in one house.
struct Scope {
  const std::vector<Measure>* measures = nullptr;  ///< sorted by name
  /// For each measure: how many probes the house has; nullopt where no house is known.
  std::function<std::optional<std::size_t>(std::size_t)> probes;
  std::map<std::string, std::shared_ptr<const Curve>> curves;  ///< null pointer: wrong, which has been said
  std::map<std::string, NamedValue> values;
  bool has_flock = true;  ///< packs of the farm have neither ages nor facts of a flock
  bool whole = true;      ///< false: other files may bring names that are not known here
};

/// Checks one rule's expressions and collects what they name.
class Checker {
 public:
  Checker(const Scope& scope, std::function<void(const Problem&)> report)
      : scope_(scope), report_(std::move(report)) {}

  /// The checked expression; null where something is wrong (reported) or cannot be judged in this scope.
  [[nodiscard]] ExpressionPtr check(const Syntax& syntax);

  /// Under `each: probe`: the measure whose bare name is the rule's own probe.
  void set_own_measure(std::size_t measure) { own_ = measure; }

  /// Where problems go from now on; a rule's expressions stand in different places.
  void set_report(std::function<void(const Problem&)> report) { report_ = std::move(report); }

  /// Curves in the order of their first use: WatchedRule::curves.
  [[nodiscard]] const std::vector<std::shared_ptr<const Curve>>& curves() const { return curves_; }

 private:
  using Reporter = std::function<void(const Problem&)>;
  using Children = std::vector<ExpressionPtr>;

  ExpressionPtr refuse(const Syntax& at, std::string text);
  ExpressionPtr refuse_at(std::size_t offset, std::size_t length, std::string text);
  std::shared_ptr<Expression> make(const Syntax& at, Expression::Kind kind, Type type);

  ExpressionPtr number(const Syntax& at);
  ExpressionPtr name(const Syntax& at);
  ExpressionPtr bare_measure(const Syntax& at, std::size_t measure);
  ExpressionPtr value(const Syntax& at, const NamedValue& value);
  ExpressionPtr fact(const Syntax& at);
  ExpressionPtr unknown_name(const Syntax& at, bool only_measures);
  ExpressionPtr call(const Syntax& at);
  ExpressionPtr over_time(const Syntax& at, bool combined);
  ExpressionPtr across(const Syntax& at);
  /// A call that takes nothing but a measure's name and asks its probes; `says` what.
  ExpressionPtr of_probes(const Syntax& at, Expression::Kind kind, const Type& type, const char* says);
  ExpressionPtr count(const Syntax& at);
  ExpressionPtr curve_call(const Syntax& at);
  [[nodiscard]] std::map<std::string, std::shared_ptr<const Curve>>::const_iterator find_curve(const Syntax& named) const;
  ExpressionPtr plain_call(const Syntax& at);
  ExpressionPtr trade_call(const Syntax& at, const TradeEntry& entry);
  ExpressionPtr first_known(const Syntax& at);
  ExpressionPtr no_curve(const Syntax& at, const Syntax& named);
  ExpressionPtr share(const Syntax& at);
  ExpressionPtr since(const Syntax& at);
  ExpressionPtr binary(const Syntax& at);
  ExpressionPtr logic(const Syntax& at, Expression::Kind kind);
  ExpressionPtr compare(const Syntax& at, Expression::Kind kind);
  ExpressionPtr sum(const Syntax& at, bool add);
  ExpressionPtr product(const Syntax& at, bool multiply);
  bool need_number(const Syntax& at, const ExpressionPtr& it);
  bool need_logic(const Syntax& at, const ExpressionPtr& it);
  bool right_count(const Syntax& at, std::size_t least, std::size_t most);
  std::size_t curve_index(const std::shared_ptr<const Curve>& curve);
  std::optional<std::size_t> find_measure(std::string_view name) const;

  const Scope& scope_;
  Reporter report_;
  std::optional<std::size_t> own_;
  std::vector<std::shared_ptr<const Curve>> curves_;
  std::vector<std::string> open_values_;  ///< values being written out, outermost first
  const Syntax* place_ = nullptr;         ///< inside a value: where its name stands in the rule
  std::size_t nodes_ = 0;
};

/// Measures that an expression depends on, each once, in the order of their index.
[[nodiscard]] std::vector<std::size_t> measures_of(const Expression& expression);
/// Whether that measure is one of them; of no expression (null): no.
[[nodiscard]] bool reads(const ExpressionPtr& expression, std::size_t measure);

/// The measures without which an expression can never be told: of `first_known` those of its last argument, since the
/// others may be missing.
[[nodiscard]] std::vector<std::size_t> measures_required(const Expression& expression);

/// The first measure that stands bare, or bare in a window that no function combines: under `each: probe`
/// the rule's own. nullopt: none.
[[nodiscard]] std::optional<std::string> first_bare_measure(const Syntax& syntax, const Scope& scope);

/// What to say where `it` has not the type that is needed; knows the common slip `air_target - 2 °C`.
[[nodiscard]] std::string mismatch(const Syntax& written, const Type& given, const Type& needed);

/// What a flock's file says of it and never changes; NaN: no flock is given.
struct FlockFacts {
  double birds_placed = std::numeric_limits<double>::quiet_NaN();
  double chick_weight_g = std::numeric_limits<double>::quiet_NaN();
  double goal_day_7_g = std::numeric_limits<double>::quiet_NaN();
  bool has_no_goal = false;  ///< the flock is given, and its file has no goal
};
[[nodiscard]] FlockFacts facts_of(const Flock* flock);

/// The value of an expression that depends on age alone (numbers, curves, facts of placement); NaN where it
/// depends on anything else. `age_h` in hours.
[[nodiscard]] double value_at_age(const Expression& expression,
                                  const std::vector<std::shared_ptr<const Curve>>& curves, double age_h, const FlockFacts& facts);

/// The value of a curve at an age in hours: straight lines between its points, level outside.
[[nodiscard]] double value_of(const Curve& curve, double age_h);

/// True where the curve only rises or only falls, so that each value has one age.
[[nodiscard]] bool has_inverse(const Curve& curve);

}  // namespace underwing
