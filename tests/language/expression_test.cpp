// Goal: the grammar, precedence, types and messages of the expression language.
// Method: tables of texts. What is sound is written out again with all its brackets and its type; what is not
// gives the exact place and sentence.

#include <fmt/format.h>
#include <gtest/gtest.h>

#include <algorithm>

#include "rules/files/built_in.hpp"
#include "rules/language/check.hpp"
#include "rules/language/words.hpp"

namespace underwing {
namespace {

using Kind = Expression::Kind;

/// A house with two air probes, one of everything else; a flock; one curve that falls, one that turns.
class Fixture {
 public:
  Fixture() : measures_(built_in_measures()) {
    scope_.measures = &measures_;
    scope_.probes = [this](std::size_t measure) {
      return std::optional<std::size_t>(measures_[measure].name == "air_temperature" ? 2 : 1);
    };
    add_curve("air_target", "°C", {{0, 33}, {7, 28}});
    add_curve("hump", "g", {{0, 42}, {3, 60}, {5, 50}});
    scope_.values["ratio"] = value("total(water over 24 h) / total(feed over 24 h)");
    scope_.values["chosen"] = value("chosen_first");
    scope_.values["chosen_first"] = value("air_target");
    scope_.values["warmth"] = value("lowest(air_temperature)");
  }

  Scope& scope() { return scope_; }

  /// The expression with all its brackets, and its type; or "offset+length: sentence".
  std::string judge(const std::string& text) {
    Parsed parsed = parse_expression(text);
    if (parsed.problem)
      return fmt::format("{}+{}: {}", parsed.problem->offset, parsed.problem->length, parsed.problem->text);
    std::string said;
    Checker checker(scope_, [&](const Problem& problem) {
      if (said.empty()) said = fmt::format("{}+{}: {}", problem.offset, problem.length, problem.text);
    });
    const ExpressionPtr checked = checker.check(*parsed.syntax);
    if (!said.empty()) return said;
    return checked ? written(*checked) + " : " + in_words(checked->type) : "nothing";
  }

 private:
  static NamedValue value(const std::string& text) {
    return {std::shared_ptr<const Syntax>(parse_expression(text).syntax), [](const Problem&) { FAIL(); }};
  }

  void add_curve(const std::string& name, const char* unit, const std::vector<std::pair<int, double>>& days) {
    auto curve = std::make_shared<Curve>();
    curve->name = name;
    curve->unit = *parse_unit(unit);
    for (const auto& [day, number] : days) curve->points.emplace_back(std::chrono::hours(24 * day), number);
    scope_.curves[name] = curve;
  }

  std::string children(const Expression& it, const char* sign) const {
    std::string out;
    for (const auto& child : it.children) out += (out.empty() ? "" : sign) + written(*child);
    return out;
  }

  std::string written(const Expression& it) const {
    static const char* kFunctions[] = {"none",   "median", "mean",  "lowest", "highest",
                                       "spread", "change", "slope", "total"};
    const char* function = kFunctions[static_cast<std::size_t>(it.function)];
    const auto infix = [&](const char* sign) { return "(" + children(it, sign) + ")"; };
    switch (it.kind) {
      case Kind::number:
        return fmt::format("{:g}", it.number);
      case Kind::state:
        return it.number > 0.5 ? "on" : "off";
      case Kind::measure:
        return measures_[it.measure].name;
      case Kind::across:
        return fmt::format("{}({})", function, children(it, ""));
      case Kind::count:
        return fmt::format("count({})", children(it, ""));
      case Kind::window:
        return fmt::format("{}({} over {})", function, measures_[it.measure].name, to_words(it.span));
      case Kind::curve:
        return fmt::format("curve {}", it.index);
      case Kind::curve_at:
        return fmt::format("at({}, {})", it.index, children(it, ""));
      case Kind::curve_age_at:
        return fmt::format("age_at({}, {})", it.index, children(it, ""));
      case Kind::fact:
        for (const FactEntry& fact : kFacts) {
          if (fact.fact == it.fact) return fact.name;
        }
        return "?";
      case Kind::negate:
        return "-" + children(it, "");
      case Kind::add:
        return infix(" + ");
      case Kind::subtract:
        return infix(" - ");
      case Kind::multiply:
        return infix(" * ");
      case Kind::divide:
        return infix(" / ");
      case Kind::less:
        return infix(" < ");
      case Kind::less_equal:
        return infix(" <= ");
      case Kind::greater:
        return infix(" > ");
      case Kind::greater_equal:
        return infix(" >= ");
      case Kind::is:
        return infix(" is ");
      case Kind::is_not:
        return infix(" is not ");
      case Kind::logic_and:
        return infix(" and ");
      case Kind::logic_or:
        return infix(" or ");
      case Kind::logic_not:
        return "not " + children(it, "");
      case Kind::plain_min:
        return "min(" + children(it, ", ") + ")";
      case Kind::plain_max:
        return "max(" + children(it, ", ") + ")";
      case Kind::plain_abs:
        return "abs(" + children(it, "") + ")";
      case Kind::trade:
        for (const TradeEntry& entry : kTradeFunctions) {
          if (entry.trade == it.trade) return fmt::format("{}({})", entry.name, children(it, ", "));
        }
        return "?";
      case Kind::first_known:
        return "first_known(" + children(it, ", ") + ")";
      case Kind::share:
        return fmt::format("{}({}, curve {})", it.function == Expression::Function::mean ? "share_of" : "share_error", children(it, ""), it.index);
      case Kind::since:
        return "since(" + children(it, "") + ")";
    }
    return "?";
  }

  std::vector<Measure> measures_;
  Scope scope_;
};

struct Row {
  const char* text;
  const char* expected;
};

TEST(Expressions, BindAndCarryTypes) {
  Fixture fixture;
  const Row rows[] = {
      {"1 + 2 * 3 - 4 / 2", "((1 + (2 * 3)) - (4 / 2)) : a plain number"},
      {"1 - 2 - 3", "((1 - 2) - 3) : a plain number"},
      {"8 / 4 / 2", "((8 / 4) / 2) : a plain number"},
      {"(1 + 2) * 3", "((1 + 2) * 3) : a plain number"},
      {"- (1 + 2)", "-(1 + 2) : a plain number"},
      {"2 * -3 K", "(2 * -3) : a difference in K"},
      {"air_target -2 K", "(curve 0 - 2) : a temperature in °C"},
      {"air_target - -2 K", "(curve 0 - -2) : a temperature in °C"},
      {"-2 °C", "-2 : a temperature in °C"},
      {"010 K", "10 : a difference in K"},
      {"1e3 g", "1000 : a quantity in g"},
      {"212 °F", "100 : a temperature in °C"},
      {"9 F°", "5 : a difference in K"},
      {"4 L/kg", "0.004 : a quantity in L/g"},
      {"10 min/2", "(0.166667 / 2) : a time"},
      {"min(10 min, 1 h)", "min(0.166667, 1) : a time"},
      {"2 K + air_target", "(2 + curve 0) : a temperature in °C"},
      {"median(air_temperature) - air_target", "(median(air_temperature) - curve 0) : a difference in K"},
      {"median(mean(air_temperature over 10 min))",
       "median(mean(air_temperature over 10 min)) : a temperature in °C"},
      {"spread(air_temperature)", "spread(air_temperature) : a difference in K"},
      {"highest(slope(air_temperature over 30 min))",
       "highest(slope(air_temperature over 30 min)) : a quantity in K/h"},
      {"change(relative_humidity over 1 h)", "change(relative_humidity over 1 h) : a quantity in %"},
      {"relative_humidity", "relative_humidity : a quantity in %"},
      {"ratio", "(total(water over 1 d) / total(feed over 1 d)) : a quantity in L/g"},
      {"warmth", "lowest(air_temperature) : a temperature in °C"},
      {"total(dead_birds over 24 h) / birds_placed",
       "(total(dead_birds over 1 d) / birds_placed) : a plain number"},
      {"mean(heater_running over 1 h)", "mean(heater_running over 1 h) : a plain number"},
      {"highest(mains) is on", "(highest(mains) is on) : a condition"},
      {"count(air_temperature) < 2", "(count(air_temperature) < 2) : a condition"},
      {"mains is not on", "(mains is not on) : a condition"},
      {"lights is off and hour_of_day < 6", "((lights is off) and (hour_of_day < 6)) : a condition"},
      {"not mains is on or generator is on and heat_asked is on",
       "(not (mains is on) or ((generator is on) and (heat_asked is on))) : a condition"},
      {"not not (1 < 2)", "not not (1 < 2) : a condition"},
      {"age > 3 d", "(age > 72) : a condition"},
      {"at(air_target, age + 1 h)", "at(0, (age + 1)) : a temperature in °C"},
      {"age_at(air_target, 30 °C)", "age_at(0, 30) : a time"},
      {"abs(median(air_temperature) - air_target) <= 1 K",
       "(abs((median(air_temperature) - curve 0)) <= 1) : a condition"},
      {"birds is birds_placed", "(birds is birds_placed) : a condition"},
      {"at(chosen, age - 2 h)", "at(0, (age - 2)) : a temperature in °C"},
      {"age_at(chosen, 30 °C)", "age_at(0, 30) : a time"},
      {"goal_day_7 - chick_weight", "(goal_day_7 - chick_weight) : a quantity in g"},
      {"max(1, 2, 3)", "max(1, 2, 3) : a plain number"},
      {"wet_bulb(median(air_temperature), relative_humidity)",
       "wet_bulb(median(air_temperature), relative_humidity) : a temperature in °C"},
      {"dew_point(86 °F, 60 %)", "dew_point(30, 60) : a temperature in °C"},
      {"felt_temperature(air_target, 45 %)", "felt_temperature(curve 0, 45, 1, 60) : a temperature in °C"},
      {"felt_temperature(air_target, 45 %, 18 F°)", "felt_temperature(curve 0, 45, 10, 60) : a temperature in °C"},
      {"share_of(bird_weight over 24 h, hump)", "share_of(mean(bird_weight over 1 d), curve 0) : a plain number"},
      {"share_error(bird_weight over 6 h, hump)", "share_error(mean(bird_weight over 6 h), curve 0) : a plain number"},
      {"mortality", "mortality : a quantity in %"},
      {"first_known(relative_humidity, 60 %)", "first_known(relative_humidity, 60) : a quantity in %"},
      {"since(air_temperature) > 1 h", "(since(air_temperature) > 1) : a condition"},
      {"mean(bird_weight over 24 h) / chick_weight",
       "(mean(bird_weight over 1 d) / chick_weight) : a plain number"},
  };
  for (const Row& row : rows) EXPECT_EQ(fixture.judge(row.text), row.expected) << row.text;
}

TEST(Expressions, ThatAreWrongSayWhy) {
  Fixture fixture;
  const Row rows[] = {
      {"", "0+1: an expression is missing here"},
      {"1 +", "2+1: something is missing after this"},
      {"(1 + 2", "0+1: this '(' is never closed"},
      {"1 + 2)", "5+1: this ')' closes nothing"},
      {"1 2", "2+1: a sign such as '+' or 'and' is missing before '2'"},
      {"1 < 2 < 3", "6+1: comparisons cannot be chained; join two of them with 'and'"},
      {"1.5.2", "3+1: a decimal is written with one point, as in 0.5"},
      {"0,5 K", "1+1: a decimal is written with one point, as in 0.5"},
      {"5 hours", "2+5: no unit named 'hours'; did you mean 'h'?"},
      {"5 °C/h", "2+5: '°C/h' is no unit: a quotient takes K, not a temperature on a scale"},
      {"3 & 4", "2+1: '&' is not part of the language"},
      {"3 – 4", "2+3: this is a dash; write '-'"},
      {"°C", "0+3: '°C' needs a number before it"},
      {"mean", "0+4: 'mean' is a function; it needs its arguments in brackets, as in mean(…)"},
      {"kg", "0+2: 'kg' is a unit; it needs a number before it"},
      {"meen(water over 1 h)", "0+4: no function named 'meen'; did you mean 'mean'?"},
      {"mean(watr over 1 h)", "5+13: no measure named 'watr'; did you mean 'water'?"},
      {"mean(air_target over 1 h)",
       "5+19: only a measure can be looked at over a time; 'air_target' is none"},
      {"mean(relative_humidity over 1)",
       "28+1: a time with its unit is needed after 'over', as in over 10 min"},
      {"mean(relative_humidity over 1 kg)",
       "28+4: a time with its unit is needed after 'over', as in over 10 min"},
      {"mean(relative_humidity over 8 d)", "28+3: a window is at most 7 d"},
      {"mean(relative_humidity + 1 % over 1 h)",
       "29+4: only a measure by itself can be looked at over a time"},
      {"median(relative_humidity over 1 h)",
       "0+34: 'median' combines probes; over a time use mean, lowest or highest"},
      {"slope(relative_humidity)",
       "0+24: 'slope' looks over a time, as in slope(relative_humidity over 1 h)"},
      {"mean(total(water over 1 h))",
       "0+27: 'total' adds its probes up by itself; 'mean' has nothing to combine"},
      {"mean(1 K)", "5+3: 'mean' combines the probes of a measure, now or over a time"},
      {"lowest(age)",
       "7+3: 'lowest' combines the probes of a measure, now or over a time (of plain numbers: min)"},
      {"count(3)", "6+1: 'count' takes the name of a measure, and says how many of its probes are usable"},
      {"air_target * 2",
       "0+10: a temperature on a scale cannot be multiplied or divided; only a difference in K can"},
      {"- air_target", "0+12: a temperature on a scale cannot be turned round; only a difference in K can"},
      {"air_target + air_target",
       "13+10: two temperatures cannot be added; one of them has to be a difference in K"},
      {"2 K - air_target", "6+10: a temperature cannot be taken from a difference"},
      {"air_target - 2", "13+1: this number needs a unit: 2 K"},
      {"median(air_temperature) < air_target - 2 °C",
       "26+18: a temperature less a temperature is a difference; to shift it write 2 K"},
      {"median(air_temperature) < 30", "26+2: this number needs a unit: 30 °C, or 30 °F"},
      {"30 < median(air_temperature)", "0+2: this number needs a unit: 30 °C, or 30 °F"},
      {"spread(air_temperature) > 3 °C", "26+5: a difference is needed here; write 3 K"},
      {"chick_weight < 3 L", "15+3: a quantity in g is needed here, and this is a quantity in L"},
      {"chick_weight + 3 L", "15+3: a quantity in L cannot be added to a quantity in g"},
      {"mains and age > 1 d",
       "0+5: this is on or off, not yet a condition; write 'mains is on' or 'mains is off'"},
      {"not 3", "4+1: a condition is needed here, and this is a plain number"},
      {"mains > 0.5", "0+5: a number is needed here, and this is on or off"},
      {"(1 < 2) is (2 < 3)", "0+7: 'is' compares numbers or states, and this is a condition"},
      {"mains is 1", "9+1: on or off cannot be compared with a plain number"},
      {"abs(air_target)", "0+15: 'abs' is for differences; a temperature on a scale has no size"},
      {"age_at(hump, 50 g)", "7+4: 'age_at' needs a curve that only rises or only falls; 'hump' does not"},
      {"mains is on AND water > 3 L", "12+3: 'AND' is written in small letters: and"},
      {"(mains is on Or mains is off)", "13+2: 'Or' is written in small letters: or"},
      {"median(air_temperature) < 30 \u02daC", "29+3: no unit named '\u02daC'; did you mean '°C'?"},
      {"wet_bulb(30, 60 %)", "9+2: this number needs a unit: 30 °C, or 30 °F"},
      {"wet_bulb(air_target, 60 ppm)",
       "21+6: a quantity in % is needed here, and this is a quantity in ppm"},
      {"dew_point(air_target)", "0+21: 'dew_point' takes 2 arguments, not 1"},
      {"felt_temperature(air_target)", "0+28: 'felt_temperature' takes 2 to 4 arguments, not 1"},
      {"felt_temperature(air_target, 60 %, 1 °C)", "35+5: a difference is needed here; write 1 K"},
      {"felt_temp(air_target, 60 %)", "0+9: no function named 'felt_temp'"},
      {"first_known(mains, lights)", "12+5: a number is needed here, and this is on or off"},
      {"first_known(age, 1 g)", "17+3: a time is needed here, and this is a quantity in g"},
      {"since(1 h)", "6+3: 'since' takes the name of a measure, and says how long ago it was last read"},
      {"at(hump)", "0+8: 'at' takes 2 arguments, not 1"},
      {"1 is is 2", "5+2: a number or a name is missing before 'is'"},
  };
  for (const Row& row : rows) EXPECT_EQ(fixture.judge(row.text), row.expected) << row.text;
}

TEST(Expressions, HaveLimits) {
  Fixture fixture;
  EXPECT_NE(fixture.judge(std::string(60, '(') + "1" + std::string(60, ')')).find("nested more than 48 deep"),
            std::string::npos);
  EXPECT_NE(fixture.judge(std::string(60, '-') + " 1").find("nested more than 48 deep"), std::string::npos);
  EXPECT_NE(fixture.judge(std::string(3000, '1')).find("longer than 2000 characters"), std::string::npos);
  std::string sum = "1";
  for (int i = 0; i < 300; ++i) sum += "+1";
  EXPECT_NE(fixture.judge(sum).find("more than 500 parts"), std::string::npos);
}

TEST(Expressions, UnderEachProbeMayLeaveAMeasureBare) {
  Fixture fixture;
  const auto own = [&](const char* text) {
    return first_bare_measure(*parse_expression(text).syntax, fixture.scope());
  };
  EXPECT_EQ(own("air_temperature - median(air_temperature)"), "air_temperature");
  EXPECT_EQ(own("median(air_temperature) - mean(air_temperature over 1 h)"), "air_temperature");
  EXPECT_EQ(own("slope(relative_humidity over 1 h)"), "relative_humidity");
  EXPECT_FALSE(own("median(mean(air_temperature over 1 h)) + count(water) * 1 K"));
  EXPECT_EQ(own("ratio"), "water");
}

TEST(Curves, RunStraightBetweenTheirPoints) {
  Fixture fixture;
  const Curve& target = *fixture.scope().curves.at("air_target");
  EXPECT_DOUBLE_EQ(value_of(target, -10), 33);
  EXPECT_DOUBLE_EQ(value_of(target, 84), 30.5);
  EXPECT_DOUBLE_EQ(value_of(target, 1000), 28);
  EXPECT_TRUE(has_inverse(target));
  EXPECT_FALSE(has_inverse(*fixture.scope().curves.at("hump")));
}

}  // namespace
}  // namespace underwing
