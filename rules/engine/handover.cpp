// Engine: carrying a watch over to other rules, and over an outage.
#include <algorithm>
#include <map>
#include <string>

#include "rules/engine/engine.hpp"

namespace underwing {

namespace {

/// Compares what two rules of two rule sets judge. Measures are compared by name, since their indices differ.
struct Comparison {
  const RuleSet& older;
  const RuleSet& newer;

  [[nodiscard]] bool alike(const ExpressionPtr& a, const ExpressionPtr& b) const {
    if (!a || !b) return !a && !b;
    const bool reads = a->kind == Expression::Kind::measure || a->kind == Expression::Kind::window;
    if (a->kind != b->kind || a->function != b->function || a->fact != b->fact || a->number != b->number ||
        a->index != b->index || a->span != b->span || a->type != b->type || a->children.size() != b->children.size() ||
        (reads && older.measures[a->measure].name != newer.measures[b->measure].name)) {
      return false;
    }
    return std::equal(a->children.begin(), a->children.end(), b->children.begin(),
                      [&](const auto& x, const auto& y) { return alike(x, y); });
  }

  /// From which ages the probes of the rule's house count for its flock, by name.
  [[nodiscard]] static std::map<std::string, Duration> counting(const RuleSet& set, const WatchedRule& rule) {
    std::map<std::string, Duration> ages;
    if (!rule.flock) return ages;
    for (const auto& [probe, age] : set.flocks[*rule.flock].counts_from) ages[set.full_name(probe)] = age;
    return ages;
  }

  [[nodiscard]] bool alike(const WatchedRule& a, const WatchedRule& b) const {
    return counting(older, a) == counting(newer, b) && alike(a.watch, b.watch) && alike(a.only_if, b.only_if) &&
           std::equal(a.curves.begin(), a.curves.end(), b.curves.begin(), b.curves.end(),
                      [](const auto& x, const auto& y) { return x->points == y->points; }) &&
           std::equal(a.limits.begin(), a.limits.end(), b.limits.begin(), b.limits.end(),
                      [&](const Limit& x, const Limit& y) {
                        return x.side == y.side && x.priority == y.priority && alike(x.expression, y.expression);
                      }) &&
           a.deadband == b.deadband && a.on_delay == b.on_delay && a.off_delay == b.off_delay && a.ahead == b.ahead &&
           a.from == b.from && a.until == b.until && a.blind_after == b.blind_after &&
           a.even_during_work == b.even_during_work;
  }

  /// The older rule of the same house, flock, pack, name and probe.
  [[nodiscard]] std::optional<std::size_t> find_older(const WatchedRule& rule) const {
    const auto flock = [](const RuleSet& set, const WatchedRule& r) { return r.flock ? set.flocks[*r.flock].name : ""; };
    const auto probe = [](const RuleSet& set, const WatchedRule& r) { return r.probe ? set.probes[*r.probe].name : ""; };
    for (std::size_t i = 0; i < older.rules.size(); ++i) {
      const WatchedRule& other = older.rules[i];
      if (other.name == rule.name && other.pack == rule.pack &&
          older.houses[other.house].name == newer.houses[rule.house].name && flock(older, other) == flock(newer, rule) &&
          probe(older, other) == probe(newer, rule)) {
        return i;
      }
    }
    return std::nullopt;
  }
};

}  // namespace

void Engine::adopt(const Engine& older) {
  begin(older.now_, older.wall_ahead_);
  clear_events();
  next_minute_ = older.next_minute_;
  resumed_at_ = older.resumed_at_;
  outage_ = older.outage_;
  for (std::size_t house = 0; house < rules_->houses.size(); ++house) {
    if (const auto source = older.rules_->find_house(rules_->houses[house].name)) {
      work_until_[house] = older.work_until_[*source];
    }
  }
  for (std::size_t probe = 0; probe < rules_->probes.size(); ++probe) {
    const auto source = older.rules_->find_probe(rules_->full_name(probe));
    if (!source || older.rules_->probes[*source].quality.unit.text != rules_->probes[probe].quality.unit.text) continue;
    board_.series[probe].adopt(older.board_.series[*source], now_);
    first_readings_ += board_.series[probe].ever_good();
    gate(probe).failing = older.gate(*source).failing;
    gate(probe).suspect = older.gate(*source).suspect;
    schedule(probe, due_of(probe));
  }
  for (Share& share : board_.shares) board_.work_out(share, now_, wall_ahead_);
  ++version_;
  forget_bounds();
  const Comparison comparison{*older.rules_, *rules_};
  for (std::size_t rule = 0; rule < rules_->rules.size(); ++rule) {
    const auto source = comparison.find_older(rules_->rules[rule]);
    if (!source) continue;
    const RuleState& before = older.states_[*source];
    RuleState& after = states_[rule];
    if (comparison.alike(older.rules_->rules[*source], rules_->rules[rule])) {
      after = before;
      continue;
    }
    // Other words end neither an alarm nor a blindness; only the delays begin anew.
    after = RuleState();
    after.in_force = before.in_force;
    after.in_force_since = before.in_force_since;
    after.left_force = before.left_force;
    after.blind = before.blind;
    if (before.limits.size() != rules_->rules[rule].limits.size()) continue;
    for (const auto& limit : before.limits) after.limits.push_back({limit.active, limit.broken_itself, kNever, kNever, kNever});
  }
  evaluate_all(Occasion::due);
}

void Engine::restore(std::size_t rule, const RuleState& state) {
  states_[rule] = state;
  if (!settled_.empty()) unsettle(rule);
  schedule(rules_->probes.size() + rule, due_of(rules_->probes.size() + rule));
}

void Engine::resume(Instant now) {
  const Duration outage = now - now_;
  now_ = std::max(now_, now);
  next_minute_ = ceil_minute(now_);
  ++version_;
  forget_bounds();
  resumed_at_ = now_;
  outage_ = std::max(outage, Duration::zero());
  for (RuleState& state : states_) {
    for (RuleState::LimitState& limit : state.limits) limit.back_since = kNever;
    state.unknown_since = state.known_since = kNever;
    state.unknown_spans.clear();
    state.calm = false;
  }
  evaluate_all(Occasion::due);
}

}  // namespace underwing
