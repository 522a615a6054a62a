#include <fmt/format.h>

#include <cmath>

#include "rules/files/drafts.hpp"

namespace underwing {
namespace {

std::optional<double> read_mass_g(const YamlNode& node, IssueLog& log) {
  const auto quantity = read_quantity(node, log);
  if (!quantity) return std::nullopt;
  Dimension mass;
  mass.exponent[Dimension::mass] = 1;
  if (quantity->unit.dimension.none()) {
    report(log, node, fmt::format("this weight needs a unit, as in {:g} g", quantity->value));
    return std::nullopt;
  }
  if (quantity->unit.dimension != mass) {
    report(log, node, fmt::format("a weight is needed here, in g or kg, not in {}", quantity->unit.text));
    return std::nullopt;
  }
  if (quantity->value <= 0) {
    report(log, node, "a weight has to be more than nothing");
    return std::nullopt;
  }
  return quantity->canonical();
}

/// Weights that no chick has are mostly a unit mixed up.
void judge_weights(const Flock& flock, const Fields& fields, IssueLog& log) {
  constexpr double kLightest_g = 25, kHeaviest_g = 60;  // of day-old broilers: common practice
  if (flock.chick_weight_g > 0 && (flock.chick_weight_g < kLightest_g || flock.chick_weight_g > kHeaviest_g)) {
    report_caution(log, *fields.value("chick_weight"),
                   fmt::format("a day-old broiler weighs {:.0f} to {:.0f} g (common practice), and this is {:g} g", kLightest_g, kHeaviest_g, flock.chick_weight_g));
  }
  if (flock.goal_day_7_g && *flock.goal_day_7_g <= flock.chick_weight_g) {
    report_caution(log, *fields.value("goal_day_7"), "the goal for day 7 is no more than the chicks weigh at placement");
  }
}

void read_birds(Flock& flock, const YamlNode& node, IssueLog& log) {
  const auto birds = read_number(node, log);
  if (!birds) return;
  if (*birds < 1 || std::floor(*birds) != *birds) {
    report(log, node, "the number of birds is a whole number from 1 up");
    return;
  }
  flock.birds = *birds;
}

void read_lights(Flock& flock, const YamlNode& node, IssueLog& log) {
  const YamlNode* map = read_map(node, "lights", log);
  if (map == nullptr) return;
  for (const YamlNode::Entry& entry : map->entries) {
    const auto age = read_duration(entry.key, Sign::any, log);
    const auto hours = read_duration(entry.value, Sign::not_negative, log);
    if (!age || !hours) continue;
    if (*hours > std::chrono::hours(24))
      report(log, entry.value, "a day has 24 h; it cannot be light for longer");
    if (!flock.lights.empty() && *age <= flock.lights.back().first) {
      report(log, entry.key,
             fmt::format("ages have to rise; {} comes after {}", to_words(*age),
                         to_words(flock.lights.back().first)));
    }
    flock.lights.emplace_back(*age, *hours);
  }
}

/// Whole minutes, as placement is one, too.
void read_counting(FlockDraft& draft, const YamlNode& node, IssueLog& log) {
  const YamlNode* map = read_map(node, "counts_from", log);
  if (map == nullptr) return;
  for (const YamlNode::Entry& entry : map->entries) {
    const auto probe = read_name(entry.key, log);
    const auto age = read_duration(entry.value, Sign::any, log);
    if (!probe || !age) continue;
    if (*age % std::chrono::minutes(1) != Duration::zero()) report(log, entry.value, "this age has to be in whole minutes");
    draft.counting.push_back({{*probe, &entry.key}, *age});
  }
}

void read_times(FlockDraft& draft, const Fields& fields, const Zone& zone, IssueLog& log) {
  Flock& flock = draft.flock;
  if (const YamlNode* node = fields.value("placed")) {
    if (auto placed = read_local_time(*node, zone, log)) {
      flock.placed = *placed;
      draft.placed = node;
    }
  }
  if (const YamlNode* node = fields.value("cleared")) {
    flock.cleared = read_local_time(*node, zone, log);
    if (flock.cleared && draft.placed != nullptr && *flock.cleared <= flock.placed) {
      report(log, *node, "the house cannot be cleared before the birds are placed");
      flock.cleared.reset();
    }
  }
  const YamlNode* unloading = fields.value("unloading");
  const auto hours = unloading == nullptr ? std::nullopt : read_hours(*unloading, log);
  if (!hours || draft.placed == nullptr) return;
  if (hours->first >= hours->second) {
    report(log, *unloading,
           "unloading begins and ends on the day of placement; the end comes after the beginning");
    return;
  }
  const auto midnight = std::chrono::floor<std::chrono::days>(zone.to_local(flock.placed).as_if_utc);
  flock.unloading = std::pair(zone.to_utc(LocalTime{midnight + hours->first}).first,
                              zone.to_utc(LocalTime{midnight + hours->second}).first);
}

}  // namespace

FlockDraft read_flock(const YamlNode& root, const Zone& zone, IssueLog& log) {
  FlockDraft draft;
  const auto fields = read_fields(root, flock_keys(), log);
  if (!fields) return draft;
  check_format(*fields, log);
  Flock& flock = draft.flock;
  const auto name = [&](const char* key) -> std::optional<NamedNode> {
    const YamlNode* node = fields->value(key);
    const auto text = node == nullptr ? std::nullopt : read_name(*node, log);
    return text ? std::optional(NamedNode{*text, node}) : std::nullopt;
  };
  draft.name = name("flock");
  if (draft.name) flock.name = draft.name->name;
  draft.house = name("house");
  read_times(draft, *fields, zone, log);
  if (const YamlNode* node = fields->value("birds")) read_birds(flock, *node, log);
  if (const YamlNode* node = fields->value("chick_weight"))
    flock.chick_weight_g = read_mass_g(*node, log).value_or(0);
  if (const YamlNode* node = fields->value("goal_day_7")) flock.goal_day_7_g = read_mass_g(*node, log);
  judge_weights(flock, *fields, log);
  if (const YamlNode* node = fields->value("first_day")) {
    if (auto index = read_one_of(*node, {"0", "1"}, log)) flock.first_day = static_cast<int>(*index);
  }
  if (const YamlNode* node = fields->value("lights")) read_lights(flock, *node, log);
  if (const YamlNode* node = fields->value("lights_on"))
    flock.lights_on = read_time_of_day(*node, log).value_or(Duration::zero());
  if (const YamlNode* node = fields->value("packs")) {
    for (const YamlNode* item : one_or_list(*node)) {
      if (auto pack = read_name(*item, log)) {
        draft.packs.push_back({*pack, item});
        flock.packs.push_back(*pack);
      }
    }
  }
  if (const YamlNode* node = fields->value("counts_from")) read_counting(draft, *node, log);
  draft.adjust = fields->value("adjust");
  return draft;
}

}  // namespace underwing
