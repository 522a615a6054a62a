#include "daemon/flock_view.hpp"

#include <algorithm>
#include <cmath>

#include "rules/files/reach.hpp"

namespace underwing {

namespace {

using namespace std::chrono_literals;

constexpr Duration kDay = 24h;

}  // namespace

const std::vector<std::size_t>& probes_of(const RuleSet& rules, std::size_t house, std::string_view name) {
  static const std::vector<std::size_t> kNone;
  const auto measure = rules.find_measure(name);
  if (!measure) return kNone;
  const auto found = rules.houses[house].probes.find(*measure);
  return found == rules.houses[house].probes.end() ? kNone : found->second;
}

Losses losses_of(const Engine& engine, std::size_t index) {
  const RuleSet& rules = engine.rules();
  const Flock& flock = rules.flocks[index];
  // Tallies keep the watch's time, placement the wall's; they part only by what the clock was mended.
  const auto lost_since = [&](Instant since) {
    double lost = 0;
    for (const char* measure : {"dead_birds", "culled_birds"}) {
      for (const std::size_t probe : probes_of(rules, flock.house, measure)) lost += engine.series(probe).tally_since(since);
    }
    return lost;
  };
  Losses all;
  const double lost = lost_since(flock.placed);
  all.alive = flock.birds - lost;
  all.last_24_h = lost_since(std::max(flock.placed, engine.now() - kDay + 1ms));
  all.daily_percent = flock::daily_mortality_percent(all.last_24_h, all.alive + all.last_24_h);
  std::vector<double> days;
  for (Instant day = flock.placed; day <= engine.now(); day += kDay) days.push_back(std::max(0.0, lost_since(day) - lost_since(day + kDay)));
  all.cumulative_percent = flock::cumulative_daily_mortality_percent(flock.birds, days);
  return all;
}

std::optional<growth::Estimate> weight_of(const Engine& engine, std::size_t index) {
  const RuleSet& rules = engine.rules();
  const Flock& flock = rules.flocks[index];
  const Curve* curve = weight_curve_of(rules, index);
  if (curve == nullptr) return std::nullopt;
  std::vector<growth::Weighing> weighings;
  for (const std::size_t probe : probes_of(rules, flock.house, "bird_weight")) {
    if (flock.waits_for(probe, engine.wall())) continue;
    const Unit& unit = rules.probes[probe].quality.unit;
    engine.series(probe).each_since(std::max(flock.placed, engine.now() - kDay), [&](Instant time, double value) {
      weighings.push_back({hours_of(time + engine.wall_ahead() - flock.placed), unit.to_canonical(value)});
    });
  }
  return growth::weigh(weighings, *curve, hours_of(engine.wall() - flock.placed));
}

std::optional<LiveWeight> live_weight(const Engine& engine, std::size_t index) {
  if (const auto weighed = weight_of(engine, index)) return LiveWeight{weighed->weight_g.middle, true};
  const Curve* curve = weight_curve_of(engine.rules(), index);
  if (curve == nullptr) return std::nullopt;
  return LiveWeight{curve_at(*curve, hours_of(engine.wall() - engine.rules().flocks[index].placed)), false};
}

std::vector<double> held_values(const Engine& engine, std::size_t house, const char* measure) {
  std::vector<double> values;
  for (const std::size_t probe : probes_of(engine.rules(), house, measure)) {
    const double held = engine.series(probe).held(engine.now());
    if (known(held) && !engine.rules().waits_for(probe, engine.wall())) values.push_back(engine.rules().probes[probe].quality.unit.to_canonical(held));
  }
  return values;
}

double middle_held(const Engine& engine, std::size_t house, const char* measure) {
  std::vector<double> values = held_values(engine, house, measure);
  return median_of(values);
}

bool asked_for(const Engine& engine, std::size_t probe, Instant wall) {
  const RuleSet& rules = engine.rules();
  bool read = false;
  for (std::size_t i = 0; i < rules.rules.size(); ++i) {
    const WatchedRule& rule = rules.rules[i];
    const auto& probes = engine.probes_of(i);
    if (!rule.flock || std::find(probes.begin(), probes.end(), probe) == probes.end()) continue;
    read = true;
    const Duration age = wall - rules.flocks[*rule.flock].placed;
    if ((!rule.from || age >= *rule.from) && (!rule.until || age < *rule.until)) return true;
  }
  return !read;
}

}  // namespace underwing
