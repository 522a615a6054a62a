#include "rules/engine/engine.hpp"

#include <algorithm>

namespace underwing {

namespace {

/// Judgements at readings, by rule, after which looking out anew costs little beside them.
constexpr std::size_t kLookAgainAfter = 16;

Duration longest_span(const Expression& expression) {
  Duration longest = expression.kind == Expression::Kind::window ? expression.span : Duration::zero();
  for (const auto& child : expression.children) longest = std::max(longest, longest_span(*child));
  return longest;
}

}  // namespace

Duration longest_span(const RuleSet& rules) {
  Duration longest{0};
  for (const WatchedRule& rule : rules.rules) {
    if (rule.watch) longest = std::max(longest, longest_span(*rule.watch));
    if (rule.only_if) longest = std::max(longest, longest_span(*rule.only_if));
    for (const Limit& limit : rule.limits) longest = std::max(longest, longest_span(*limit.expression));
  }
  return longest;
}

Engine::Engine(std::shared_ptr<const RuleSet> rules) : rules_(std::move(rules)) {
  states_.resize(rules_->rules.size());
  work_until_.assign(rules_->houses.size(), Instant(Duration::min()));
  scheduled_.assign(rules_->probes.size() + rules_->rules.size(), kNever);
}

void Engine::compile() {
  board_.rules = rules_.get();
  board_.series.clear();
  board_.qualities.clear();
  board_.series.reserve(rules_->probes.size());
  for (const Probe& probe : rules_->probes) board_.add_series(probe.quality, now_);
  compiled_.resize(rules_->rules.size());
  probes_.assign(rules_->probes.size(), {});
  settled_.assign(rules_->rules.size(), false);
  find_siblings();
  for (const Flock& flock : rules_->flocks) {
    for (const auto& [probe, age] : flock.counts_from) probes_[probe].may_wait = true;
  }
  houses_.assign(rules_->houses.size(), {});
  std::size_t probe = 0, rule = 0;
  for (std::size_t house = 0; house < houses_.size(); ++house) {
    HouseState& state = houses_[house];
    state.probes_begin = probe;
    for (; probe < probes_.size() && rules_->probes[probe].house == house; ++probe) gate(probe).house = static_cast<std::uint32_t>(house);
    state.probes_end = probe;
    state.rules_begin = rule;
    state.shares_begin = board_.shares.size();
    board_.begin_house(state.probes_begin);
    for (; rule < rules_->rules.size() && rules_->rules[rule].house == house; ++rule) compile_rule(rule);
    state.rules_end = rule;
    state.shares_end = board_.shares.size();
    for (std::size_t i = state.probes_begin; i < state.probes_end; ++i) {
      if (board_.series[i].has_trend()) state.trending.push_back(i);
    }
  }
}

void Engine::find_siblings() {
  for (std::size_t probe = 0; probe < probes_.size(); ++probe) {
    const Probe& entry = rules_->probes[probe];
    if (!entry.quality.max_apart) continue;
    probes_[probe].siblings = rules_->houses[entry.house].probes.at(entry.measure);
    std::erase(probes_[probe].siblings, probe);
  }
}

void Engine::compile_rule(std::size_t index) {
  const WatchedRule& rule = rules_->rules[index];
  Compiled& compiled = compiled_[index];
  std::vector<std::size_t> measures;
  const auto add = [&](const ExpressionPtr& expression) {
    if (!expression) return std::shared_ptr<const Program>();
    auto program = board_.share_program(Program(*expression, rule, board_));
    compiled.span_max = std::max(compiled.span_max, program->span_max());
    measures.insert(measures.end(), program->measures().begin(), program->measures().end());
    return program;
  };
  compiled.watch = add(rule.watch);
  for (const Limit& limit : rule.limits) compiled.limits.push_back(add(limit.expression));
  compiled.only_if = add(rule.only_if);
  compiled.site = board_.house;
  if (rule.flock) compiled.site.flock = &rules_->flocks[*rule.flock];

  std::sort(measures.begin(), measures.end());
  measures.erase(std::unique(measures.begin(), measures.end()), measures.end());
  for (const std::size_t measure : measures) {
    const bool own = rule.probe && rules_->probes[*rule.probe].measure == measure;
    const auto& all = rules_->houses[rule.house].probes.at(measure);
    compiled.by_measure.push_back(own ? std::vector<std::size_t>{*rule.probe} : all);
    for (const std::size_t probe : compiled.by_measure.back()) {
      compiled.probes.push_back(probe);
      probes_[probe].dependents.push_back(index);
    }
    for (const std::size_t probe : all) probes_[probe].readers.push_back(index);
  }
  if (!rule.flock) return;
  const Flock& flock = rules_->flocks[*rule.flock];
  // Of all probes of its measures, as what it reads of its own one may be held against the others.
  for (const auto& [probe, age] : flock.counts_from) {
    if (std::binary_search(measures.begin(), measures.end(), rules_->probes[probe].measure)) compiled.bounds.push_back(flock.placed + age);
  }
  if (rule.from) compiled.bounds.push_back(flock.placed + *rule.from);
  if (rule.until) compiled.bounds.push_back(flock.placed + *rule.until);
  if (flock.cleared) compiled.bounds.push_back(*flock.cleared);
  if (flock.unloading && !rule.even_during_work) {
    compiled.bounds.push_back(flock.unloading->first);
    compiled.bounds.push_back(flock.unloading->second);
  }
  std::sort(compiled.bounds.begin(), compiled.bounds.end());
}

void Engine::begin(Instant now, Duration wall_ahead) {
  begun_ = true;
  now_ = now;
  wall_ahead_ = wall_ahead;
  next_minute_ = ceil_minute(now);
  compile();
  evaluate_all(Occasion::reading);
}

std::optional<double> Engine::age_h(std::size_t rule) const {
  const auto& flock = rules_->rules[rule].flock;
  if (!flock) return std::nullopt;
  return hours_of(wall() - rules_->flocks[*flock].placed);
}

bool Engine::in_bounds(const WatchedRule& rule) const {
  const bool work = now_ < work_until_[rule.house];
  if (work && !rule.even_during_work) return false;
  if (!rule.flock) return true;
  const Flock& flock = rules_->flocks[*rule.flock];
  const Instant time = wall();
  if (rule.from && time < flock.placed + *rule.from) return false;
  if (rule.until && time >= flock.placed + *rule.until) return false;
  if (flock.cleared && time >= *flock.cleared) return false;
  if (flock.unloading && !rule.even_during_work && flock.unloading->first <= time && time < flock.unloading->second) {
    return false;
  }
  return true;
}

Instant Engine::counting_begin(std::size_t index) {
  Compiled& compiled = compiled_[index];
  if (compiled.firsts_seen != first_readings_) {
    compiled.firsts_seen = first_readings_;
    compiled.windows_ready = Instant(Duration::min());  // a late first reading counts with its own time
    const auto& own = rules_->rules[index].flock;
    const Flock* flock = own ? &rules_->flocks[*own] : nullptr;
    for (const auto& probes : compiled.by_measure) {
      Instant first = kNever;
      for (const std::size_t probe : probes) {
        if (board_.series[probe].ever_good() && counts(flock, probe, wall())) first = std::min(first, board_.series[probe].first_good());
      }
      if (first != kNever) compiled.windows_ready = std::max(compiled.windows_ready, first + compiled.span_max);
    }
  }
  const Instant in_force = states_[index].in_force ? states_[index].in_force_since : now_;
  // The gap of an outage leaves a window unsettled for at most the window's own length, and not at all once
  // the gap is less than half of it.
  const Instant settled = outage_ == Duration::zero() ? resumed_at_ : resumed_at_ + std::min(compiled.span_max, 2 * outage_);
  return std::max({in_force, compiled.windows_ready, settled});
}

Sight Engine::look(std::size_t index) {
  const WatchedRule& rule = rules_->rules[index];
  const Compiled& compiled = compiled_[index];
  Sight sight;
  sight.now = now_;
  sight.in_force = in_bounds(rule) && (!compiled.only_if || run(*compiled.only_if, index) != 0.0);
  if (compiled.watch) sight.value = run(*compiled.watch, index);
  for (const auto& limit : compiled.limits) sight.limits.push_back(run(*limit, index));
  sight.counting_begin = counting_begin(index);
  return sight;
}

void Engine::note_bounds(std::size_t index) {
  Compiled& compiled = compiled_[index];
  const WatchedRule& rule = rules_->rules[index];
  compiled.bounds_known = true;
  compiled.firsts_seen = 0;  // other probes may count from here on
  compiled.in_bounds = in_bounds(rule);
  compiled.next_bound = kNever;
  const auto next = std::upper_bound(compiled.bounds.begin(), compiled.bounds.end(), wall());
  if (next != compiled.bounds.end()) compiled.next_bound = *next - wall_ahead_;
  const Instant work_end = work_until_[rule.house];
  if (!rule.even_during_work && work_end > now_) compiled.next_bound = std::min(compiled.next_bound, work_end);
}

void Engine::forget_bounds() {
  forget_outlook();
  for (Compiled& compiled : compiled_) compiled.bounds_known = false;
}

/// Works out what the rule sees now, all but the beginning of counting.
void Engine::see(std::size_t index, Occasion occasion) {
  const WatchedRule& rule = rules_->rules[index];
  Compiled& compiled = compiled_[index];
  const bool standing = !states_[index].calm && states_[index].standing();
  if (!compiled.bounds_known || now_ >= compiled.next_bound) note_bounds(index);
  sight_.now = now_;
  sight_.occasion = occasion;
  sight_.in_force = compiled.in_bounds && (!compiled.only_if || run(*compiled.only_if, index) != 0.0);
  sight_.value = kUnknown;
  if (compiled.watch && (sight_.in_force || rule.ahead || standing)) sight_.value = run(*compiled.watch, index);
  sight_.limits.clear();
  for (const auto& limit : compiled.limits) sight_.limits.push_back(sight_.in_force || standing ? run(*limit, index) : kUnknown);
}

void Engine::evaluate(std::size_t index, Occasion occasion) {
  see(index, occasion);
  const WatchedRule& rule = rules_->rules[index];
  RuleState& state = states_[index];
  if (rule.ahead && occasion == Occasion::minute) state.keep_minute(sight_.value);
  const bool calm = state.stays_calm(rule, sight_);
  // What falls due by a calm rule does not move with readings.
  if (calm && occasion == Occasion::reading) return;
  if (!calm) {
    sight_.counting_begin = counting_begin(index);
    found_.clear();
    state.step(rule, sight_, judgement_, found_);
    for (Event& event : found_) {
      event.house = rule.house;
      event.rule = index;
      event.probe = rule.probe;
      event.age_h = age_h(index);
      unsettle(index);
      events_.push_back(event);
    }
  }
  schedule(rules_->probes.size() + index, due_of(rules_->probes.size() + index));
}

void Engine::evaluate_all(Occasion occasion) {
  for (std::size_t rule = 0; rule < rules_->rules.size(); ++rule) evaluate(rule, occasion);
}

Instant Engine::due_of(std::size_t id) {
  if (id < board_.series.size()) {
    const Series& series = board_.series[id];
    return series.ever_good() && series.stale_at() >= now_ ? series.stale_at() : kNever;
  }
  const std::size_t rule = id - board_.series.size();
  const Instant due = states_[rule].next_due(rules_->rules[rule], counting_begin(rule));
  return std::min(due, compiled_[rule].next_bound);
}

void Engine::schedule(std::size_t id, Instant time) {
  // A later time needs no entry of its own: the earlier one looks again when it comes up.
  if (time == kNever || (scheduled_[id] != kNever && scheduled_[id] <= time)) return;
  if (scheduled_[id] != kNever) due_.erase({scheduled_[id], id});
  scheduled_[id] = time;
  due_.emplace(time, id);
}

Instant Engine::next_due() {
  while (!due_.empty()) {
    const auto [time, id] = *due_.begin();
    const Instant actual = due_of(id);
    if (actual <= time) break;
    due_.erase(due_.begin());
    scheduled_[id] = kNever;
    schedule(id, actual);
  }
  return quiet_until();
}

void Engine::work_off_next() {
  const Instant time = next_due();
  concerned_.clear();
  const bool minute = time == next_minute_;
  while (next_due() == time && !due_.empty() && due_.begin()->first == time) {
    const std::size_t id = due_.begin()->second;
    due_.erase(due_.begin());
    scheduled_[id] = kNever;
    if (id < board_.series.size()) {
      forget_outlook_of(id);
      concerned_.insert(concerned_.end(), probes_[id].dependents.begin(), probes_[id].dependents.end());
    } else {
      concerned_.push_back(id - board_.series.size());
    }
  }
  now_ = std::max(now_, time);
  ++version_;
  if (minute) {
    next_minute_ += std::chrono::minutes(1);
    for (HouseState& house : houses_) work_off_minute(house, time);
    return;
  }
  std::sort(concerned_.begin(), concerned_.end());
  concerned_.erase(std::unique(concerned_.begin(), concerned_.end()), concerned_.end());
  for (const std::size_t rule : concerned_) evaluate(rule, Occasion::due);
}

void Engine::work_off_minute(HouseState& house, Instant minute) {
  for (const std::size_t probe : house.trending) board_.series[probe].work_off_minute(minute, slope_scratch_);
  board_.work_off_minute(std::span(board_.shares).subspan(house.shares_begin, house.shares_end - house.shares_begin), minute, wall_ahead_);
  if (minute >= house.outlook.until || house.judged_since >= house.rules_end - house.rules_begin) return look_out_anew(house, minute);
  for (std::size_t rule = house.rules_begin; rule < house.rules_end; ++rule) {
    if (!settled_[rule]) evaluate(rule, Occasion::minute);
  }
}

/// The outlook counted on each probe to go on; what goes stale at this very moment does so before its readings are judged.
void Engine::note_silence(Instant time) {
  for (auto entry = due_.begin(); entry != due_.end() && entry->first <= time; ++entry) {
    const std::size_t id = entry->second;
    if (id < board_.series.size() && due_of(id) <= time) forget_outlook_of(id);
  }
}

double Engine::latest(std::size_t rule) {
  RuleState& state = states_[rule];
  if (begun_ && state.calm && settled_[rule] && compiled_[rule].watch) {
    const double value = run(*compiled_[rule].watch, rule);
    if (known(value)) state.last_value = value;
  }
  return state.last_value;
}

void Engine::advance(Instant now) {
  if (!begun_) return begin(now);
  while (quiet_until() < now && next_due() < now) work_off_next();
  now_ = std::max(now_, now);
}

void Engine::finish() {
  if (!begun_) return;
  while (next_due() <= now_) work_off_next();
}

void Engine::emit_quality(std::size_t probe, Event::Kind kind, QualityTest test, double value) {
  Event event;
  event.time = now_;
  event.kind = kind;
  event.house = rules_->probes[probe].house;
  event.probe = probe;
  event.test = test;
  event.value = value;
  events_.push_back(event);
}

void Engine::note_quality(std::size_t probe, const Series::Taken& taken, double value) {
  const bool flat = board_.series[probe].flat();
  // Of a probe that does not count yet nobody wants to hear; its first reading after that tells.
  const QualityTest failed = waits(probe, wall())                ? QualityTest::none
                             : taken.failed != QualityTest::none ? taken.failed
                             : flat                              ? QualityTest::flat_line
                                                                 : QualityTest::none;
  if (taken.ran_back) emit_quality(probe, Event::Kind::ran_back, QualityTest::none, value);
  if (failed == gate(probe).failing) return;
  gate(probe).failing = failed;
  emit_quality(probe, failed == QualityTest::none ? Event::Kind::accepted : Event::Kind::rejected, failed, value);
}

void Engine::note_neighbours(std::size_t probe, double value) {
  Series::Gate& state = gate(probe);
  if (!state.suspect && state.near.holds(value)) return;
  const std::vector<std::size_t>& siblings = probes_[probe].siblings;
  if (siblings.empty()) return;
  const double max_apart = *rules_->probes[probe].quality.max_apart;
  held_.clear();
  std::size_t near = 0;
  for (const std::size_t sibling : siblings) {
    const double held = board_.series[sibling].held(now_);
    if (!known(held) || waits(sibling, wall())) continue;
    held_.push_back(held);
    near += std::abs(value - held) <= max_apart;
  }
  // With more than half of them near, so is their median, and mostly that is the case.
  const bool apart = !waits(probe, wall()) && !held_.empty() && near <= held_.size() / 2 && below(max_apart, std::abs(value - median_of(held_)));
  if (apart == state.suspect) return;
  state.suspect = apart;
  emit_quality(probe, apart ? Event::Kind::suspect : Event::Kind::accepted, QualityTest::neighbour, value);
}

void Engine::take(std::size_t probe, Instant time, double value) {
  if (!begun_) begin(time);
  if (time > now_) advance(time);
  if (!due_.empty() && due_.begin()->first <= now_) note_silence(now_);
  Series& series = board_.series[probe];
  HouseState& house = houses_[series.gate.house];
  const bool expected = time >= house.outlook.now && series.gate.expected.holds(value);
  const Series::Taken taken = series.take(time, value, now_);
  if (!taken.newer) return;
  if (!expected) forget_outlook_of(probe);
  if (taken.first_good) ++first_readings_;
  ++version_;
  // Nothing is wrong with most readings, and was not with those before.
  if (taken.failed != QualityTest::none || taken.ran_back || series.gate.failing != QualityTest::none || series.flat()) {
    note_quality(probe, taken, value);
  }
  if (taken.failed == QualityTest::none) {
    note_neighbours(probe, value);
    // It goes stale later than it would have before: what is scheduled looks again when it comes up.
    if (scheduled_[probe] == kNever) schedule(probe, due_of(probe));
  }
  if (!series.gate.awake) return;
  for (const std::size_t rule : probes_[probe].dependents) {
    if (settled_[rule]) continue;
    evaluate(rule, Occasion::reading);
    ++house.judged_since;
  }
  if (house.judged_since > kLookAgainAfter * (house.rules_end - house.rules_begin)) look_out(house);
}

void Engine::set_wall(Duration wall_ahead) {
  wall_ahead_ = wall_ahead;
  forget_bounds();
  if (!begun_) return;
  ++version_;
  evaluate_all(Occasion::due);
}

void Engine::set_work(std::size_t house, Instant until) {
  work_until_[house] = until;
  forget_bounds();
  if (!begun_) return;
  for (std::size_t rule = 0; rule < rules_->rules.size(); ++rule) {
    if (rules_->rules[rule].house == house && !rules_->rules[rule].even_during_work) evaluate(rule, Occasion::due);
  }
}

}  // namespace underwing
