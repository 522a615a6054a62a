#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "rules/files/farm_loader.hpp"
#include "rules/files/rule_cautions.hpp"
#include "rules/language/check.hpp"

/// What the loader finds odd, or dangerous, about the limits of a flock's rules.
namespace underwing {
namespace {

using Kind = Expression::Kind;
using Side = Limit::Side;

constexpr const char* kAir = "air_temperature";

const Limit* first_on(const WatchedRule& rule, Side side) {
  const auto found = std::find_if(rule.limits.begin(), rule.limits.end(),
                                  [side](const Limit& limit) { return limit.side == side; });
  return found == rule.limits.end() ? nullptr : &*found;
}

/// Whether a condition holds as soon as the measure's level is above (or below) something.
bool asks_for_level(const Expression& it, std::size_t measure, Side side) {
  const auto is_level = [&](std::size_t child) {
    const auto level = level_of(*it.children[child]);
    return level && level->measure == measure;
  };
  switch (it.kind) {
    case Kind::logic_or:
      return std::any_of(it.children.begin(), it.children.end(),
                         [&](const ExpressionPtr& child) { return asks_for_level(*child, measure, side); });
    case Kind::greater:
    case Kind::greater_equal:
      return is_level(side == Side::high ? 0 : 1);
    case Kind::less:
    case Kind::less_equal:
      return is_level(side == Side::high ? 1 : 0);
    default:
      return false;
  }
}

bool in_force_at(const WatchedRule& rule, Duration age) {
  return age >= rule.from.value_or(-kDay) && (!rule.until || age < *rule.until);
}

}  // namespace

void FarmLoader::judge_limits() {
  for (const Placed& placed : placed_) in_house_[set_->rules[placed.rule].house].push_back(&placed);
  for (const Placed& placed : placed_) {
    const WatchedRule& rule = set_->rules[placed.rule];
    const Flock* flock = rule.flock ? &set_->flocks[*rule.flock] : nullptr;
    const bool adjusted = placed.flock != nullptr && placed.flock->draft.adjust != nullptr;
    log_.blame(adjusted ? placed.flock->draft.adjust->source->path() : "", files_.shipped);
    judge_holding(*placed.draft, rule, *set_, rule.house, flock, log_);
    judge_light(placed);
    judge_warmth(placed);
    for (const Placed* other : in_house_[rule.house]) {
      if (other != &placed) judge_opposites(placed, *other);
    }
  }
  log_.blame("", files_.shipped);
  for (const FlockFile& flock : flocks_) {
    judge_wakers(flock, Trouble::heat);
    judge_wakers(flock, Trouble::cold);
    judge_time_left(flock);
  }
}

/// A flock without a plan of light: a rule for the light hours would be in force in the dark as well.
void FarmLoader::judge_light(const Placed& placed) {
  const WatchedRule& rule = set_->rules[placed.rule];
  if (placed.flock == nullptr || !rule.only_if || !asks_for_lights(*rule.only_if) ||
      !set_->flocks[*rule.flock].lights.empty())
    return;
  for (const NamedNode& pack : placed.flock->draft.packs) {
    if (pack.name != rule.pack) continue;
    report_caution(
        log_, *pack.node,
        fmt::format("'{}' asks whether it is light, and this flock has no 'lights', so that it is in force "
                    "in the dark, too",
                    rule.name));
  }
}

/// Urgent limits against what the flock can bear, and the flock's target against the published ones.
void FarmLoader::judge_warmth(const Placed& placed) {
  const WatchedRule& rule = set_->rules[placed.rule];
  if (!placed.level || rule.worst_priority() != Priority::urgent) return;
  // A rule of the farm has to be right for every flock of its house.
  for (std::size_t i = 0; i < set_->flocks.size(); ++i) {
    const bool own = rule.flock ? *rule.flock == i : set_->flocks[i].house == rule.house;
    if (own) judge_bearable(*placed.draft, rule, *set_, set_->flocks[i], target_for(placed, i), log_);
  }
  if (set_->measures[placed.level->measure].name != kAir) return;
  // Further curves of temperature are bounds; the first one is what the flock is meant to have.
  const auto own = target_of(rule);
  if (!own) return;
  if (const YamlNode* points = points_of(*own->curve)) judge_target(*points, *own->curve, rule, set_->farm.units, log_);
}

/// The curve that the rule names, else the one that the flock's other rules on the measure name, else a
/// guide's.
Target FarmLoader::target_for(const Placed& placed, std::size_t flock) {
  if (auto target = target_of(set_->rules[placed.rule])) return *target;
  for (const Placed* other : in_house_[set_->rules[placed.rule].house]) {
    const WatchedRule& beside = set_->rules[other->rule];
    if (beside.flock != flock || !other->level || other->level->measure != placed.level->measure) continue;
    if (auto target = target_of(beside)) return *target;
  }
  return published_target();
}

/// Where the numbers of a curve stand: in the pack as the flock adjusts it.
const YamlNode* FarmLoader::points_of(const Curve& curve) const {
  const auto in = [&](const PackDraft& pack) -> const YamlNode* {
    const auto found = pack.curves.find(curve.name);
    if (found == pack.curves.end() || found->second.curve.get() != &curve) return nullptr;
    const YamlNode::Entry* curves = pack.root->find("curves");
    const YamlNode::Entry* map = curves->value.find(curve.name);
    return &map->value.find("points")->value;
  };
  for (const PackDraft& pack : adjusted_) {
    if (const YamlNode* points = in(pack)) return points;
  }
  for (const auto& [name, file] : packs_) {
    if (const YamlNode* points = in(file.draft)) return points;
  }
  return nullptr;
}

/// Two rules of which one wants a measure above what the other wants it below: one of them always stands.
void FarmLoader::judge_opposites(const Placed& low, const Placed& high) {
  const WatchedRule& one = set_->rules[low.rule];
  const WatchedRule& other = set_->rules[high.rule];
  if (one.house != other.house || one.only_if || other.only_if || !low.level || !high.level ||
      low.level->measure != high.level->measure)
    return;
  if (one.flock && other.flock && one.flock != other.flock) return;
  // The warmest place may be above one limit while the coldest one is below the other.
  using enum Expression::Function;
  const auto f = low.level->function, g = high.level->function;
  if (f != g && (f == highest || g == lowest)) return;
  const Limit* below = first_on(one, Side::low);
  const Limit* above = first_on(other, Side::high);
  if (below == nullptr || above == nullptr) return;
  const Flock* flock = one.flock     ? &set_->flocks[*one.flock]
                       : other.flock ? &set_->flocks[*other.flock]
                                     : nullptr;
  const auto value = [&](const WatchedRule& rule, const Limit& limit, Duration age) {
    return value_at_age(*limit.expression, rule.curves, hours_of(age), facts_of(flock));
  };
  std::set<Duration> ages = ages_judged(one, kDay);
  ages.merge(ages_judged(other, kDay));
  for (const Duration age : ages) {
    if (!in_force_at(one, age) || !in_force_at(other, age)) continue;
    const double least = value(one, *below, age);
    const double most = value(other, *above, age);
    if (std::isnan(least) || std::isnan(most) || least < most) continue;
    const std::size_t index = static_cast<std::size_t>(above - other.limits.data());
    report_caution(
        log_, *high.draft->limits[index].expression.node,
        fmt::format("{} this high limit is {}, and '{}' has a low one of {}: one of the two "
                    "alarms always stands",
                    at_age(age), to_a_tenth(shown_in(other.unit, set_->farm.units), most), one.name,
                    to_a_tenth(shown_in(one.unit, set_->farm.units), least)));
    return;
  }
}

bool FarmLoader::wakes(const Placed& placed, std::size_t air, Trouble trouble) const {
  const WatchedRule& rule = set_->rules[placed.rule];
  const Side side = trouble == Trouble::heat ? Side::high : Side::low;
  const bool level = placed.level && placed.level->measure == air;
  return std::any_of(rule.limits.begin(), rule.limits.end(), [&](const Limit& limit) {
    // One end held against the middle says nothing of a house that is cold everywhere.
    if (limit.priority != Priority::urgent || (limit.side != Side::when && reads(limit.expression, air))) return false;
    return limit.side == Side::when ? asks_for_level(*limit.expression, air, side)
                                    : level && limit.side == side;
  });
}

/// Ages at which nobody is woken for heat, or for cold as long as chicks cannot keep their own warmth.
void FarmLoader::judge_wakers(const FlockFile& file, Trouble trouble) {
  const auto air = set_->find_measure(kAir);
  if (!file.house || !air || !set_->houses[*file.house].probes.contains(*air)) return;
  const Flock& flock = set_->flocks[file.index];
  Duration end = trouble == Trouble::heat ? kLastDay : kOwnWarmth;
  if (flock.cleared) end = std::min<Duration>(end, *flock.cleared - flock.placed);
  std::vector<std::pair<Duration, Duration>> spans;
  for (const Placed* placed : in_house_[*file.house]) {
    const WatchedRule& rule = set_->rules[placed->rule];
    if ((rule.flock && *rule.flock != file.index) || !wakes(*placed, *air, trouble)) continue;
    const Duration from = rule.from.value_or(-kDay), until = rule.until.value_or(end);
    if (from < until) spans.emplace_back(from, until);
  }
  std::sort(spans.begin(), spans.end());
  spans.emplace_back(end, end);
  Duration covered = Duration::zero();
  for (const auto& [from, until] : spans) {
    const Duration stop = std::min(from, end);
    if (stop > covered && !endings_.contains({file.index, covered})) {
      const bool whole = covered == Duration::zero() && stop == end;
      report_danger(
          log_, file.root->find("packs")->key,
          fmt::format("nobody is woken when it gets too {} for '{}'{}: no urgent rule has a {} limit on the "
                      "level of {}{}",
                      trouble == Trouble::heat ? "hot" : "cold", flock.name,
                      whole ? ""
                            : fmt::format(" from {} to an age of {}",
                                          covered == Duration::zero() ? "placement"
                                                                      : "an age of " + to_words(covered),
                                          to_words(stop)),
                      trouble == Trouble::heat ? "high" : "low", kAir, whole ? "" : " then"));
    }
    covered = std::max(covered, until);
  }
}

}  // namespace underwing
