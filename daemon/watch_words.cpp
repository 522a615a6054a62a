// Watch: the words that people are told.
#include <fmt/format.h>

#include <algorithm>
#include <cctype>
#include <cmath>

#include "daemon/duty.hpp"
#include "daemon/watch.hpp"
#include "daemon/words.hpp"
#include "rules/engine/theil_sen.hpp"
#include "rules/languages/texts.hpp"

namespace underwing {

namespace {

using namespace std::chrono_literals;

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

/// As with_unit() has it, but for the unit, which stands in the same text already.
std::string number_shown(double canonical, const Unit& unit) {
  const std::string text = with_unit(canonical, unit);
  return text.substr(0, text.find(' '));
}

std::string action_when_blind(const Language& language, Priority priority) {
  return say(language, priority == Priority::urgent ? TextKey("go_look") : TextKey("look"));
}

std::string house_or_farm(const Alarm& alarm, const Language& language) {
  return alarm.house.empty() ? say(language, "farm") : house_in_short(alarm.house);
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

const Language& Watch::language_of(const std::string& who) const {
  const Person* person = find_person(rules_->farm, who);
  return rules_->language(person == nullptr || person->language.empty() ? rules_->farm.language : person->language);
}

Said Watch::said_now(const Saying& saying) const {
  Said said;
  for (const auto& [name, language] : rules_->languages) said.emplace(name, saying.in(*language));
  return said;
}

std::string Watch::head(const Alarm& alarm, const Language& language) {
  if (is_drill(alarm)) return said_in(alarm.detail, alarm.details, language);
  const std::string house = house_or_farm(alarm, language);
  const auto rule = rule_of(alarm);
  if (alarm.subject == Alarm::Subject::blindness && alarm.house.empty()) {
    std::string houses;
    for (auto it = alarm.members.begin(); it != alarm.members.end(); ++it) {
      const std::string name = house_in_short(it->substr(0, it->find('/')));
      if (houses.find(name) == std::string::npos) houses += (houses.empty() ? "" : ", ") + name;
    }
    return say(language, "cannot_see_down", {{"house", houses.empty() ? house : houses}, {"plugin", alarm.rule}});
  }
  if (alarm.subject == Alarm::Subject::blindness) {
    std::string what = say(language, "the_house");
    if (rule && silent_as_a_whole(rules_->rules[*rule].house)) {
      what = say(language, "anything");
    } else if (rule && !engine_->probes_of(*rule).empty()) {
      what = measure_in_words(language, rules_->probes[engine_->probes_of(*rule).front()].quality.name);
    }
    return say(language, "cannot_see_what", {{"house", house}, {"what", what}});
  }
  if (!rule) {
    const std::string& detail = said_in(alarm.detail, alarm.details, language);
    return house + " " + trouble_in_words(language, alarm.rule) + (detail.empty() ? "" : ": " + detail);
  }
  const WatchedRule& watched = rules_->rules[*rule];
  // While it stands, people hear the value of now, not that of the raising.
  const double latest = engine_->state(*rule).last_value;
  const std::optional<double> value = watched.watch && alarm.life.condition() && known(latest) ? std::optional(latest) : alarm.value;
  const std::string reading = value ? " " + to_gsm(with_unit(*value, shown(watched.unit))) : "";
  const std::string again = alarm.again ? " " + say(language, "again") : "";
  const std::string what = to_gsm(what_is_wrong(watched, *rules_, alarm.reason, language));
  const std::size_t taken = std::min(kLockedScreen, house.size() + 1 + gsm_length(again) + gsm_length(reading));
  std::string text = house + " " + std::string(words_within(what, kLockedScreen - taken)) + again + reading;
  if (!alarm.probe.empty()) text += " " + say(language, "at_probe", {{"probe", alarm.probe}});
  return text;
}

/// How fast it gets worse, as a clock time: when air reaches the limit that harms birds where that is known and within
/// the hour, else where the value will be in some 20 minutes: "Falling since 01:45, 26 C by 02:40." Empty where the trend
/// is not known, or does not lead further out.
std::string Watch::trend_text(const Alarm& alarm, std::size_t index, const Language& language) {
  if (const std::string harmed = harm_text(alarm, index, language); !harmed.empty()) return harmed;
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
    return say(language, falling ? TextKey("falling_below") : TextKey("rising_above"),
               {{"value", with_unit(*alarm.limit, shown(rule.limits[*worst].unit))}, {"time", clock_time(zone, wall() + in_minutes(left))}});
  }
  const Instant then = std::chrono::ceil<std::chrono::minutes>(wall() + kTrendAhead);
  const Instant by = then + (kTrendGrid - then.time_since_epoch() % kTrendGrid) % kTrendGrid;
  const Unit unit = shown(rule.unit);
  double reached = unit.from_canonical(state.last_value + per_min * hours_of(by - wall()) * 60.0);
  if (std::fabs(reached) >= 10) reached = std::round(reached);
  const double now_shown = unit.from_canonical(state.last_value);
  if (std::fabs(reached - now_shown) < kTrendNoticed) return "";
  // Since its last peak, where that is not further back than what is kept.
  const std::size_t kept = minutes.size();
  std::size_t peak = kept - 1;
  for (std::size_t i = kept; i-- > 0;) {
    if (known(minutes[i]) && (falling ? minutes[i] > minutes[peak] : minutes[i] < minutes[peak])) peak = i;
  }
  const bool onset_seen = peak > 0 && kept - peak > kTrendPointsMin;
  Slots slots{{"value", with_unit(unit.to_canonical(reached), unit)}, {"time", clock_time(zone, by)}};
  if (!onset_seen) return say(language, falling ? TextKey("falling") : TextKey("rising"), slots);
  slots.emplace_back("since", clock_time(zone, minute_due_ + engine_->wall_ahead() - std::chrono::minutes(kept - peak)));
  return say(language, falling ? TextKey("falling_since") : TextKey("rising_since"), slots);
}

std::string Watch::alarm_text(const Alarm& alarm, const Language& language) {
  AlarmWords words;
  words.head = head(alarm, language);
  words.replies = say(language, "reply_or_pass", {{"code", alarm.code}});
  const auto rule = rule_of(alarm);
  if (!rule) {
    if (alarm.subject == Alarm::Subject::blindness) {
      const auto plugin = plugins_.find(alarm.rule);
      if (plugin != plugins_.end() && !plugin->second.text.empty()) words.expected = ": " + plugin->second.text;
      words.action = action_when_blind(language, alarm.priority);
      return to_text(words);
    }
    words.replies = say(language, "reply", {{"code", alarm.code}});
    return to_text(words);
  }
  const WatchedRule& watched = rules_->rules[*rule];
  std::string day;
  if (watched.flock) day = " (" + day_of(rules_->flocks[*watched.flock], rules_->farm.zone, wall(), language) + ")";
  if (alarm.subject == Alarm::Subject::blindness) {
    std::string silent;
    if (silent_as_a_whole(watched.house)) silent = say(language, "all_probes");
    else for (const std::size_t probe : engine_->probes_of(*rule)) {
      if (engine_->series(probe).usable(now_) || rules_->waits_for(probe, wall())) continue;
      silent += (silent.empty() ? "" : ", ") + rules_->probes[probe].name;
    }
    words.expected = silent.empty() ? "" : ": " + say(language, "silent", {{"probes", silent}});
    for (const auto& [name, plugin] : plugins_) {
      if (!plugin.up) words.expected += "; " + say(language, "is_down", {{"plugin", name}});
    }
    words.action = action_when_blind(language, alarm.priority);
    return to_text(words);
  }
  const RuleState& state = engine_->state(*rule);
  const auto worst = state.worst(watched.staged);
  const Limit& limit = watched.limits[worst.value_or(0)];
  if (const auto target = watched.flock ? wanted(watched, limit, *engine_->age_h(*rule)) : std::nullopt) {
    words.expected = ", " + say(language, "wants", {{"value", number_shown(*target, shown(limit.unit))}});
  } else if (alarm.limit) {
    words.expected = ", " + say(language, "limit", {{"value", with_unit(*alarm.limit, shown(limit.unit))}});
  }
  words.trend = trend_text(alarm, *rule, language);
  if (alarm.reason == Reason::ahead && words.trend.empty()) words.expected += ", " + say(language, "heading");
  words.expected += day;
  if (const Alarm* cause = cause_of(alarm, false)) {
    const auto its_rule = rule_of(*cause);
    const std::string what = its_rule ? what_is_wrong(rules_->rules[*its_rule], *rules_, cause->reason, language) : cause->rule;
    words.cause = say(language, "since", {{"what", what}, {"time", clock_time(rules_->farm.zone, cause->raised + engine_->wall_ahead())}}) + ".";
  }
  if (const std::string& action = action_in(watched, language); !action.empty()) {
    words.action = say(language, alarm.priority == Priority::urgent ? TextKey("go_now") : TextKey("today"), {{"do", action}});
    if (std::string_view(".!?").find(words.action.back()) == std::string_view::npos) words.action += '.';
  }
  return to_text(words);
}

std::string Watch::back_text(const Alarm& alarm, Reason reason, const Language& language) {
  Slots slots{{"from", clock_time(rules_->farm.zone, alarm.raised + engine_->wall_ahead())}, {"time", clock_time(rules_->farm.zone, wall())},
              {"house", house_or_farm(alarm, language)}};
  const auto slot = [&](const char* name, const std::string& value) { slots.emplace_back(name, value); };
  if (alarm.subject == Alarm::Subject::blindness && reason == Reason::not_watched) return say(language, "blind_gone", slots);
  if (alarm.subject == Alarm::Subject::blindness && alarm.house.empty()) {
    slot("plugin", alarm.rule);
    return say(language, "plugin_sees", slots);
  }
  if (alarm.subject == Alarm::Subject::blindness) return say(language, "house_sees", slots);
  if (alarm.subject == Alarm::Subject::built_in) {
    // One that is over is named; what was the matter then would read as if it still were.
    slot("trouble", alarm.rule == "rules-refused" ? trouble_in_words(language, alarm.rule) : said_in(alarm.detail, alarm.details, language));
    return say(language, "trouble_over", slots);
  }
  const auto rule = rule_of(alarm);
  if (!rule) {
    slot("code", alarm.code);
    return say(language, "rule_gone", slots);
  }
  const bool valued = known(engine_->state(*rule).last_value) && rules_->rules[*rule].watch;
  if (valued) slot("value", with_unit(engine_->state(*rule).last_value, shown(rules_->rules[*rule].unit)));
  const auto name = [&](const Alarm& named, std::size_t its_rule) { slot("what", what_is_wrong(rules_->rules[its_rule], *rules_, named.reason, language)); };
  if (reason == Reason::not_watched) {
    name(alarm, *rule);
    return say(language, valued ? TextKey("not_watched_last") : TextKey("not_watched"), slots);
  }
  // Good news about the lesser limit is none while the same thing stands by another rule.
  const auto still = std::find_if(alarms_.begin(), alarms_.end(), [&](const auto& entry) {
    const Alarm& other = entry.second;
    const auto its_rule = other.id != alarm.id && other.subject == Alarm::Subject::condition && other.life.condition() && other.house == alarm.house
                              ? rule_of(other) : std::nullopt;
    return its_rule && same_trouble(rules_->rules[*rule], alarm.reason, rules_->rules[*its_rule], other.reason, *rules_);
  });
  if (still != alarms_.end()) {
    name(still->second, *rule_of(still->second));
    slot("code", still->second.code);
    return say(language, valued ? TextKey("better_value") : TextKey("better"), slots);
  }
  name(alarm, *rule);
  const std::string text = say(language, valued ? TextKey("back_value") : TextKey("back"), slots);
  return alarm.life.stands() ? text + " " + say(language, "stays_listed") : text;
}

}  // namespace underwing
