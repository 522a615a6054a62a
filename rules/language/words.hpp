#pragma once

#include <string>
#include <string_view>
#include <utility>
#include <vector>

#include "rules/language/ast.hpp"
#include "rules/model.hpp"

/// The words of the expression language and the types that they give. Shared by the checker's files.
namespace underwing {

inline constexpr Type kStateType{Type::Kind::state, {}, false};
inline constexpr Type kLogicType{Type::Kind::logic, {}, false};
extern const Type kTimeType;
/// The type of numbers in that unit.
[[nodiscard]] Type number_type(std::string_view unit_text);

struct FactEntry {
  const char* name;
  Expression::Fact fact;
  const char* unit;  ///< canonical; "state" for one
  [[nodiscard]] Type type() const;
};
extern const std::vector<FactEntry> kFacts;

/// A function of the trade: what it takes and gives, as units; see rules/trade/.
struct TradeEntry {
  const char* name;
  Expression::Trade trade;
  std::vector<const char*> arguments;   ///< units that are always given
  std::vector<std::pair<const char*, double>> optional;  ///< units and canonical values of those left out
  const char* result;
};
extern const std::vector<TradeEntry> kTradeFunctions;
[[nodiscard]] const TradeEntry* find_trade(std::string_view word);

[[nodiscard]] const FactEntry* find_fact(std::string_view word);
[[nodiscard]] bool is_function(std::string_view word);
[[nodiscard]] const std::vector<std::string>& function_names();
/// `none` for functions that neither combine probes nor look over a time.
[[nodiscard]] Expression::Function function_named(std::string_view word);

/// What a reading of the measure is.
[[nodiscard]] Type type_of(const Measure& measure);
/// What a function over time makes of the measure.
[[nodiscard]] Type type_over_time(const Measure& measure, Expression::Function function);
/// What a function across probes makes of its numbers.
[[nodiscard]] Type combined_type(const Type& inner, Expression::Function function);
/// Why the function cannot look at this kind of measure over a time; empty: it can.
[[nodiscard]] std::string unfit_for_window(const Measure& measure, Expression::Function function);

/// "a temperature in °C", "a difference in K", "a plain number", "on or off", "a condition" …
[[nodiscard]] std::string in_words(const Type& type);

}  // namespace underwing
