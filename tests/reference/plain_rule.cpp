#include "tests/reference/plain_rule.hpp"

#include <algorithm>

namespace underwing::reference {
namespace {

using Logic = std::optional<bool>;
using Side = Limit::Side;
using std::chrono::minutes;

constexpr Duration kSeesAfter = minutes(2);
constexpr Duration kLookBack = minutes(60);
constexpr Duration kOften = minutes(30);

Logic either(Logic left, Logic right) {
  if ((left && *left) || (right && *right)) return true;
  if (!left || !right) return std::nullopt;
  return false;
}

Logic both(Logic left, Logic right) {
  if ((left && !*left) || (right && !*right)) return false;
  if (!left || !right) return std::nullopt;
  return true;
}

Logic opposite(Logic it) {
  if (!it) return std::nullopt;
  return !*it;
}

Logic any(const std::vector<Logic>& all) {
  Logic found = false;
  for (const Logic& it : all) found = either(found, it);
  return found;
}

/// Follows a condition that unknown does not stop: `since` is when it began to hold.
void follow_kept(Logic holds, Instant now, std::optional<Instant>& since) {
  if (!holds) return;
  if (!*holds) {
    since.reset();
  } else if (!since) {
    since = now;
  }
}

/// Follows a condition that unknown breaks.
void follow_strict(Logic holds, Instant now, std::optional<Instant>& since) {
  if (!holds || !*holds) {
    since.reset();
  } else if (!since) {
    since = now;
  }
}

bool ended(const std::optional<Instant>& since, Duration delay, Instant now, Occasion occasion) {
  if (!since) return false;
  if (delay == Duration::zero()) return true;
  return occasion.worked_off && now - *since >= delay;
}

}  // namespace

PlainRule::PlainRule(const RuleSet& rules, const WatchedRule& rule)
    : rules_(rules), rule_(rule), limits_(rule.limits.size()) {}

void PlainRule::evaluate(const Known& known, Occasion occasion, std::vector<ReferenceEvent>& events) {
  View view = look(known);
  if (occasion.whole_minute) minutes_.push_back({known.now, view.value});
  judge_in_sight(view);
  follow_limits(known.now, occasion, view, events);
  follow_blindness(known, occasion, view, events);
}

bool PlainRule::in_force(const Known& known, const PlainEvaluator& evaluator) const {
  if (rule_.flock) {
    const Flock& flock = rules_.flocks[*rule_.flock];
    const Duration age = known.now - flock.placed;
    if (rule_.from && age < *rule_.from) return false;
    if (rule_.until && age >= *rule_.until) return false;
    if (flock.cleared && known.now >= *flock.cleared) return false;
    const auto& unloading = flock.unloading;
    const bool at_work = unloading && known.now >= unloading->first && known.now < unloading->second;
    if (at_work && !rule_.even_during_work) return false;
  }
  if (known.now < known.work_until[rule_.house] && !rule_.even_during_work) return false;
  return !rule_.only_if || evaluator.logic(*rule_.only_if) != Logic(false);
}

PlainRule::View PlainRule::look(const Known& known) const {
  const PlainEvaluator evaluator(known, rule_);
  View view;
  view.in_force = in_force(known, evaluator);
  if (rule_.watch) view.value = evaluator.number(*rule_.watch);
  view.in_sight.assign(limits_.size(), false);
  judge_limits(evaluator, view);
  return view;
}

void PlainRule::judge_limits(const PlainEvaluator& evaluator, View& view) const {
  for (const Limit& limit : rule_.limits) {
    Logic broken;
    Logic back;
    std::optional<double> at;
    if (limit.side == Side::when) {
      broken = evaluator.logic(*limit.expression);
      back = opposite(broken);
    } else {
      at = evaluator.number(*limit.expression);
      if (view.value && at) {
        const bool low = limit.side == Side::low;
        broken = low ? below(*view.value, *at) : below(*at, *view.value);
        back = low ? !below(*view.value, *at + rule_.deadband) : !below(*at - rule_.deadband, *view.value);
      }
    }
    view.limits.push_back(at);
    view.broken.push_back(view.in_force ? broken : Logic(false));
    view.back.push_back(view.in_force ? back : Logic(true));
  }
}

void PlainRule::judge_in_sight(View& view) const {
  if (!rule_.ahead || !view.in_force || any(view.broken) == Logic(true)) return;
  std::vector<Point> points;
  for (std::size_t i = minutes_.size() > 16 ? minutes_.size() - 16 : 0; i < minutes_.size(); ++i) {
    if (minutes_[i].value) points.push_back({minutes_[i].time, *minutes_[i].value});
  }
  for (std::size_t i = 0; i < limits_.size(); ++i) {
    view.in_sight[i].reset();
    if (!view.value || !view.limits[i] || points.size() < 8) continue;
    const double then = *view.value + median_slope(points) * hours_of(*rule_.ahead);
    const bool low = rule_.limits[i].side == Side::low;
    view.in_sight[i] = low ? below(then, *view.limits[i]) : below(*view.limits[i], then);
  }
}

void PlainRule::follow_limits(Instant now, Occasion occasion, const View& view,
                              std::vector<ReferenceEvent>& events) {
  const auto standing = worst_active();
  std::optional<std::size_t> news;  // the worst limit that begins, or turns from in sight to broken
  for (std::size_t i = 0; i < limits_.size(); ++i) {
    LimitMemory& limit = limits_[i];
    follow_kept(either(view.broken[i], view.in_sight[i]), now, limit.met_since);
    follow_kept(view.broken[i], now, limit.broken_since);
    const bool begins = !limit.active && ended(limit.met_since, rule_.on_delay, now, occasion);
    const bool confirmed = (begins || limit.active) && !limit.confirmed &&
                           ended(limit.broken_since, rule_.on_delay, now, occasion);
    if (begins) {
      limit.active = true;
      limit.back_since.reset();
    }
    if (confirmed) limit.confirmed = true;
    if (begins || confirmed) news = i;
  }
  if (news && !standing) {
    events.push_back(limit_event(now, "raised", *news, view));
  } else if (news && (!rule_.staged || *news >= *standing)) {
    events.push_back(limit_event(now, "worsened", *news, view));
  }

  const auto worst_before = worst_active();
  std::vector<std::size_t> endings;
  for (std::size_t i = 0; i < limits_.size(); ++i) {
    if (!limits_[i].active) continue;
    const Logic back = both(view.back[i], opposite(any(view.in_sight)));
    follow_strict(back, now, limits_[i].back_since);
    if (ended(limits_[i].back_since, rule_.off_delay, now, occasion)) endings.push_back(i);
  }
  if (endings.empty()) return;
  for (const std::size_t i : endings) limits_[i] = LimitMemory{};
  const auto worst_after = worst_active();
  if (!worst_after) {
    ReferenceEvent returned = limit_event(now, "returned", endings.back(), view);
    returned.reason = view.in_force ? "" : "not watched";
    events.push_back(std::move(returned));
  } else if (rule_.staged && *worst_after < *worst_before) {
    events.push_back(limit_event(now, "eased", *worst_after, view));
  }
}

void PlainRule::follow_blindness(const Known& known, Occasion occasion, const View& view,
                                 std::vector<ReferenceEvent>& events) {
  const Instant now = known.now;
  if (!view.in_force) {
    if (blind_) events.push_back(event(now, "sees"));
    blind_ = false;
    often_unknown_ = false;
    in_force_since_.reset();
    known_since_.reset();
    unknown_.clear();
    return;
  }
  if (!in_force_since_) in_force_since_ = now;
  const bool unknown = !any(view.broken).has_value();
  remember_unknown(now, unknown);
  if (occasion.whole_minute) often_unknown_ = often_unknown(known);

  if (!blind_) {
    bool long_enough = false;
    if (unknown) {
      const Instant begin = std::max(unknown_.back().begin, counting_start(known));
      const bool may_end = occasion.worked_off || rule_.blind_after == Duration::zero();
      long_enough = begin <= now && now - begin >= rule_.blind_after && may_end;
    }
    if (long_enough || (occasion.whole_minute && often_unknown_)) {
      blind_ = true;
      events.push_back(event(now, "blind"));
    }
  } else if (!unknown && occasion.worked_off && now - *known_since_ >= kSeesAfter && !often_unknown_) {
    blind_ = false;
    events.push_back(event(now, "sees"));
  }
}

void PlainRule::remember_unknown(Instant now, bool unknown) {
  const bool open = !unknown_.empty() && !unknown_.back().end;
  if (unknown) {
    known_since_.reset();
    if (!open) unknown_.push_back({now, std::nullopt});
  } else {
    if (!known_since_) known_since_ = now;
    if (open) unknown_.back().end = now;
  }
}

Instant PlainRule::counting_start(const Known& known) const {
  Duration longest{0};
  for (const Expression* part : all_parts(rule_)) {
    if (part->kind == Expression::Kind::window) longest = std::max(longest, part->span);
  }
  Instant start = *in_force_since_;
  for (const std::size_t measure : measures_needed(rules_, rule_)) {
    std::optional<Instant> first;
    for (const std::size_t probe : probes_needed(rules_, rule_)) {
      if (rules_.probes[probe].measure != measure) continue;
      if (rule_.flock && !old_enough(rules_.flocks[*rule_.flock], probe, known.now)) continue;
      const auto heard = known.series[probe].first_good();
      if (heard && (!first || *heard < *first)) first = heard;
    }
    if (first) start = std::max(start, *first + longest);
  }
  return start;
}

bool PlainRule::often_unknown(const Known& known) const {
  Duration sum{0};
  const Instant start = counting_start(known);
  for (const Span& span : unknown_) {
    const Instant end = span.end.value_or(known.now);
    const Instant begin = std::max(span.begin, start);
    if (begin >= end || end - begin >= rule_.blind_after) continue;
    const Instant from = std::max(begin, known.now - kLookBack);
    if (from < end) sum += end - from;
  }
  return sum > kOften;
}

std::vector<Instant> PlainRule::dues(const Known& known) const {
  std::vector<Instant> dues;
  for (const LimitMemory& limit : limits_) {
    if (!limit.active && limit.met_since) dues.push_back(*limit.met_since + rule_.on_delay);
    if (!limit.confirmed && limit.broken_since) dues.push_back(*limit.broken_since + rule_.on_delay);
    if (limit.active && limit.back_since) dues.push_back(*limit.back_since + rule_.off_delay);
  }
  if (!blind_ && !unknown_.empty() && !unknown_.back().end) {
    const Instant begin = std::max(unknown_.back().begin, counting_start(known));
    // A late first reading can move the start of counting back: then it is due at once.
    dues.push_back(std::max(begin + rule_.blind_after, known.now));
  }
  if (blind_ && known_since_) dues.push_back(*known_since_ + kSeesAfter);
  if (!rule_.even_during_work) dues.push_back(known.work_until[rule_.house]);
  if (rule_.flock) {
    const Flock& flock = rules_.flocks[*rule_.flock];
    if (rule_.from) dues.push_back(flock.placed + *rule_.from);
    if (rule_.until) dues.push_back(flock.placed + *rule_.until);
    if (flock.cleared) dues.push_back(*flock.cleared);
  }
  return dues;
}

std::optional<std::size_t> PlainRule::worst_active() const {
  std::optional<std::size_t> worst;
  for (std::size_t i = 0; i < limits_.size(); ++i) {
    if (limits_[i].active) worst = i;
  }
  return worst;
}

std::string PlainRule::reason_of(std::size_t limit) const {
  switch (rule_.limits[limit].side) {
    case Side::when:
      return "when";
    case Side::low:
      return limits_[limit].confirmed ? "low" : "ahead";
    case Side::high:
      return limits_[limit].confirmed ? "high" : "ahead";
  }
  return "";
}

ReferenceEvent PlainRule::event(Instant now, const char* what) const {
  ReferenceEvent event;
  event.time = now;
  event.event = what;
  event.house = rules_.houses[rule_.house].name;
  event.rule = rule_.name;
  if (rule_.probe) event.probe = rules_.probes[*rule_.probe].name;
  event.priority = rule_.worst_priority();
  return event;
}

ReferenceEvent PlainRule::limit_event(Instant now, const char* what, std::size_t limit,
                                      const View& view) const {
  ReferenceEvent it = event(now, what);
  it.priority = rule_.limits[limit].priority;
  it.reason = reason_of(limit);
  it.value = view.value;
  it.limit = view.limits[limit];
  return it;
}

}  // namespace underwing::reference
