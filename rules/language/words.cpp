#include "rules/language/words.hpp"

#include <fmt/format.h>

#include <algorithm>

#include "rules/language/syntax.hpp"
#include "rules/trade/psychrometrics.hpp"

namespace underwing {

using Function = Expression::Function;

namespace {

Type per_hour(Type type) {
  --type.dimension.exponent[Dimension::time];
  return type;
}

}  // namespace

Type number_type(std::string_view unit_text) {
  const Unit unit = parse_unit(unit_text).value_or(Unit{});
  return {Type::Kind::number, unit.dimension, unit.point};
}

const Type kTimeType = number_type("h");

const std::vector<FactEntry> kFacts = {
    {"age", Expression::Fact::age, "h"},
    {"birds", Expression::Fact::birds, ""},
    {"birds_placed", Expression::Fact::birds_placed, ""},
    {"chick_weight", Expression::Fact::chick_weight, "g"},
    {"goal_day_7", Expression::Fact::goal_day_7, "g"},
    {"mortality", Expression::Fact::mortality, "%"},
    {"hour_of_day", Expression::Fact::hour_of_day, ""},
    {"lights", Expression::Fact::lights, "state"},
};

const std::vector<TradeEntry> kTradeFunctions = {
    {"wet_bulb", Expression::Trade::wet_bulb, {"°C", "%"}, {}, "°C"},
    {"dew_point", Expression::Trade::dew_point, {"°C", "%"}, {}, "°C"},
    {"felt_temperature",
     Expression::Trade::felt_temperature,
     {"°C", "%"},
     {{"K", psychrometrics::kFeltAtMostK}, {"%", 60}},
     "°C"},
};

const TradeEntry* find_trade(std::string_view word) {
  const auto found = std::find_if(kTradeFunctions.begin(), kTradeFunctions.end(),
                                  [word](const TradeEntry& it) { return word == it.name; });
  return found == kTradeFunctions.end() ? nullptr : &*found;
}

Type FactEntry::type() const {
  return std::string_view(unit) == "state" ? kStateType : number_type(unit);
}

const FactEntry* find_fact(std::string_view word) {
  const auto found =
      std::find_if(kFacts.begin(), kFacts.end(), [word](const FactEntry& it) { return word == it.name; });
  return found == kFacts.end() ? nullptr : &*found;
}

const std::vector<std::string>& function_names() {
  static const std::vector<std::string> names = {"median", "mean",  "lowest", "highest", "spread",
                                                 "change", "slope", "total",  "count",   "at",
                                                 "age_at", "min",   "max",    "abs",   "first_known",
                                                 "share_of", "share_error", "since",  "wet_bulb", "dew_point", "felt_temperature"};
  return names;
}

bool is_function(std::string_view word) {
  const auto& names = function_names();
  return std::find(names.begin(), names.end(), word) != names.end();
}

Function function_named(std::string_view word) {
  if (word == "median") return Function::median;
  if (word == "mean") return Function::mean;
  if (word == "lowest") return Function::lowest;
  if (word == "highest") return Function::highest;
  if (word == "spread") return Function::spread;
  if (word == "change") return Function::change;
  if (word == "slope") return Function::slope;
  if (word == "total") return Function::total;
  return Function::none;
}

bool is_reserved_word(std::string_view word) {
  for (const char* sign : {"and", "or", "not", "is", "on", "off", "over"}) {
    if (word == sign) return true;
  }
  return is_function(word) || find_fact(word) != nullptr;
}

Type type_of(const Measure& measure) {
  if (measure.kind == MeasureKind::state) return kStateType;
  return {Type::Kind::number, measure.unit.dimension, measure.unit.point};
}

Type combined_type(const Type& inner, Function function) {
  // The share of probes that are on is a number; the lowest, highest or middle one is itself on or off.
  if (inner.kind == Type::Kind::state) {
    return function == Function::mean || function == Function::spread ? Type{} : inner;
  }
  Type type = inner;
  if (function == Function::spread) type.point = false;
  return type;
}

Type type_over_time(const Measure& measure, Function function) {
  const Type type = type_of(measure);
  switch (function) {
    case Function::change:
    case Function::total:
    case Function::slope: {
      Type difference = type;
      difference.kind = Type::Kind::number;
      difference.point = false;
      return function == Function::slope ? per_hour(difference) : difference;
    }
    default:
      return combined_type(type, function);
  }
}

std::string unfit_for_window(const Measure& measure, Function function) {
  const MeasureKind kind = measure.kind;
  const bool adds_up = kind == MeasureKind::counter || kind == MeasureKind::tally;
  switch (function) {
    case Function::total:
      if (adds_up) return {};
      return fmt::format("'total' is for counters and tallies; '{}' is a {}", measure.name, to_string(kind));
    case Function::change:
      if (kind != MeasureKind::sample && kind != MeasureKind::tally) return {};
      return fmt::format("'change' needs a reading that holds; '{}' is a {}", measure.name, to_string(kind));
    case Function::median:
      return "'median' combines probes; over a time use mean, lowest or highest";
    case Function::none:
      return "only mean, lowest, highest, spread, change, slope and total look over a time";
    default:
      break;
  }
  if (adds_up) {
    return fmt::format("'{0}' is a {1} and only counts up; use total({0} over …)", measure.name,
                       to_string(kind));
  }
  if (kind == MeasureKind::sample && function == Function::slope) {
    return fmt::format("'slope' needs a reading that holds; '{}' is a sample", measure.name);
  }
  return {};
}

std::string unit_text_of(const Dimension& dimension, bool point) {
  if (point) return "°C";
  static constexpr const char* kNames[Dimension::count_] = {"K",  "h",  "g", "L", "m",
                                                            "Pa", "lx", "W", "%", "ppm"};
  std::string above;
  std::string below;
  for (std::size_t base = 0; base < Dimension::count_; ++base) {
    for (int i = 0; i < dimension.exponent[base]; ++i)
      above += (above.empty() ? "" : "·") + std::string(kNames[base]);
    for (int i = 0; i > dimension.exponent[base]; --i) below += "/" + std::string(kNames[base]);
  }
  if (above.empty() && !below.empty()) above = "1";
  return above + below;
}

std::string in_words(const Type& type) {
  if (type.kind == Type::Kind::state) return "on or off";
  if (type.kind == Type::Kind::logic) return "a condition";
  if (type.point) return "a temperature in °C";
  if (type.dimension.none()) return "a plain number";
  const std::string unit = unit_text_of(type.dimension, false);
  if (unit == "K") return "a difference in K";
  if (type == kTimeType) return "a time";
  return "a quantity in " + unit;
}

}  // namespace underwing
