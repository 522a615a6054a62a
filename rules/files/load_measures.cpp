#include <fmt/format.h>

#include <algorithm>

#include "rules/files/built_in.hpp"
#include "rules/files/drafts.hpp"

namespace underwing {
namespace {

constexpr MeasureKind kKinds[] = {MeasureKind::gauge,  MeasureKind::counter, MeasureKind::state,
                                  MeasureKind::sample, MeasureKind::tally,   MeasureKind::round};

Measure* find_in(std::vector<Measure>& all, const std::string& name) {
  const auto found = std::find_if(all.begin(), all.end(), [&](const Measure& it) { return it.name == name; });
  return found == all.end() ? nullptr : &*found;
}

std::optional<MeasureKind> read_kind(const Fields& fields, IssueLog& log) {
  const YamlNode* node = fields.value("kind");
  if (node == nullptr) return std::nullopt;
  const auto index = read_one_of(*node, measure_keys().find("kind")->words, log);
  return index ? std::optional(kKinds[*index]) : std::nullopt;
}

std::optional<Unit> unit_of(const Fields& fields, IssueLog& log) {
  const YamlNode* node = fields.value("unit");
  return node == nullptr ? std::nullopt : read_unit(*node, log);
}

void read_plausible(Measure& measure, const YamlNode& node, const Unit& written, IssueLog& log) {
  if (node.kind == YamlNode::Kind::wrong) return;
  if (!node.is_list() || node.items.size() != 2) {
    report(log, node, "the lowest and the highest believable reading are needed here, as in [0, 100]");
    return;
  }
  const auto low = read_number(node.items[0], log);
  const auto high = read_number(node.items[1], log);
  if (!low || !high) return;
  if (*low >= *high) {
    report(log, node, "the lowest believable reading comes first, and is below the highest");
    return;
  }
  measure.plausible_low = convert(*low, written, measure.unit).value_or(*low);
  measure.plausible_high = convert(*high, written, measure.unit).value_or(*high);
}

/// A difference in the measure's unit, per `minutes` where that is a rate; as a plain number in that unit.
std::optional<double> read_step(const YamlNode& node, const Measure& measure, bool per_minute,
                                IssueLog& log) {
  const auto quantity = read_quantity(node, log);
  if (!quantity) return std::nullopt;
  const Unit difference = measure.unit.of_difference();
  Dimension needed = difference.dimension;
  if (per_minute) --needed.exponent[Dimension::time];
  const std::string example =
      fmt::format("{}{}", difference.text.empty() ? "1" : difference.text, per_minute ? "/min" : "");
  // A plain number has no unit to divide by; there the step per minute is the number itself.
  const bool plain = per_minute && difference.dimension.none() && quantity->unit.dimension.none();
  if (!plain && (quantity->unit.dimension != needed || quantity->unit.point)) {
    report(log, node,
           fmt::format("a difference in {} is needed here, not in '{}'", example, quantity->unit.text));
    return std::nullopt;
  }
  if (quantity->value <= 0) {
    report(log, node, "this has to be more than nothing");
    return std::nullopt;
  }
  if (plain) return quantity->value;
  const double canonical = quantity->canonical() / (per_minute ? 60.0 : 1.0);
  return canonical / measure.unit.factor;
}

void add_new(std::vector<Measure>& all, const MeasureDraft& draft, IssueLog& log) {
  const Fields& fields = draft.fields;
  std::vector<std::string> known;
  for (const Measure& it : all) known.push_back(it.name);
  for (const char* key : {"unit", "kind", "plausible"}) {
    if (fields.has(key)) continue;
    report(log, fields.map(),
           with_nearest(fmt::format("'{}' is no built-in measure, so it needs the key '{}'", draft.name, key),
                        draft.name, known));
    return;
  }
  Measure measure;
  measure.name = draft.name;
  const auto unit = unit_of(fields, log);
  const auto kind = read_kind(fields, log);
  if (!unit || !kind) return;
  measure.unit = *unit;
  measure.kind = *kind;
  measure.stale_after = default_stale_after(*kind);
  if (*kind == MeasureKind::state && !unit->dimension.none()) {
    report(log, *fields.value("unit"), "a state is on or off and has no unit; write \"\"");
    return;
  }
  all.push_back(std::move(measure));
}

void change_unit(Measure& measure, const MeasureDraft& draft, IssueLog& log) {
  const auto unit = unit_of(draft.fields, log);
  if (!unit) return;
  if (unit->dimension != measure.unit.dimension || unit->point != measure.unit.point) {
    report(log, *draft.fields.value("unit"),
           fmt::format("'{}' is in {}; another unit has to be one of the same kind", measure.name,
                       measure.unit.text.empty() ? "plain numbers" : measure.unit.text));
    return;
  }
  measure.plausible_low = convert(measure.plausible_low, measure.unit, *unit).value_or(0);
  measure.plausible_high = convert(measure.plausible_high, measure.unit, *unit).value_or(0);
  for (auto* step : {&measure.max_rate_per_min, &measure.max_apart}) {
    if (*step) *step = **step * measure.unit.factor / unit->factor;
  }
  measure.unit = *unit;
}

}  // namespace

void apply_measure(Measure& measure, const MeasureDraft& draft, IssueLog& log) {
  const Fields& fields = draft.fields;
  if (const auto kind = read_kind(fields, log); kind && *kind != measure.kind) {
    report(log, *fields.value("kind"),
           fmt::format("'{}' is a {}; that cannot change", measure.name, to_string(measure.kind)));
  }
  const Unit written = unit_of(fields, log).value_or(measure.unit);
  if (const YamlNode* node = fields.value("plausible")) read_plausible(measure, *node, written, log);
  if (const YamlNode* node = fields.value("stale_after")) {
    if (auto span = read_duration(*node, Sign::positive, log)) measure.stale_after = *span;
  }
  if (const YamlNode* node = fields.value("max_rate")) {
    if (auto step = read_step(*node, measure, true, log)) measure.max_rate_per_min = step;
  }
  if (const YamlNode* node = fields.value("max_apart")) {
    if (auto step = read_step(*node, measure, false, log)) measure.max_apart = step;
  }
  if (const YamlNode* node = fields.value("flat_after")) {
    if (measure.kind != MeasureKind::gauge) {
      report(log, *fields.key("flat_after"),
             fmt::format("'flat_after' is for gauges; '{}' is a {}", measure.name, to_string(measure.kind)));
    } else if (auto span = read_duration(*node, Sign::positive, log)) {
      measure.flat_after = *span;
    }
  }
}

std::vector<Measure> read_measures(const std::vector<const PackDraft*>& packs, IssueLog& log) {
  std::vector<Measure> all = built_in_measures();
  // New kinds first, so that a pack may change what another one brings.
  for (const PackDraft* pack : packs) {
    for (const MeasureDraft& draft : pack->measures) {
      const bool whole =
          draft.fields.has("unit") && draft.fields.has("kind") && draft.fields.has("plausible");
      if (whole && find_in(all, draft.name) == nullptr) add_new(all, draft, log);
    }
  }
  std::map<std::string, std::string> units;
  for (const PackDraft* pack : packs) {
    for (const MeasureDraft& draft : pack->measures) {
      Measure* measure = find_in(all, draft.name);
      if (measure == nullptr) {
        add_new(all, draft, log);
        continue;
      }
      if (const YamlNode* unit = draft.fields.value("unit"); unit != nullptr && unit->is_scalar()) {
        const auto [said, first] = units.emplace(draft.name, unit->text);
        if (!first && said->second != unit->text) {
          report(log, *unit,
                 fmt::format("another pack has '{}' in '{}'; a farm needs one unit for it", draft.name,
                             said->second));
          continue;
        }
        change_unit(*measure, draft, log);
      }
      apply_measure(*measure, draft, log);
    }
  }
  std::sort(all.begin(), all.end(), [](const Measure& a, const Measure& b) { return a.name < b.name; });
  return all;
}

}  // namespace underwing
