// Engine: which rules need no judging at each reading. A rule that is calm and stays calm, or that cannot
// tell and goes on unable to, whatever comes for some minutes inside the bands of what is expected, would be looked
// at in vain. The first reading outside its band (the first of a silent probe, a late one, any value that people
// enter) and a probe that falls silent end that for all rules that read its measure. Where many rules then have to be
// judged the engine looks out anew, and less far.
#include "rules/engine/engine.hpp"

namespace underwing {

namespace {

constexpr int kMinutesAheadMax = 8;

/// Whether `value` can come to lie beyond `limit`, or that can come to be unknown.
bool may_be_broken(Limit::Side side, const Range& value, const Range& limit) {
  switch (side) {
    case Limit::Side::low: return !ranges::below(value, limit).is_no();
    case Limit::Side::high: return !ranges::below(limit, value).is_no();
    case Limit::Side::when: return !limit.is_no();
  }
  return true;
}

/// Whether it can come to be known on which side of `limit` `value` lies.
bool may_be_known(Limit::Side side, const Range& value, const Range& limit) {
  const auto surely_unknown = [](const Range& range) { return range.is_known == Range::Known::no; };
  return !(surely_unknown(limit) || (side != Limit::Side::when && surely_unknown(value)));
}

}  // namespace

void Engine::look_out(HouseState& house) {
  house.judged_since = 0;
  Outlook& outlook = house.outlook;
  ++outlook.serial;
  outlook.now = now_;
  outlook.until = next_minute_ + std::chrono::minutes(house.minutes_ahead - 1);
  outlook.wall = wall();
  for (std::size_t probe = house.probes_begin; probe < house.probes_end; ++probe) {
    gate(probe).expected = board_.series[probe].expected_within(outlook);
  }
  for (std::size_t probe = house.probes_begin; probe < house.probes_end; ++probe) gate(probe).near = near_siblings(probe, outlook);
  for (std::size_t probe = house.probes_begin; probe < house.probes_end; ++probe) gate(probe).awake = false;
  for (std::size_t rule = house.rules_begin; rule < house.rules_end; ++rule) {
    settled_[rule] = stays_as_it_is(rule, outlook);
    if (!settled_[rule]) wake_probes_of(rule);
  }
}

/// At a whole minute that is worked off: every rule is judged, and how far to look depends on what the last look was worth.
void Engine::look_out_anew(HouseState& house, Instant minute) {
  const bool quiet = house.judged_since < house.rules_end - house.rules_begin;
  house.minutes_ahead = quiet ? std::min(2 * house.minutes_ahead, kMinutesAheadMax) : std::max(house.minutes_ahead / 2, 1);
  for (std::size_t probe = house.probes_begin; probe < house.probes_end; ++probe) board_.series[probe].trim(minute);
  for (std::size_t rule = house.rules_begin; rule < house.rules_end; ++rule) evaluate(rule, Occasion::minute);
  look_out(house);
}

void Engine::unsettle(std::size_t rule) {
  if (!settled_[rule]) return;
  settled_[rule] = false;
  wake_probes_of(rule);
}

void Engine::wake_probes_of(std::size_t rule) {
  for (const std::size_t probe : compiled_[rule].probes) gate(probe).awake = true;
}

void Engine::forget_outlook() {
  settled_.assign(settled_.size(), false);
  for (Series& series : board_.series) {
    series.gate.near = {};
    series.gate.awake = true;
  }
}

void Engine::forget_outlook_of(std::size_t probe) {
  for (const std::size_t rule : probes_[probe].readers) unsettle(rule);
  for (const std::size_t sibling : probes_[probe].siblings) gate(sibling).near = {};
}

/// Where a value is near each of its siblings, wherever they go: anywhere, without any. Empty where one of them may come or go.
Series::Band Engine::near_siblings(std::size_t probe, const Outlook& outlook) const {
  if (probes_[probe].siblings.empty()) return {-Range::kFar, Range::kFar};
  const Instant wall_until = outlook.wall + outlook.length();
  const auto changes = [&](std::size_t one) { return waits(one, outlook.wall) != waits(one, wall_until); };
  if (changes(probe)) return {};
  const double max_apart = *rules_->probes[probe].quality.max_apart;
  Series::Band near{-Range::kFar, Range::kFar};
  for (const std::size_t sibling : probes_[probe].siblings) {
    if (changes(sibling)) return {};
    if (waits(sibling, outlook.wall)) continue;
    const Series::Band& band = gate(sibling).expected;
    if (band.empty()) return {};
    near = {std::max(near.low, band.high - max_apart), std::min(near.high, band.low + max_apart)};
  }
  return near;
}

bool Engine::stays_as_it_is(std::size_t index, const Outlook& outlook) {
  const WatchedRule& rule = rules_->rules[index];
  const RuleState& state = states_[index];
  const Compiled& compiled = compiled_[index];
  const bool unknown = state.waits_to_know();
  // From minute to minute a trend goes on, and what is unknown may add up until the rule is blind.
  const bool adds_up = unknown && !state.blind && counting_begin(index) < outlook.until;
  if ((rule.ahead || adds_up) && outlook.has_within(std::chrono::minutes(1))) return false;
  if (!(state.calm || unknown) || !compiled.bounds_known || compiled.next_bound <= outlook.until)
    return false;
  if (!compiled.in_bounds) return !state.in_force;
  const auto range = [&](const Program& program) { return program.range(compiled.site, outlook, board_); };
  if (compiled.only_if) {
    const Range only_if = range(*compiled.only_if);
    if (only_if.is_no()) return !state.in_force;
    const bool never_no = only_if.is_yes() || only_if.is_known == Range::Known::no;
    if (!never_no) return false;
  }
  if (!state.in_force) return false;
  const Range value = compiled.watch ? range(*compiled.watch) : Range::unknown();
  const bool trend = rule.ahead && known(state.trend_per_min);
  const Range projected =
      trend ? ranges::add(value, Range::point(state.trend_per_min * hours_of(*rule.ahead) * 60.0))
            : Range::unknown();
  for (std::size_t i = 0; i < rule.limits.size(); ++i) {
    const Limit::Side side = rule.limits[i].side;
    const Range limit = range(*compiled.limits[i]);
    if (unknown ? may_be_known(side, value, limit) : may_be_broken(side, value, limit)) return false;
    if (trend && may_be_broken(side, projected, limit)) return false;
  }
  return true;
}

}  // namespace underwing
