// underwing schema: the files of a farm as JSON Schema, for completion and checks in editors. Made from the
// tables that the loader reads by, so that the two cannot drift apart.
#include <fmt/format.h>

#include <functional>
#include <map>
#include <nlohmann/json.hpp>
#include <set>
#include <stdexcept>

#include "daemon/tool/tool.hpp"
#include "rules/base/limits.hpp"
#include "rules/base/units.hpp"
#include "rules/files/built_in.hpp"
#include "rules/files/keys.hpp"
#include "rules/language/words.hpp"
#include "rules/languages/texts.hpp"

namespace underwing::tool {

namespace {

using nlohmann::ordered_json;

constexpr const char* kNumber = "[-+]?[0-9]+(\\.[0-9]*)?([eE][-+]?[0-9]+)?";
constexpr const char* kName = "^[a-z][a-z0-9_-]*$";
constexpr const char* kTimeOfDay = "([01]?[0-9]|2[0-3]):[0-5][0-9]|24:00";

/// Alternatives of a pattern from the units' own table; `wanted` chooses among them.
std::string atoms(const std::function<bool(const Unit&)>& wanted) {
  std::string all;
  for (const std::string& atom : unit_atoms()) {
    if (!wanted(*parse_unit(atom))) continue;
    all += (all.empty() ? "" : "|") + atom;
  }
  return all;
}

std::string any_unit() {
  static const std::string all = atoms([](const Unit&) { return true; });
  return fmt::format("({0})(/({0}))*", all);
}

std::string time_unit() {
  static const std::string all = atoms([](const Unit& unit) {
    Dimension time;
    time.exponent[Dimension::time] = 1;
    return unit.dimension == time;
  });
  return "(" + all + ")";
}

ordered_json pattern(const std::string& text) {
  return {{"type", "string"}, {"pattern", "^(" + text + ")$"}};
}

/// A name that expressions use: no hyphen, and none of the words that mean something there already.
ordered_json a_plain_name() {
  ordered_json taken = ordered_json::array();
  for (const std::string& atom : unit_atoms()) taken.push_back(atom);
  for (const std::string& function : function_names()) taken.push_back(function);
  for (const FactEntry& fact : kFacts) taken.push_back(fact.name);
  for (const Measure& measure : built_in_measures()) taken.push_back(measure.name);
  return {{"type", "string"}, {"pattern", "^[a-z][a-z0-9_]*$"}, {"not", {{"enum", std::move(taken)}}}};
}

ordered_json one_or_many(const ordered_json& item) {
  return {{"anyOf", {item, {{"type", "array"}, {"items", item}}}}};
}

ordered_json map_of(const ordered_json& names, const ordered_json& values) {
  return {{"type", "object"}, {"propertyNames", names}, {"additionalProperties", values}};
}

const ordered_json& a_name() {
  static const ordered_json schema{{"type", "string"}, {"pattern", kName}};
  return schema;
}

/// A text is whatever is written: a phone number without quotes is one, too.
const ordered_json& a_text() {
  static const ordered_json schema{{"type", {"string", "number", "boolean"}}, {"minLength", 1}};
  return schema;
}

/// Which times a key takes. The tables do not tell, so that the keys that differ are named here.
enum class Sign { any, not_negative, positive };
Sign sign_of(const Key& key) {
  static const std::set<std::string_view> kAges{"from", "until"};
  static const std::set<std::string_view> kPositive{"ahead", "respond_within", "blind_after", "then_every"};
  return kAges.contains(key.name)       ? Sign::any
         : kPositive.contains(key.name) ? Sign::positive
                                        : Sign::not_negative;
}

ordered_json a_time(Sign sign) {
  const char* head = sign == Sign::any ? "" : sign == Sign::positive ? "(?!-)(?=[^a-z]*[1-9])" : "(?!-)";
  return {{"type", "string"}, {"pattern", fmt::format("^{}{} *{}$", head, kNumber, time_unit())}};
}

/// A number with a unit that is wanted here, as in `42 g`.
ordered_json with_unit(const std::string& units) {
  return pattern(fmt::format("{} *({})", kNumber, units));
}

ordered_json a_mass() {
  return with_unit(atoms([](const Unit& unit) {
    Dimension mass;
    mass.exponent[Dimension::mass] = 1;
    return unit.dimension == mass;
  }));
}

ordered_json a_volume() {
  return with_unit(atoms([](const Unit& unit) {
    Dimension volume;
    volume.exponent[Dimension::volume] = 1;
    return unit.dimension == volume;
  }));
}

/// No temperature on a scale: half a degree of difference is 0.5 K. Where the measure has no unit, a plain
/// number.
ordered_json a_difference() {
  const std::string units = atoms([](const Unit& unit) { return !unit.point; });
  return {{"anyOf", {{{"type", "number"}}, pattern(fmt::format("{0} *(({1})(/({1}))*)?", kNumber, units))}}};
}

ordered_json a_rate() {
  return with_unit(fmt::format("({})?/{}", any_unit(), time_unit()));
}

/// Three to fifteen digits; spaces and hyphens as people write them.
ordered_json a_phone_number() {
  return {{"type", {"string", "number"}}, {"pattern", "^\\+?[ -]*([0-9][ -]*){3,15}$"}};
}

ordered_json a_program() {
  ordered_json bundled = ordered_json::array();
  for (const std::string& name : bundled_plugins()) bundled.push_back(name);
  return {{"anyOf", {{{"enum", std::move(bundled)}}, {{"type", "string"}, {"pattern", "/"}}}}};
}

/// An age, as in a curve.
ordered_json an_age() {
  return a_time(Sign::any);
}

/// Plain numbers are quantities without a unit; YAML hands those over as numbers.
ordered_json a_quantity() {
  return {{"anyOf", {{{"type", "number"}}, pattern(fmt::format("{} *({})?", kNumber, any_unit()))}}};
}

ordered_json an_expression() {
  return {{"anyOf",
           {{{"type", "number"}},
            {{"type", "string"}, {"minLength", 1}, {"maxLength", limits::kExpressionBytes}}}}};
}

ordered_json words_of(const Key& key) {
  ordered_json words = ordered_json::array();
  for (const std::string_view word : key.words) words.push_back(std::string(word));
  return {{"enum", std::move(words)}};
}

/// Collects the maps of a file as definitions, each table once.
class Writer {
 public:
  ordered_json write(const KeyTable& root, const char* title) {
    ordered_json schema{{"$schema", "https://json-schema.org/draft/2020-12/schema"}, {"title", title}};
    schema.update(table(root));
    if (!definitions_.empty()) schema["$defs"] = definitions_;
    return schema;
  }

 private:
  ordered_json table(const KeyTable& keys) {
    ordered_json properties = ordered_json::object();
    ordered_json required = ordered_json::array();
    for (const Key& key : keys.keys) {
      ordered_json value = value_of(keys, key);
      value["description"] = std::string(key.help);
      properties[std::string(key.name)] = std::move(value);
      if (key.required) required.push_back(std::string(key.name));
    }
    ordered_json schema{
        {"type", "object"}, {"properties", std::move(properties)}, {"additionalProperties", false}};
    if (!required.empty()) schema["required"] = std::move(required);
    if (&keys == &rule_keys()) schema.update(shape_of_rule());
    if (&keys == &person_keys())
      schema["anyOf"] = {needs(keys, {"text"}), needs(keys, {"call"}), needs(keys, {"mail"}),
                         needs(keys, {"web-hook"})};
    if (&keys == &limit_keys()) schema["oneOf"] = {needs(keys, {"low"}), needs(keys, {"high"})};
    return schema;
  }

  ordered_json reference(const KeyTable& keys) {
    std::string name(keys.what);
    for (char& c : name) {
      if (c == ' ') c = '-';
    }
    if (!definitions_.contains(name)) {
      definitions_[name] = nullptr;  // taken, should the table speak of itself
      definitions_[name] = table(keys);
    }
    return {{"$ref", "#/$defs/" + name}};
  }

  static ordered_json needs(const KeyTable& keys, std::initializer_list<const char*> names) {
    for (const char* name : names) {
      if (keys.find(name) == nullptr)
        throw std::logic_error(fmt::format("{} has no key '{}'", keys.what, name));
    }
    return {{"required", names}};
  }

  /// None of these keys.
  static ordered_json without(const KeyTable& keys, std::initializer_list<const char*> names) {
    ordered_json any = ordered_json::array();
    for (const char* name : names) any.push_back(needs(keys, {name}));
    return {{"not", {{"anyOf", std::move(any)}}}};
  }

  /// A rule has `when`, or `watch` with limits of one kind; and what calls somebody says what to do, and how
  /// soon.
  static ordered_json shape_of_rule() {
    const KeyTable& keys = rule_keys();
    ordered_json condition = needs(keys, {"when"});
    condition.update(without(keys, {"watch", "low", "high", "limits", "ahead", "deadband"}));
    ordered_json listed = needs(keys, {"watch", "limits"});
    listed.update(without(keys, {"when", "low", "high", "priority"}));
    ordered_json watching = needs(keys, {"watch", "priority"});
    watching["anyOf"] = {needs(keys, {"low"}), needs(keys, {"high"})};
    watching.update(without(keys, {"when", "limits"}));
    condition["required"].push_back("priority");
    const ordered_json calls{{"type", "object"},
                             {"required", {"priority"}},
                             {"properties", {{"priority", {{"enum", {"urgent", "soon"}}}}}}};
    const ordered_json one_calls{{"required", {"limits"}},
                                 {"properties", {{"limits", {{"type", "array"}, {"contains", calls}}}}}};
    return {{"oneOf", {condition, listed, watching}},
            {"if", {{"anyOf", {calls, one_calls}}}},
            {"then", needs(keys, {"do", "respond_within"})}};
  }

  /// What a flock may adjust: any key of a rule, a curve or a measure, or a value as a whole.
  ordered_json adjustment() {
    ordered_json properties = ordered_json::object();
    for (const KeyTable* keys : {&rule_keys(), &curve_keys(), &measure_keys()}) {
      for (const Key& key : keys->keys) {
        ordered_json value = value_of(*keys, key);
        value["description"] = std::string(key.help);
        properties[std::string(key.name)] = std::move(value);
      }
    }
    const ordered_json map{
        {"type", "object"}, {"properties", std::move(properties)}, {"additionalProperties", false}};
    return {{"anyOf", {map, an_expression()}}};
  }

  ordered_json value_of(const KeyTable& keys, const Key& key) {
    switch (key.kind) {
      case ValueKind::text:
        if (&keys == &person_keys() && (key.name == "text" || key.name == "call")) return a_phone_number();
        if (&keys == &plugin_keys() && key.name == "run") return a_program();
        return a_text();
      case ValueKind::name:
        return a_name();
      case ValueKind::names:
        return &keys == &call_step_keys() || &keys == &call_daily_keys() ? people() : one_or_many(a_name());
      case ValueKind::one_of:
        return words_of(key);
      case ValueKind::format:
        return {{"const", 1}};
      case ValueKind::boolean:
        return {{"type", "boolean"}};
      case ValueKind::whole:
        return {{"type", "integer"}};
      case ValueKind::number:
        if (&keys == &flock_keys() && key.name == "birds") return {{"type", "integer"}, {"minimum", 1}};
        return {{"type", "number"}};
      case ValueKind::numbers:
        return {{"type", "array"}, {"items", {{"type", "number"}}}, {"minItems", 2}, {"maxItems", 2}};
      case ValueKind::duration:
        return a_time(sign_of(key));
      case ValueKind::quantity:
        if (&keys == &flock_keys()) return a_mass();
        if (key.name == "volume") return a_volume();
        if (key.name == "outside") return with_unit(atoms([](const Unit& unit) { return unit.point; }));
        return key.name == "max_rate" ? a_rate() : a_difference();
      case ValueKind::unit:
        return pattern(fmt::format("({})?", any_unit()));
      case ValueKind::time_of_day:
        return pattern(kTimeOfDay);
      case ValueKind::hours:
        return pattern(fmt::format("({0}) *- *({0})", kTimeOfDay));
      case ValueKind::local_time:
        return pattern(
            fmt::format("[0-9]{{4}}-[0-9]{{2}}-[0-9]{{2}}( +|T)({})( +(first|second))?", kTimeOfDay));
      case ValueKind::dates: {
        const std::string date = "[0-9]{4}-[0-9]{2}-[0-9]{2}";
        return one_or_many(pattern(fmt::format("{0}( to {0})?", date)));
      }
      case ValueKind::days: {
        const std::string day = "(Mon|Tue|Wed|Thu|Fri|Sat|Sun)";
        return one_or_many(pattern(fmt::format("{0}( *- *{0})?( *, *{0}( *- *{0})?)*", day)));
      }
      case ValueKind::expression:
        return an_expression();
      case ValueKind::condition:
        return {{"type", "string"}, {"minLength", 1}, {"maxLength", limits::kExpressionBytes}};
      case ValueKind::ways:
        return one_or_many({{"enum", {"text", "call", "mail", "web-hook"}}});
      case ValueKind::texts:
        return one_or_many(a_text());
      case ValueKind::points: {
        ordered_json points = map_of(an_age(), a_quantity());
        points["minProperties"] = 1;
        points["maxProperties"] = limits::kCurvePoints;
        return {{"anyOf", {points, {{"type", "string"}, {"pattern", "\\.csv$"}}}}};
      }
      case ValueKind::light_plan:
        return map_of(an_age(), a_time(Sign::not_negative));
      case ValueKind::named_ages:
        return map_of(a_name(), an_age());
      case ValueKind::map:
        return reference(*key.inner);
      case ValueKind::maps:
        return {{"type", "array"}, {"items", reference(*key.inner)}};
      case ValueKind::named_maps:
        return map_of(&keys == &pack_keys() && key.name == "curves" ? a_plain_name() : a_name(),
                      reference(*key.inner));
      case ValueKind::anything:
        return free_value(keys, key);
    }
    throw std::logic_error("a kind of value that the schema does not know");
  }

  /// People by name; `on-duty` and `everyone` stand by themselves.
  static ordered_json people() {
    ordered_json person = a_name();
    person["not"] = {{"enum", {"on-duty", "everyone"}}};
    const ordered_json single{{"type", "array"}, {"items", a_name()}, {"minItems", 1}, {"maxItems", 1}};
    const ordered_json several{{"type", "array"}, {"items", person}, {"minItems", 1}};
    return {{"anyOf", {a_name(), single, several}}};
  }

  /// One text for each key, or its two forms; all are needed.
  static ordered_json texts_of_a_language() {
    ordered_json properties = ordered_json::object(), required = ordered_json::array();
    const ordered_json forms{{"type", "object"}, {"properties", {{"one", a_text()}, {"many", a_text()}}}, {"required", {"one", "many"}},
                             {"additionalProperties", false}};
    for (const TextRow& row : kTexts) {
      ordered_json text = row.many.empty() ? a_text() : forms;
      text["description"] = "In English: " + std::string(row.many.empty() ? row.one : row.many);
      properties[std::string(row.key)] = std::move(text);
      required.push_back(std::string(row.key));
    }
    return {{"type", "object"}, {"properties", std::move(properties)}, {"required", std::move(required)}, {"additionalProperties", false}};
  }

  /// Keys whose values have a shape that the tables do not tell; a new one has to be added here.
  ordered_json free_value(const KeyTable& keys, const Key& key) {
    const std::string_view name = key.name;
    if (&keys == &house_keys() && name == "probes") {
      ordered_json names = one_or_many(a_name());
      names["anyOf"][1]["uniqueItems"] = true;
      return map_of(a_name(), names);
    }
    if (&keys == &plugin_keys() && name == "settings") return {{"type", "object"}};
    if (&keys == &pack_keys() && name == "values") return map_of(a_plain_name(), an_expression());
    if (&keys == &pack_keys() && name == "words") return map_of(a_plain_name(), a_text());
    if (&keys == &flock_keys() && name == "adjust") {
      return map_of(a_name(), adjustment());
    }
    if (&keys == &call_out_keys()) {
      const ordered_json steps{{"type", "array"}, {"items", reference(call_step_keys())}, {"minItems", 1}};
      return {{"anyOf", {steps, reference(call_plan_keys()), reference(call_daily_keys())}}};
    }
    if (&keys == &language_keys() && name == "texts") return texts_of_a_language();
    if (&keys == &language_keys() && name == "measures") {
      ordered_json words = map_of(a_name(), a_text());
      for (const Measure& measure : built_in_measures()) words["required"].push_back(measure.name);
      return words;
    }
    if (&keys == &language_keys() && (name == "answers" || name == "rounds")) return map_of(a_name(), one_or_many(pattern("[A-Z][A-Z]+")));
    throw std::logic_error(
        fmt::format("the schema does not know what stands after '{}' of {}", name, keys.what));
  }

  ordered_json definitions_ = ordered_json::object();
};

struct Kind {
  const KeyTable& (*keys)();
  const char* title;
};
const std::map<std::string, Kind> kKinds{{"farm", {farm_keys, "Underwing: farm.yaml"}},
                                         {"flock", {flock_keys, "Underwing: a file in flocks/"}},
                                         {"pack", {pack_keys, "Underwing: a file in rules/"}},
                                         {"language", {language_keys, "Underwing: a file in languages/"}}};

}  // namespace

void add_schema(CLI::App& app, Common& common) {
  auto* command = app.add_subcommand(
      "schema", "Print the JSON Schema of a kind of file, for completion and checks in an editor");
  auto kind = std::make_shared<std::string>();
  command->add_option("kind", *kind, "farm (farm.yaml), flock (flocks/*.yaml), pack (rules/*.yaml) or language (languages/*.yaml)")
      ->required()
      ->check(CLI::IsMember({"farm", "flock", "pack", "language"}));
  command->callback([&common, kind] {
    const Kind& wanted = kKinds.at(*kind);
    const ordered_json schema = Writer().write(wanted.keys(), wanted.title);
    fmt::print("{}\n", common.json ? schema.dump() : schema.dump(2));
  });
}

}  // namespace underwing::tool
