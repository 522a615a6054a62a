// Watch: the words that people are told.
#include <fmt/format.h>

#include <algorithm>
#include <cctype>
#include <cmath>

#include "daemon/duty.hpp"
#include "daemon/watch.hpp"
#include "daemon/words.hpp"
#include "rules/engine/theil_sen.hpp"

namespace underwing {

namespace {

using namespace std::chrono_literals;

constexpr std::size_t kLockedScreen = 40;  // characters that a locked telephone shows
constexpr Duration kTrendAhead = 20min;    // about the time that a person needs to get there
constexpr Duration kTrendGrid = 5min;      // clock times as people say them
constexpr std::size_t kTrendPointsMin = 5; // fewer known minutes make no trend
constexpr std::size_t kTrendMinutes = 8;
constexpr std::size_t kTrendStill = 3;     // minutes over which it must still go on
constexpr double kTrendNoticed = 0.5;      // in the unit shown; less is not worth a word

/// The curve that a limit is built on, if it is: people are told what the house should have, not the limit.
std::optional<double> wanted(const WatchedRule& rule, const Limit& limit, double age_h) {
  const Expression* found = nullptr;
  const auto search = [&](const auto& self, const Expression& expression) -> void {
    if (expression.kind == Expression::Kind::curve && !found) found = &expression;
    for (const auto& child : expression.children) self(self, *child);
  };
  search(search, *limit.expression);
  if (!found) return std::nullopt;
  return curve_at(*rule.curves[found->index], age_h);
}

std::string action_when_blind(Priority priority) {
  return priority == Priority::urgent ? "GO NOW: look at the birds, then the probes." : "Look at the probes.";
}

}  // namespace

/// Of the rules that bear the alarm's name, the one that lives; flocks that follow one another in a house have one each.
std::optional<std::size_t> Watch::rule_of(const Alarm& alarm) const {
  if (alarm.subject == Alarm::Subject::built_in) return std::nullopt;
  std::optional<std::size_t> found;
  for (std::size_t i = 0; i < rules_->rules.size(); ++i) {
    const WatchedRule& rule = rules_->rules[i];
    if (rule.name != alarm.rule || rules_->houses[rule.house].name != alarm.house ||
        (rule.probe ? rules_->probes[*rule.probe].name : "") != alarm.probe) {
      continue;
    }
    const RuleState& state = engine_->state(i);
    if (!rule.flock || state.in_force || state.standing() || state.blind) return i;
    if (!found || known(state.last_value)) found = i;
  }
  return found;
}

std::string Watch::head(const Alarm& alarm) {
  if (is_drill(alarm)) return "TEST, a drill: nothing is wrong";
  const std::string house = alarm.house.empty() ? "FARM" : house_in_short(alarm.house);
  const auto rule = rule_of(alarm);
  if (alarm.subject == Alarm::Subject::blindness && alarm.house.empty()) {
    std::string houses;
    for (auto it = alarm.members.begin(); it != alarm.members.end(); ++it) {
      const std::string name = house_in_short(it->substr(0, it->find('/')));
      if (houses.find(name) == std::string::npos) houses += (houses.empty() ? "" : ", ") + name;
    }
    return fmt::format("{} CANNOT SEE: {} is down", houses.empty() ? "FARM" : houses, alarm.rule);
  }
  if (alarm.subject == Alarm::Subject::blindness) {
    std::string what = "the house";
    if (rule && silent_as_a_whole(rules_->rules[*rule].house)) {
      what = "anything";
    } else if (rule && !engine_->probes_of(*rule).empty()) {
      what = measure_in_words(rules_->probes[engine_->probes_of(*rule).front()].quality.name);
    }
    return fmt::format("{} CANNOT SEE {}", house, what);
  }
  if (!rule) {
    std::string what = alarm.rule;
    std::transform(what.begin(), what.end(), what.begin(), [](unsigned char c) { return c == '-' ? ' ' : static_cast<char>(std::toupper(c)); });
    return house + " " + what + (alarm.detail.empty() ? "" : ": " + alarm.detail);
  }
  const WatchedRule& watched = rules_->rules[*rule];
  // While it stands, people hear the value of now, not that of the raising.
  const double latest = engine_->state(*rule).last_value;
  const std::optional<double> value = watched.watch && alarm.life.condition() && known(latest) ? std::optional(latest) : alarm.value;
  const std::string shown = value ? " " + to_gsm(with_unit(*value, watched.unit)) : "";
  const std::string what = " " + what_is_wrong(watched, *rules_, alarm.reason) + (alarm.again ? " AGAIN" : "");
  std::string text = house + cut_to(what, kLockedScreen - std::min(kLockedScreen, house.size() + gsm_length(shown))) + shown;
  if (!alarm.probe.empty()) text += " at " + alarm.probe;
  return text;
}

/// How fast it gets worse, as a clock time: "Falling since 01:45, 26 C by 02:40." Empty where the trend is not known, or
/// does not lead further out.
std::string Watch::trend_text(const Alarm& alarm, std::size_t index) const {
  const WatchedRule& rule = rules_->rules[index];
  const RuleState& state = engine_->state(index);
  const auto worst = state.worst(rule.staged);
  if (!worst || !rule.watch || !known(state.last_value) || index >= recent_.size()) return "";
  const std::deque<double>& minutes = recent_[index];
  std::vector<TrendPoint> points;
  // Of the last minutes alone: a fall that has ended is none.
  for (std::size_t i = minutes.size() - std::min(minutes.size(), kTrendMinutes); i < minutes.size(); ++i) {
    if (known(minutes[i])) points.push_back({static_cast<double>(i), minutes[i]});
  }
  if (points.size() < kTrendPointsMin) return "";
  std::vector<double> pairs;
  const double per_min = theil_sen_per_minute(points, pairs);
  // A step that is over is no trend either.
  const double before = minutes[minutes.size() - std::min(minutes.size(), kTrendStill)];
  if (per_min == 0 || !known(before) || (state.last_value - before) / per_min < kTrendStill / 2.0) return "";
  const bool falling = per_min < 0;
  if (falling != (rule.limits[*worst].side == Limit::Side::low)) return "";
  const Zone& zone = rules_->farm.zone;
  const auto in_minutes = [](double count) { return Duration(std::llround(count * 60'000.0)); };
  if (alarm.reason == Reason::ahead && alarm.limit) {
    const double left = (*alarm.limit - state.last_value) / per_min;
    if (left <= 0 || left > 24 * 60) return "";
    return fmt::format("{}, {} {} by {}.", falling ? "Falling" : "Rising", falling ? "below" : "above", with_unit(*alarm.limit, rule.limits[*worst].unit),
                       clock_time(zone, wall() + in_minutes(left)));
  }
  const Instant then = std::chrono::ceil<std::chrono::minutes>(wall() + kTrendAhead);
  const Instant by = then + (kTrendGrid - then.time_since_epoch() % kTrendGrid) % kTrendGrid;
  double reached = rule.unit.from_canonical(state.last_value + per_min * hours_of(by - wall()) * 60.0);
  if (std::fabs(reached) >= 10) reached = std::round(reached);
  const double now_shown = rule.unit.from_canonical(state.last_value);
  if (std::fabs(reached - now_shown) < kTrendNoticed) return "";
  // Since its last peak, where that is not further back than what is kept.
  const std::size_t kept = minutes.size();
  std::size_t peak = kept - 1;
  for (std::size_t i = kept; i-- > 0;) {
    if (known(minutes[i]) && (falling ? minutes[i] > minutes[peak] : minutes[i] < minutes[peak])) peak = i;
  }
  const bool onset_seen = peak > 0 && kept - peak > kTrendPointsMin;
  const std::string from = onset_seen ? " since " + clock_time(zone, minute_due_ + engine_->wall_ahead() - std::chrono::minutes(kept - peak)) : "";
  return fmt::format("{}{}, {} by {}.", falling ? "Falling" : "Rising", from, with_unit(rule.unit.to_canonical(reached), rule.unit), clock_time(zone, by));
}

std::string Watch::alarm_text(const Alarm& alarm) {
  AlarmWords words;
  words.head = head(alarm);
  words.replies = fmt::format("Reply OK {0}. Cannot go: PASS {0}", alarm.code);
  const auto rule = rule_of(alarm);
  if (!rule) {
    if (alarm.subject == Alarm::Subject::blindness) {
      const auto plugin = plugins_.find(alarm.rule);
      if (plugin != plugins_.end() && !plugin->second.text.empty()) words.expected = ": " + plugin->second.text;
      words.action = action_when_blind(alarm.priority);
      return to_text(words);
    }
    words.replies = fmt::format("Reply OK {}", alarm.code);
    return to_text(words);
  }
  const WatchedRule& watched = rules_->rules[*rule];
  std::string day;
  if (watched.flock) day = " (" + day_of(rules_->flocks[*watched.flock], rules_->farm.zone, wall()) + ")";
  if (alarm.subject == Alarm::Subject::blindness) {
    std::string silent;
    if (silent_as_a_whole(watched.house)) silent = "all its probes";
    else for (const std::size_t probe : engine_->probes_of(*rule)) {
      if (engine_->series(probe).usable(now_)) continue;
      silent += (silent.empty() ? "" : ", ") + rules_->probes[probe].name;
    }
    words.expected = silent.empty() ? "" : ": " + silent + " silent";
    for (const auto& [name, plugin] : plugins_) {
      if (!plugin.up) words.expected += fmt::format("; {} is down", name);
    }
    words.action = action_when_blind(alarm.priority);
    return to_text(words);
  }
  const RuleState& state = engine_->state(*rule);
  const auto worst = state.worst(watched.staged);
  const Limit& limit = watched.limits[worst.value_or(0)];
  if (const auto target = watched.flock ? wanted(watched, limit, *engine_->age_h(*rule)) : std::nullopt) {
    words.expected = fmt::format(", wants {}", with_unit(*target, Unit{"", limit.unit.dimension, false, limit.unit.factor, limit.unit.offset}));
  } else if (alarm.limit) {
    words.expected = fmt::format(", limit {}", with_unit(*alarm.limit, limit.unit));
  }
  words.trend = trend_text(alarm, *rule);
  if (alarm.reason == Reason::ahead && words.trend.empty()) words.expected += ", heading past its limit";
  words.expected += day;
  if (const Alarm* cause = cause_of(alarm, false)) {
    const auto its_rule = rule_of(*cause);
    words.expected += fmt::format(". {} since {}", its_rule ? what_is_wrong(rules_->rules[*its_rule], *rules_, cause->reason) : cause->rule,
                                  clock_time(rules_->farm.zone, cause->raised + engine_->wall_ahead()));
  }
  if (!watched.action.empty()) {
    words.action = (alarm.priority == Priority::urgent ? "GO NOW: " : "TODAY: ") + watched.action;
    if (std::string_view(".!?").find(words.action.back()) == std::string_view::npos) words.action += '.';
  }
  return to_text(words);
}

std::string Watch::back_text(const Alarm& alarm, Reason reason) {
  const std::string from = clock_time(rules_->farm.zone, alarm.raised + engine_->wall_ahead());
  const std::string to = clock_time(rules_->farm.zone, wall());
  const std::string house = alarm.house.empty() ? "FARM" : house_in_short(alarm.house);
  if (alarm.subject == Alarm::Subject::blindness && alarm.house.empty()) {
    return fmt::format("{} is up, the watch sees again since {}. Blind from {}.", alarm.rule, to, from);
  }
  if (alarm.subject == Alarm::Subject::blindness) return fmt::format("{} sees again since {}. Blind from {}.", house, to, from);
  if (alarm.subject == Alarm::Subject::built_in) return fmt::format("{} over at {}: {}.", house, to, alarm.detail);
  const auto rule = rule_of(alarm);
  const std::string what = rule ? what_is_wrong(rules_->rules[*rule], *rules_, alarm.reason) : alarm.rule;
  std::string value;
  if (rule && known(engine_->state(*rule).last_value) && rules_->rules[*rule].watch) {
    value = with_unit(engine_->state(*rule).last_value, rules_->rules[*rule].unit);
  }
  if (reason == Reason::not_watched) {
    return fmt::format("{} {} no longer watched{}.", house, what, value.empty() ? "" : ", last value " + value);
  }
  // Good news about the lesser limit is none while the same thing stands by another rule.
  const auto still = std::find_if(alarms_.begin(), alarms_.end(), [&](const auto& entry) {
    const Alarm& other = entry.second;
    const auto its_rule = other.id != alarm.id && other.subject == Alarm::Subject::condition && other.life.condition() && other.house == alarm.house
                              ? rule_of(other) : std::nullopt;
    return its_rule && what_is_wrong(rules_->rules[*its_rule], *rules_, other.reason) == what;
  });
  if (still != alarms_.end()) {
    return fmt::format("{} better{} at {}, but still {}: {} goes on.", house, value.empty() ? "" : ": " + value, to, what, still->second.code);
  }
  const std::string reset = alarm.life.stands() ? " It stays listed until it is reset on the spot." : "";
  return fmt::format("{} back to normal{} at {}. {} from {}.{}", house, value.empty() ? "" : ": " + value, to, what, from, reset);
}

}  // namespace underwing
