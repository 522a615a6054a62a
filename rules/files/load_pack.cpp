#include <fmt/format.h>

#include <cmath>

#include "rules/base/limits.hpp"
#include "rules/files/built_in.hpp"
#include "rules/files/drafts.hpp"
#include "rules/files/table.hpp"

namespace underwing {
namespace {

/// A name that expressions may use: not a word of the language, and not a unit.
std::optional<std::string> read_free_name(const YamlNode& key, IssueLog& log) {
  const auto name = read_name(key, log, NameKind::plain);
  if (!name) return std::nullopt;
  if (is_reserved_word(*name)) {
    report(log, key, fmt::format("'{}' is a word of the rule language and cannot be a name", *name));
    return std::nullopt;
  }
  if (is_unit_atom(*name)) {
    report(log, key, fmt::format("'{}' is a unit and cannot be a name", *name));
    return std::nullopt;
  }
  return name;
}

bool is_built_in(const std::string& name) {
  static const std::vector<Measure> all = built_in_measures();
  for (const Measure& measure : all) {
    if (measure.name == name) return true;
  }
  return false;
}

std::optional<double> read_point(const YamlNode& node, const Unit& unit, IssueLog& log) {
  const auto quantity = read_quantity(node, log);
  if (!quantity) return std::nullopt;
  if (quantity->unit.text.empty()) return unit.to_canonical(quantity->value);
  if (quantity->unit.dimension != unit.dimension || quantity->unit.point != unit.point) {
    report(log, node,
           fmt::format("this curve is in {}, not in {}", unit.text.empty() ? "plain numbers" : unit.text,
                       quantity->unit.text));
    return std::nullopt;
  }
  return quantity->canonical();
}

bool read_points(Curve& curve, const YamlNode& node, IssueLog& log) {
  // A table is put in place where the farm is loaded; of a pack by itself it is not judged.
  if (node.kind == YamlNode::Kind::wrong || names_table(node)) return false;
  if (!node.is_map() || node.entries.empty() || node.entries.size() > limits::kCurvePoints) {
    report(log, node,
           fmt::format("a map of 1 to {} ages to values is needed here, as in {{0 d: 33, 7 d: 28}}",
                       limits::kCurvePoints));
    return false;
  }
  bool fine = true;
  for (const YamlNode::Entry& entry : node.entries) {
    const auto age = read_duration(entry.key, Sign::any, log);
    const auto value = read_point(entry.value, curve.unit, log);
    if (!age || !value) {
      fine = false;
      continue;
    }
    if (!curve.points.empty() && *age <= curve.points.back().first) {
      report(log, entry.key,
             fmt::format("ages have to rise; {} comes after {}", to_words(*age),
                         to_words(curve.points.back().first)));
      fine = false;
      continue;
    }
    curve.points.emplace_back(*age, *value);
  }
  return fine;
}

std::shared_ptr<const Curve> read_curve(const std::string& name, const YamlNode& node, IssueLog& log) {
  const auto fields = read_fields(node, curve_keys(), log);
  if (!fields) return nullptr;
  auto curve = std::make_shared<Curve>();
  curve->name = name;
  if (const YamlNode* source = fields->value("source")) curve->source = read_text(*source, log).value_or("");
  const YamlNode* unit_node = fields->value("unit");
  const YamlNode* points = fields->value("points");
  if (unit_node == nullptr || points == nullptr) return nullptr;
  const auto unit = read_unit(*unit_node, log);
  if (!unit) return nullptr;
  curve->unit = *unit;
  return read_points(*curve, *points, log) ? curve : nullptr;
}

void read_measure_drafts(PackDraft& pack, const YamlNode& node, IssueLog& log) {
  const YamlNode* map = read_map(node, "measures", log);
  if (map == nullptr) return;
  for (const YamlNode::Entry& entry : map->entries) {
    const auto name = read_free_name(entry.key, log);
    const auto fields = read_fields(entry.value, measure_keys(), log);
    if (name && fields) pack.measures.push_back({*name, &entry.key, *fields});
  }
}

void read_curves(PackDraft& pack, const YamlNode& node, IssueLog& log) {
  const YamlNode* map = read_map(node, "curves", log);
  if (map == nullptr) return;
  for (const YamlNode::Entry& entry : map->entries) {
    const auto name = read_free_name(entry.key, log);
    if (!name) continue;
    if (is_built_in(*name))
      report(log, entry.key, fmt::format("'{}' is a measure; a curve needs another name", *name));
    pack.curves[*name] = {&entry.key, read_curve(*name, entry.value, log)};
  }
}

void read_values(PackDraft& pack, const YamlNode& node, IssueLog& log) {
  const YamlNode* map = read_map(node, "values", log);
  if (map == nullptr) return;
  for (const YamlNode::Entry& entry : map->entries) {
    const auto name = read_free_name(entry.key, log);
    if (!name) continue;
    if (is_built_in(*name))
      report(log, entry.key, fmt::format("'{}' is a measure; a value needs another name", *name));
    if (pack.curves.contains(*name))
      report(log, entry.key, fmt::format("'{}' is a curve of this pack; a value needs another name", *name));
    pack.values[*name] = {&entry.key, read_expression(entry.value, log), {}};
  }
}

void read_words(PackDraft& pack, const YamlNode& node, IssueLog& log) {
  const YamlNode* map = read_map(node, "words", log);
  if (map == nullptr) return;
  for (const YamlNode::Entry& entry : map->entries) {
    const auto name = read_name(entry.key, log, NameKind::plain);
    const auto words = read_text(entry.value, log);
    if (!name || !words) continue;
    if (const auto value = pack.values.find(*name); value != pack.values.end()) {
      value->second.words = *words;
      continue;
    }
    if (const auto curve = pack.curves.find(*name); curve != pack.curves.end()) {
      if (!curve->second.curve) continue;
      auto spoken = std::make_shared<Curve>(*curve->second.curve);
      spoken->words = *words;
      curve->second.curve = std::move(spoken);
      continue;
    }
    std::vector<std::string> known;
    for (const auto& [curve, unused] : pack.curves) known.push_back(curve);
    for (const auto& [value, unused] : pack.values) known.push_back(value);
    const auto near = nearest(*name, known);
    report(log, entry.key, fmt::format("this pack has no curve or value named '{}'{}", *name, near ? fmt::format("; did you mean '{}'?", *near) : ""));
  }
}

}  // namespace

PackDraft read_pack(const YamlNode& root, IssueLog& log) {
  PackDraft pack;
  pack.root = &root;
  const auto fields = read_fields(root, pack_keys(), log);
  if (!fields) return pack;
  check_format(*fields, log);
  if (const YamlNode* name = fields->value("pack")) pack.name = read_name(*name, log).value_or("");
  if (const YamlNode* about = fields->value("about")) (void)read_text(*about, log);
  if (const YamlNode* node = fields->value("measures")) read_measure_drafts(pack, *node, log);
  if (const YamlNode* node = fields->value("curves")) read_curves(pack, *node, log);
  if (const YamlNode* node = fields->value("values")) read_values(pack, *node, log);
  if (const YamlNode* node = fields->value("words")) read_words(pack, *node, log);
  const YamlNode* rules = fields->value("rules");
  const YamlNode* map = rules == nullptr ? nullptr : read_map(*rules, "rules", log);
  if (map == nullptr) return pack;
  for (const YamlNode::Entry& entry : map->entries) {
    pack.rules.push_back(read_rule(entry, log));
    pack.rules.back().rule.pack = pack.name;
  }
  return pack;
}

}  // namespace underwing
