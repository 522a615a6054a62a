#include "rules/explain/phrase.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <cmath>

#include "rules/explain/words.hpp"

namespace underwing {
namespace {

using Kind = Expression::Kind;
using Function = Expression::Function;

/// Units that a canonical number may be shown in where the rule's own unit does not fit; the first that has
/// the dimension is taken.
constexpr std::array<const char*, 22> kShown{"°C",   "K",   "h",    "g",    "L",     "m",   "Pa",    "lx",
                                             "W",    "%",   "ppm",  "L/kg", "K/h",   "%/h", "ppm/h", "L/h",
                                             "kg/h", "m/s", "Pa/h", "g/L",  "kg/m³", "g/m³"};

Unit unit_to_show(const Type& type, const Unit& own) {
  const Unit difference = own.of_difference();
  if (own.dimension == type.dimension && own.point == type.point) return own;
  if (difference.dimension == type.dimension && difference.point == type.point) return difference;
  for (const char* text : kShown) {
    const auto unit = parse_unit(text);
    if (unit && unit->dimension == type.dimension && unit->point == type.point) return *unit;
  }
  return Unit{};
}

bool is_time(const Type& type) {
  Dimension time;
  time.exponent[Dimension::time] = 1;
  return type.kind == Type::Kind::number && type.dimension == time;
}

/// What a state says when it is on and when it is off.
struct StateWords {
  const char* name;
  const char* on;
  const char* off;
};
constexpr std::array<StateWords, 6> kStates{
    {{"mains", "the mains is on", "the mains is off"},
     {"generator", "the generator is running", "the generator is not running"},
     {"heat_asked", "heat is asked for", "no heat is asked for"},
     {"heater_running", "the heater is running", "the heater is not running"},
     {"fan_running", "a fan is running", "no fan is running"},
     {"door_open", "a door is open", "no door is open"}}};

/// "the last 10 minutes", "the last hour".
std::string the_last(Duration span) {
  const std::string words = look_back(span);
  const bool single = words.starts_with("1 ") && words.find(' ', 2) == std::string::npos;
  return "the last " + (single ? words.substr(2) : words);
}

/// "over 10 minutes" for each probe, to stand after the probes.
std::string window_of_each(Function function, Duration span) {
  const std::string over = look_back(span);
  const std::string last = the_last(span);
  switch (function) {
    case Function::mean:
      return "each averaged over " + over;
    case Function::lowest:
      return "each at its lowest of " + last;
    case Function::highest:
      return "each at its highest of " + last;
    case Function::spread:
      return fmt::format("each by how far its highest and lowest of {} are apart", last);
    case Function::change:
      return "each by its change over " + last;
    case Function::slope:
      return fmt::format("each by its trend an hour over {}", last);
    case Function::total:
      return "each by its total of " + last;
    default:
      return "each over " + last;
  }
}

/// Whether it is called by the pack's own words.
bool has_name(const Expression& it, const Wording& wording) { return wording.named != nullptr && !it.words.empty(); }

std::string without_last_comma(std::string words) {
  if (words.ends_with(',')) words.pop_back();
  return words;
}

class Speaker {
 public:
  explicit Speaker(const Wording& wording) : wording_(wording) {}

  std::string number(const Expression& it) const {
    if (called_by_words(it)) return it.words;
    return written_out(it);
  }

  /// A number, or a condition, whatever words the pack has for it as a whole.
  std::string written_out(const Expression& it) const {
    switch (it.kind) {
      case Kind::number:
        return literal(it);
      case Kind::state:
        return it.number >= 0.5 ? "on" : "off";
      case Kind::measure:
        return measure(it);
      case Kind::window:
        return window(it);
      case Kind::across:
        return across(it);
      case Kind::count:
        return fmt::format("the number of {} probes that can be used", name_of(it.children[0]->measure));
      case Kind::curve:
        return name_of_curve(it);
      case Kind::curve_at:
        return fmt::format("{} {}", name_of_curve(it), at_age(*it.children[0]));
      case Kind::curve_age_at:
        return fmt::format("the age at which {} is {}", name_of_curve(it), number(*it.children[0]));
      case Kind::fact:
        return fact(it.fact);
      case Kind::negate:
        return "minus " + part(*it.children[0]);
      case Kind::add:
        return sum(it, "above", "plus");
      case Kind::subtract:
        return sum(it, "below", "less");
      case Kind::multiply:
        return product(it);
      case Kind::divide:
        return fmt::format("{} divided by {}", part(*it.children[0]), part(*it.children[1]));
      case Kind::plain_min:
        return fmt::format("the {} of {}", it.children.size() == 2 ? "smaller" : "smallest", list(it));
      case Kind::plain_max:
        return fmt::format("the {} of {}", it.children.size() == 2 ? "larger" : "largest", list(it));
      case Kind::plain_abs:
        return fmt::format("the size, whatever its sign, of {}", part(*it.children[0]));
      case Kind::trade:
        return trade(it);
      case Kind::first_known:
        return first_known(it);
      case Kind::share: {
        const Expression& window = *it.children[0];
        const std::string share = fmt::format("the share of {} that the birds weigh, by the {} readings of {}", name_of_curve(it), name_of(window.measure), the_last(window.span));
        return it.function == Function::mean ? share : "how far off (" + share + ") may be";
      }
      case Kind::since:
        return fmt::format("the time since {} was last read", name_of(it.children[0]->measure));
      default:
        return condition_written_out(it);
    }
  }

  std::string condition(const Expression& it) const {
    if (called_by_words(it)) return it.words;
    return condition_written_out(it);
  }

 private:
  std::string condition_written_out(const Expression& it) const {
    switch (it.kind) {
      case Kind::less:
        return compared(it, "is below");
      case Kind::less_equal:
        return compared(it, "is at most");
      case Kind::greater:
        return compared(it, "is above");
      case Kind::greater_equal:
        return compared(it, "is at least");
      case Kind::is:
        return equal(it, true);
      case Kind::is_not:
        return equal(it, false);
      case Kind::logic_and:
        return both(it, "and", Kind::logic_or);
      case Kind::logic_or:
        return both(it, "or", Kind::logic_and);
      case Kind::logic_not:
        return negated(*it.children[0]);
      default:
        return state(it, true);
    }
  }

  bool called_by_words(const Expression& it) const {
    if (!has_name(it, wording_)) return false;
    const auto same = [&](const Expression* other) { return other->words == it.words; };
    if (std::none_of(wording_.named->begin(), wording_.named->end(), same)) wording_.named->push_back(&it);
    return true;
  }

  std::string name_of(std::size_t measure) const { return spaced(wording_.rules.measures[measure].name); }
  const Curve& curve(const Expression& it) const { return *wording_.rule.curves[it.index]; }
  std::string name_of_curve(const Expression& it) const { return curve_in_words(curve(it)); }

  std::string literal(const Expression& it) const {
    if (is_time(it.type)) {
      const std::string words = in_long_words(Duration(std::llround(it.number * 3'600'000.0)));
      return it.number < 0 ? "minus " + words : words;
    }
    return with_its_unit(it.number, shown_in(unit_to_show(it.type, wording_.rule.unit), wording_.rules.farm.units));
  }

  /// "at the age of 3 days", "of 12 hours ago".
  std::string at_age(const Expression& it) const {
    if (it.kind == Kind::number) return "at " + age_in_words(Duration(std::llround(it.number * 3'600'000.0)));
    const auto is_age = [](const Expression& at) {
      return at.kind == Kind::fact && at.fact == Expression::Fact::age;
    };
    if (is_age(it)) return "now";
    const bool shifted = (it.kind == Kind::subtract || it.kind == Kind::add) && is_age(*it.children[0]) &&
                         it.children[1]->kind == Kind::number && it.children[1]->number >= 0;
    if (!shifted) return "at the age of " + number(it);
    const std::string span = number(*it.children[1]);
    return it.kind == Kind::subtract ? "of " + span + " ago" : "in " + span + " from now";
  }

  /// Set apart from the words around it, where it is not a name by itself.
  std::string in_brackets(const Expression& it) const { return has_name(it, wording_) ? number(it) : "(" + without_last_comma(number(it)) + ")"; }

  std::string trade(const Expression& it) const {
    const std::string of = fmt::format("{} and {}", in_brackets(*it.children[0]), in_brackets(*it.children[1]));
    switch (it.trade) {
      case Expression::Trade::wet_bulb:
        return "the wet-bulb temperature of " + of;
      case Expression::Trade::dew_point:
        return "the dew point of " + of;
      case Expression::Trade::felt_temperature:
        break;
    }
    return fmt::format("as warm as {} feels by {}, at most {} apart, in air of {}", in_brackets(*it.children[0]),
                       in_brackets(*it.children[1]), number(*it.children[2]), number(*it.children[3]));
  }

  std::string first_known(const Expression& it) const {
    std::string words = without_last_comma(number(*it.children[0]));
    for (std::size_t i = 1; i < it.children.size(); ++i)
      words += " (where that is not known, " + without_last_comma(number(*it.children[i])) + ")";
    return words;
  }

  static std::string fact(Expression::Fact fact) {
    switch (fact) {
      case Expression::Fact::age:
        return "the age of the flock";
      case Expression::Fact::birds:
        return "the number of birds alive";
      case Expression::Fact::mortality:
        return "the cumulative daily mortality";
      case Expression::Fact::birds_placed:
        return "the number of birds placed";
      case Expression::Fact::chick_weight:
        return "the weight at placement";
      case Expression::Fact::goal_day_7:
        return "the goal for day 7";
      case Expression::Fact::hour_of_day:
        return "the hour of the day";
      case Expression::Fact::lights:
        return "the lights";
    }
    return "";
  }

  bool own(std::size_t measure) const {
    return wording_.rule.probe && wording_.rules.probes[*wording_.rule.probe].measure == measure;
  }

  std::string measure(const Expression& it) const {
    return own(it.measure) ? fmt::format("the {} of a probe", name_of(it.measure))
                           : "the " + name_of(it.measure);
  }

  std::string window(const Expression& it) const {
    const std::string name = measure(it);
    const std::string last = the_last(it.span);
    switch (it.function) {
      case Function::mean:
        return fmt::format("{}, averaged over {},", name, look_back(it.span));
      case Function::lowest:
        return fmt::format("the lowest of {} in {}", name, last);
      case Function::highest:
        return fmt::format("the highest of {} in {}", name, last);
      case Function::spread:
        return fmt::format("how far the highest and lowest of {} in {} are apart", name, last);
      case Function::change:
        return fmt::format("the change of {} over {}", name, last);
      case Function::slope:
        return fmt::format("the trend of {} an hour over {}", name, last);
      case Function::total: {
        const std::size_t count = probe_count(wording_, it.measure);
        const bool several = !own(it.measure) && !wording_.any_house && count > 1;
        return fmt::format("the total {} of {}{}", name_of(it.measure), last,
                           several ? fmt::format(", {} probes added up,", count_in_words(count)) : "");
      }
      default:
        return name;
    }
  }

  /// "the three air temperature probes"; nothing where there is only one.
  std::string probes(std::size_t measure) const {
    if (wording_.any_house) return fmt::format("the {} probes", name_of(measure));
    return fmt::format("the {} {} probes", count_in_words(probe_count(wording_, measure)), name_of(measure));
  }

  std::string across(const Expression& it) const {
    const Expression& source = *it.children[0];
    const std::size_t count = probe_count(wording_, source.measure);
    const bool single = !wording_.any_house && count == 1;
    if (single && it.function != Function::spread) {
      return source.kind == Kind::window ? window(source) : "the " + name_of(source.measure);
    }
    const std::string of = probes(source.measure);
    const std::string each =
        source.kind == Kind::window ? ", " + window_of_each(source.function, source.span) + "," : "";
    switch (it.function) {
      case Function::median:
        if (!wording_.any_house && count == 2) return "the mean of " + of + each;
        return fmt::format("the middle {}of {}{}", wording_.any_house || count % 2 == 1 ? "one " : "", of,
                           each);
      case Function::mean:
        return "the mean of " + of + each;
      case Function::lowest:
        return "the lowest of " + of + each;
      case Function::highest:
        return "the highest of " + of + each;
      case Function::spread:
        return fmt::format("how far the highest and the lowest of {}{} are apart", of, each);
      default:
        return of + each;
    }
  }

  /// Something that stands inside a larger phrase.
  std::string part(const Expression& it) const {
    const bool open = it.kind == Kind::add || it.kind == Kind::subtract || it.kind == Kind::multiply ||
                      it.kind == Kind::divide || it.kind == Kind::plain_min || it.kind == Kind::plain_max;
    return open ? in_brackets(it) : number(it);
  }

  std::string sum(const Expression& it, const char* shifted, const char* plain) const {
    const Expression& left = *it.children[0];
    const Expression& right = *it.children[1];
    if (right.kind == Kind::number && left.kind != Kind::number && right.number >= 0) {
      return fmt::format("{} {} {}", number(right), shifted, part(left));
    }
    return fmt::format("{} {} {}", part(left), plain, part(right));
  }

  std::string product(const Expression& it) const {
    const Expression& left = *it.children[0];
    const Expression& right = *it.children[1];
    if (left.kind != Kind::number && right.kind == Kind::number) {
      return fmt::format("{} times {}", number(right), part(left));
    }
    return fmt::format("{} times {}", part(left), part(right));
  }

  std::string list(const Expression& it) const {
    std::vector<std::string> parts;
    // A list within a list has brackets of its own, so that its "and" is not taken for that of the outer one.
    const auto is_list = [](const Expression& child) { return child.kind == Kind::plain_min || child.kind == Kind::plain_max; };
    for (const ExpressionPtr& child : it.children) parts.push_back(is_list(*child) ? in_brackets(*child) : number(*child));
    return join_words(parts);
  }

  std::string compared(const Expression& it, const char* how) const {
    return fmt::format("{} {} {}", number(*it.children[0]), how, number(*it.children[1]));
  }

  std::string equal(const Expression& it, bool same) const {
    const Expression& left = *it.children[0];
    const Expression& right = *it.children[1];
    if (left.type.kind != Type::Kind::number) {
      if (right.kind == Kind::state) return state(left, (right.number >= 0.5) == same);
      if (left.kind == Kind::state) return state(right, (left.number >= 0.5) == same);
    }
    return fmt::format("{} is {}{}", number(left), same ? "exactly " : "not exactly ", number(right));
  }

  std::string state(const Expression& it, bool on) const {
    if (it.kind == Kind::fact) return on ? "the lights are on" : "the lights are off";
    if (it.kind == Kind::measure) {
      for (const StateWords& words : kStates) {
        if (wording_.rules.measures[it.measure].name == words.name) return on ? words.on : words.off;
      }
      return fmt::format("{} is {}", measure(it), on ? "on" : "off");
    }
    if (it.kind == Kind::across && it.children[0]->kind == Kind::measure) {
      if (!wording_.any_house && probe_count(wording_, it.children[0]->measure) == 1)
        return state(*it.children[0], on);
      const bool any = (it.function == Function::highest) == on;
      if (it.function == Function::highest || it.function == Function::lowest) {
        return fmt::format("{} of {} is {}", any ? "at least one" : "every one",
                           probes(it.children[0]->measure), on ? "on" : "off");
      }
    }
    return fmt::format("{} is {}", number(it), on ? "on" : "off");
  }

  std::string both(const Expression& it, const char* joint, Kind bracketed) const {
    const auto side = [&](const Expression& child) {
      return child.kind == bracketed && !has_name(child, wording_) ? "(" + condition(child) + ")" : condition(child);
    };
    return fmt::format("{} {} {}", side(*it.children[0]), joint, side(*it.children[1]));
  }

  std::string negated(const Expression& it) const {
    if (it.kind == Kind::is) return equal(it, false);
    if (it.kind == Kind::is_not) return equal(it, true);
    if (it.type.kind == Type::Kind::state) return state(it, false);
    return fmt::format("it is not so that {}", condition(it));
  }

  const Wording& wording_;
};

}  // namespace

std::string curve_in_words(const Curve& curve) { return curve.words.empty() ? "the " + spaced(curve.name) : curve.words; }

std::size_t probe_count(const Wording& wording, std::size_t measure) {
  const auto& probes = wording.rules.houses[wording.rule.house].probes;
  const auto found = probes.find(measure);
  return found == probes.end() ? 0 : found->second.size();
}

std::string number_in_words(const Expression& expression, const Wording& wording) {
  return without_last_comma(subject_in_words(expression, wording));
}

std::string subject_in_words(const Expression& expression, const Wording& wording) {
  return Speaker(wording).number(expression);
}

std::string meaning_in_words(const Expression& expression, const Wording& wording) {
  return without_last_comma(Speaker(wording).written_out(expression));
}

std::string condition_in_words(const Expression& expression, const Wording& wording) {
  return Speaker(wording).condition(expression);
}

std::string breach_in_words(const Limit& limit, const Wording& wording) {
  const Expression& it = *limit.expression;
  const bool low = limit.side == Limit::Side::low;
  const Kind shifts = low ? Kind::subtract : Kind::add;
  const bool shifted = !has_name(it, wording) && it.kind == shifts && it.children[1]->kind == Kind::number &&
                       it.children[0]->kind != Kind::number && it.children[1]->number >= 0;
  return fmt::format("{}{}{}", shifted ? "more than " : "",
                     shifted ? ""
                     : low   ? "below "
                             : "above ",
                     number_in_words(it, wording));
}

}  // namespace underwing
