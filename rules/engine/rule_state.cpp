#include "rules/engine/rule_state.hpp"

#include <algorithm>

#include "rules/engine/theil_sen.hpp"

namespace underwing {

namespace {

constexpr std::size_t kTrendMinutesMin = 8;               // known ones among the last 16
constexpr Duration kSeesAfter = std::chrono::minutes(2);
constexpr Duration kOftenWindow = std::chrono::minutes(60);
constexpr Duration kOftenUnknown = std::chrono::minutes(30);

bool over(Instant since, Duration delay, const Sight& sight) {
  if (since == kNever || sight.now - since < delay) return false;
  return delay == Duration::zero() || sight.occasion != Occasion::reading;
}

/// A yes starts a delay, a no stops it; unknown lets it be.
void track(Instant& since, double logic_value, Instant now) {
  if (logic_value == 1.0) {
    if (since == kNever) since = now;
  } else if (logic_value == 0.0) {
    since = kNever;
  }
}

Reason reason_of(Limit::Side side) {
  switch (side) {
    case Limit::Side::low: return Reason::low;
    case Limit::Side::high: return Reason::high;
    case Limit::Side::when: return Reason::when;
  }
  return Reason::none;
}

std::optional<double> known_or_none(double value) {
  return known(value) ? std::optional(value) : std::nullopt;
}

/// `value` is beyond `limit`.
double broken(Limit::Side side, double value, double limit) {
  switch (side) {
    case Limit::Side::low: return logic::below(value, limit);
    case Limit::Side::high: return logic::below(limit, value);
    case Limit::Side::when: return limit;
  }
  return kUnknown;
}

/// The line of the trend is beyond `limit` at its end.
double crosses(Limit::Side side, double projected, double limit) {
  return side == Limit::Side::low ? logic::below(projected, limit) : logic::below(limit, projected);
}

}  // namespace

bool RuleState::standing() const {
  return std::any_of(limits.begin(), limits.end(), [](const LimitState& limit) { return limit.active; });
}

bool RuleState::coming_back() const {
  return standing() && std::all_of(limits.begin(), limits.end(), [](const LimitState& limit) {
           return !limit.active || limit.back_since != kNever;
         });
}

std::optional<std::size_t> RuleState::worst(bool staged) const {
  std::optional<std::size_t> found;
  for (std::size_t i = 0; i < limits.size(); ++i) {
    if (!limits[i].active) continue;
    if (!found || staged || (limits[i].broken_itself && !limits[*found].broken_itself)) found = i;
  }
  return found;
}

void RuleState::keep_minute(double value) {
  minutes[minutes_count % kMinutesKept] = value;
  ++minutes_count;
  std::array<TrendPoint, kMinutesKept> points;
  std::size_t count = 0;
  const std::size_t kept = std::min(minutes_count, kMinutesKept);
  for (std::size_t i = 0; i < kept; ++i) {
    const double minute_value = minutes[(minutes_count - kept + i) % kMinutesKept];
    if (known(minute_value)) points[count++] = {static_cast<double>(i), minute_value};
  }
  std::vector<double> pairs;
  pairs.reserve(kMinutesKept * kMinutesKept / 2);
  trend_per_min = count < kTrendMinutesMin ? kUnknown : theil_sen_per_minute({points.data(), count}, pairs);
}

double RuleState::project(const WatchedRule& rule, double value) const {
  return value + trend_per_min * hours_of(*rule.ahead) * 60.0;
}

void RuleState::judge(const WatchedRule& rule, const Sight& sight, Judgement& judgement) const {
  const std::size_t count = rule.limits.size();
  judgement.condition = 0;
  judgement.limits.assign(count, Judged());
  if (!sight.in_force) return;
  for (std::size_t i = 0; i < count; ++i) {
    const double limit = sight.limits[i];
    Judged& judged = judgement.limits[i];
    judged.broken = judged.met = broken(rule.limits[i].side, sight.value, limit);
    switch (rule.limits[i].side) {
      case Limit::Side::low:
        judged.back = logic::negate(logic::below(sight.value, limit + rule.deadband));
        break;
      case Limit::Side::high:
        judged.back = logic::negate(logic::below(limit - rule.deadband, sight.value));
        break;
      case Limit::Side::when:
        judged.back = logic::negate(limit);
        break;
    }
    judgement.condition = logic::either(judgement.condition, judged.broken);
  }
  if (!rule.ahead) return;
  double any_in_sight = 0.0;
  const double projected = project(rule, sight.value);
  for (std::size_t i = 0; i < count; ++i) {
    Judged& judged = judgement.limits[i];
    const double in_sight = logic::both(logic::negate(judgement.condition),
                                        crosses(rule.limits[i].side, projected, sight.limits[i]));
    judged.met = logic::either(judged.broken, in_sight);
    any_in_sight = logic::either(any_in_sight, in_sight);
  }
  for (Judged& judged : judgement.limits) judged.back = logic::both(judged.back, logic::negate(any_in_sight));
}

void RuleState::leave_force(const WatchedRule& rule, Instant now, std::vector<Event>& events) {
  in_force = false;
  in_force_since = kNever;
  left_force = standing();
  unknown_since = known_since = kNever;
  unknown_spans.clear();
  often_unknown = false;
  if (!blind) return;
  blind = known_long = false;
  Event event;
  event.time = now;
  event.kind = Event::Kind::sees;
  event.priority = rule.worst_priority();
  events.push_back(event);
}

void RuleState::run_delays(const Sight& sight, const Judgement& judgement) {
  for (std::size_t i = 0; i < limits.size(); ++i) {
    track(limits[i].met_since, judgement.limits[i].met, sight.now);
    track(limits[i].broken_since, judgement.limits[i].broken, sight.now);
    if (limits[i].active && judgement.limits[i].back == 1.0) {
      track(limits[i].back_since, 1.0, sight.now);
    } else {
      limits[i].back_since = kNever;
    }
  }
}

void RuleState::begin_and_end(const WatchedRule& rule, const Sight& sight, const Judgement& judgement,
                              std::vector<Event>& events) {
  const std::optional<std::size_t> worst_before = worst(rule.staged);
  const auto emit = [&](Event::Kind kind, Reason reason, std::size_t limit) {
    Event event;
    event.time = sight.now;
    event.kind = kind;
    event.reason = reason;
    event.priority = rule.limits[limit].priority;
    event.value = known_or_none(sight.value);
    if (rule.limits[limit].side != Limit::Side::when) event.limit = known_or_none(sight.limits[limit]);
    if (reason == Reason::ahead && event.value && event.limit && trend_per_min != 0.0 && known(trend_per_min)) {
      event.minutes_left = std::max(0.0, (*event.limit - *event.value) / trend_per_min);
    }
    events.push_back(event);
  };

  // Beginnings. `fresh` is the worst of the limits that became active, or that were only in sight and are now
  // broken themselves.
  std::optional<std::size_t> fresh;
  for (std::size_t i = 0; i < limits.size(); ++i) {
    LimitState& limit = limits[i];
    const bool itself = over(limit.broken_since, rule.on_delay, sight);
    const bool begins = !limit.active && over(limit.met_since, rule.on_delay, sight);
    const bool deepens = limit.active && !limit.broken_itself && itself;
    if (!begins && !deepens) continue;
    limit.active = true;
    limit.broken_itself = itself;
    if (begins) limit.back_since = judgement.limits[i].back == 1.0 ? sight.now : kNever;
    if (!fresh || rule.staged || (itself && !limits[*fresh].broken_itself)) fresh = i;
  }
  if (fresh) {
    const Reason reason = limits[*fresh].broken_itself ? reason_of(rule.limits[*fresh].side) : Reason::ahead;
    if (!worst_before) emit(Event::Kind::raised, reason, *fresh);
    else if (!rule.staged || *fresh >= *worst_before) emit(Event::Kind::worsened, reason, *fresh);
  }

  // Endings.
  const std::optional<std::size_t> worst_between = worst(rule.staged);
  if (!worst_between) return;
  for (LimitState& limit : limits) {
    if (!limit.active || !over(limit.back_since, rule.off_delay, sight)) continue;
    limit.active = limit.broken_itself = false;
    limit.back_since = kNever;
  }
  const std::optional<std::size_t> worst_after = worst(rule.staged);
  if (!worst_after) {
    const bool unwatched = left_force && !sight.in_force;
    emit(Event::Kind::returned, unwatched ? Reason::not_watched : Reason::none, *worst_between);
    left_force = false;
  } else if (rule.staged && *worst_after < *worst_between) {
    emit(Event::Kind::eased, limits[*worst_after].broken_itself ? reason_of(rule.limits[*worst_after].side) : Reason::ahead,
         *worst_after);
  }
}

bool RuleState::judge_often_unknown(const WatchedRule& rule, const Sight& sight) {
  const Instant hour_ago = sight.now - kOftenWindow;
  std::erase_if(unknown_spans, [&](const auto& span) { return span.second <= hour_ago; });
  Duration sum{0};
  const auto add = [&](Instant begin, Instant end) {
    const Instant counted = std::max(begin, sight.counting_begin);
    if (counted >= end || end - counted >= rule.blind_after) return;
    sum += end - std::max(counted, hour_ago);
  };
  for (const auto& [begin, end] : unknown_spans) add(begin, end);
  if (unknown_since != kNever) add(unknown_since, sight.now);
  return sum > kOftenUnknown;
}

void RuleState::watch_blindness(const WatchedRule& rule, const Sight& sight, double condition,
                                std::vector<Event>& events) {
  if (known(condition)) {
    if (unknown_since != kNever) unknown_spans.emplace_back(unknown_since, sight.now);
    unknown_since = kNever;
    if (known_since == kNever) known_since = sight.now;
  } else {
    known_since = kNever;
    if (unknown_since == kNever) unknown_since = sight.now;
  }
  if (sight.occasion == Occasion::minute) often_unknown = judge_often_unknown(rule, sight);
  known_long = blind && (over(known_since, kSeesAfter, sight) || (known_long && known_since != kNever));
  const auto emit = [&](Event::Kind kind) {
    blind = kind == Event::Kind::blind;
    known_long = false;
    Event event;
    event.time = sight.now;
    event.kind = kind;
    event.priority = rule.worst_priority();
    events.push_back(event);
  };
  if (!blind) {
    const Instant counted = unknown_since == kNever ? kNever : std::max(unknown_since, sight.counting_begin);
    if (often_unknown || over(counted, rule.blind_after, sight)) emit(Event::Kind::blind);
  } else if (!often_unknown && known_long) {
    emit(Event::Kind::sees);
  }
}

void RuleState::step(const WatchedRule& rule, const Sight& sight, Judgement& judgement, std::vector<Event>& events) {
  limits.resize(rule.limits.size());
  if (known(sight.value)) last_value = sight.value;
  std::vector<Event> blindness;
  if (in_force && !sight.in_force) leave_force(rule, sight.now, blindness);
  if (!in_force && sight.in_force) {
    in_force = true;
    in_force_since = sight.now;
    left_force = false;
  }
  judge(rule, sight, judgement);
  run_delays(sight, judgement);
  begin_and_end(rule, sight, judgement, events);
  if (sight.in_force) watch_blindness(rule, sight, judgement.condition, blindness);
  events.insert(events.end(), blindness.begin(), blindness.end());
  calm = is_calm();
}

bool RuleState::nothing_runs() const {
  return std::all_of(limits.begin(), limits.end(), [](const LimitState& limit) {
    return !limit.active && limit.met_since == kNever && limit.broken_since == kNever;
  });
}

bool RuleState::is_calm() const {
  const bool seen = known_since != kNever && !blind && !often_unknown;
  return (seen || !in_force) && nothing_runs();
}

bool RuleState::waits_to_know() const { return in_force && unknown_since != kNever && nothing_runs(); }

bool RuleState::stays_calm(const WatchedRule& rule, const Sight& sight) {
  if (!calm || sight.in_force != in_force) return false;
  if (in_force) {
    if (sight.occasion == Occasion::minute && !unknown_spans.empty()) return false;
    const double projected = rule.ahead ? project(rule, sight.value) : sight.value;
    for (std::size_t i = 0; i < rule.limits.size(); ++i) {
      const Limit::Side side = rule.limits[i].side;
      if (broken(side, sight.value, sight.limits[i]) != 0.0) return false;
      // Where it is unknown whether it crosses, no delay begins.
      if (rule.ahead && crosses(side, projected, sight.limits[i]) == 1.0) return false;
    }
  }
  if (known(sight.value)) last_value = sight.value;
  return true;
}

Instant RuleState::next_due(const WatchedRule& rule, Instant counting_begin) const {
  Instant due = kNever;
  const auto consider = [&](Instant since, Duration delay) {
    if (since != kNever) due = std::min(due, since + delay);
  };
  for (const LimitState& limit : limits) {
    if (!limit.active) consider(limit.met_since, rule.on_delay);
    if (limit.active && !limit.broken_itself) consider(limit.broken_since, rule.on_delay);
    if (limit.active) consider(limit.back_since, rule.off_delay);
  }
  if (!blind && unknown_since != kNever) consider(std::max(unknown_since, counting_begin), rule.blind_after);
  if (blind && !known_long) consider(known_since, kSeesAfter);
  return due;
}

}  // namespace underwing
