// Watch: what is told later, once, or not at all for a while: followers of a cause, chattering rules, shelving.
#include <fmt/format.h>

#include <algorithm>
#include <nlohmann/json.hpp>

#include "daemon/duty.hpp"
#include "daemon/watch.hpp"
#include "daemon/words.hpp"
#include "rules/languages/texts.hpp"

namespace underwing {

namespace {

using namespace std::chrono_literals;

constexpr Duration kChatterWindow = 60min;
constexpr std::size_t kChatterPairsMax = 3;   // more of them within the window: chattering
constexpr Duration kChatterSettled = 10min;   // a raise that stands this long is told after all
constexpr Duration kShelveMax = 12h;

std::string key_of(const Alarm& alarm) {
  return std::to_string(static_cast<int>(alarm.subject)) + "/" + alarm.house + "/" + alarm.rule + "/" + alarm.probe;
}

}  // namespace

// --- causes -------------------------------------------------------------------------------------------------

bool Watch::watches_itself(const std::string& house, const std::string& rule) const {
  return std::any_of(rules_->rules.begin(), rules_->rules.end(),
                     [&](const WatchedRule& it) { return it.name == rule && rules_->houses[it.house].name == house; });
}

const Alarm* Watch::cause_of(const Alarm& alarm, bool only_told) const {
  const auto rule = rule_of(alarm);
  if (!rule || alarm.subject != Alarm::Subject::condition) return nullptr;
  for (const std::string& name : rules_->rules[*rule].follows) {
    for (const auto& [id, other] : alarms_) {
      if (other.rule != name || other.subject != Alarm::Subject::condition || !other.life.condition()) continue;
      const auto its_rule = rule_of(other);
      // Mains lost at another house is no cause where this house has a probe of its own for that.
      const bool of_the_farm = its_rule && !rules_->rules[*its_rule].flock && !watches_itself(alarm.house, name);
      if (other.house != alarm.house && !of_the_farm) continue;
      const AlarmState state = other.life.state();
      const bool heard = !other.told.empty() && state != AlarmState::shelved && state != AlarmState::suppressed_by_design &&
                         state != AlarmState::out_of_service;
      if (!only_told || (heard && other.priority >= alarm.priority)) return &other;
    }
  }
  return nullptr;
}

/// A house or a plugin that is silent, where people were told that the rules behind it are blind.
bool Watch::told_by_blindness(const Alarm& alarm) {
  if (alarm.subject != Alarm::Subject::built_in || (alarm.rule != "house-silent" && alarm.rule != "plugin-silent")) return false;
  return std::any_of(alarms_.begin(), alarms_.end(), [&](const auto& entry) {
    const Alarm& other = entry.second;
    if (other.subject != Alarm::Subject::blindness || !other.life.condition() || other.told.empty()) return false;
    if (alarm.rule == "plugin-silent") return other.house.empty() && other.rule == alarm.probe;
    return other.house == alarm.house || std::any_of(other.members.begin(), other.members.end(), [&](const std::string& member) {
             return other.house.empty() && member.starts_with(alarm.house + "/");
           });
  });
}

/// True where the alarm is not told now: a named cause was told, or the rule comes and goes.
bool Watch::hold_back(Alarm& alarm) {
  alarm.release_at = kNever;
  alarm.held = false;
  if (!alarm.told.empty()) return false;
  if (alarm.priority != Priority::urgent && cause_of(alarm, true)) {
    const auto& respond_within = rules_->rules[*rule_of(alarm)].respond_within;
    alarm.held = true;
    alarm.life.suppress(true);
    if (respond_within) alarm.release_at = alarm.raised + *respond_within;
    note_alarm(alarm);
    return true;
  }
  if (told_by_blindness(alarm)) {
    alarm.held = true;
    alarm.life.suppress(true);
    note_alarm(alarm);
    return true;
  }
  if (alarm.subject == Alarm::Subject::built_in || !chattering(alarm)) return false;
  alarm.held = true;
  alarm.release_at = alarm.raised + kChatterSettled;
  return true;
}

void Watch::release(Alarm& alarm) {
  alarm.release_at = kNever;
  if (!alarm.held) return;
  alarm.held = false;
  alarm.life.suppress(false);
  note_alarm(alarm);
  start_calling(alarm, Telling::now);
}

/// A cause has ended or is not to be counted on: those that followed it are told after their own `off_delay`.
void Watch::release_followers(const Alarm& cause) {
  for (auto& [id, alarm] : alarms_) {
    if (alarm.life.state() != AlarmState::suppressed_by_design) continue;
    if (alarm.subject == Alarm::Subject::built_in) {  // a minute later, when all has been judged, unless it is over by then
      if (!told_by_blindness(alarm)) alarm.release_at = std::min(alarm.release_at, now_ + 1min);
      continue;
    }
    const auto index = rule_of(alarm);
    if (!index || cause_of(alarm, true)) continue;
    const WatchedRule& rule = rules_->rules[*index];
    if (std::find(rule.follows.begin(), rule.follows.end(), cause.rule) == rule.follows.end()) continue;
    alarm.release_at = std::min(alarm.release_at, now_ + rule.off_delay);
  }
}

// --- chattering ---------------------------------------------------------------------------------------------

void Watch::note_return(const Alarm& alarm) {
  if (alarm.subject != Alarm::Subject::built_in) returns_[key_of(alarm)].emplace_back(now_, alarm.priority);
}

std::size_t Watch::returns_of(const Alarm& alarm) const {
  const auto found = returns_.find(key_of(alarm));
  if (found == returns_.end()) return 0;
  return static_cast<std::size_t>(std::count_if(found->second.begin(), found->second.end(),
                                                [&](const auto& entry) { return now_ - entry.first <= kChatterWindow; }));
}

bool Watch::urgent_again(const Alarm& alarm) const {
  const auto found = returns_.find(key_of(alarm));
  return found != returns_.end() && alarm.priority == Priority::urgent &&
         std::any_of(found->second.begin(), found->second.end(), [&](const auto& entry) {
           return now_ - entry.first <= kChatterWindow && entry.second == Priority::urgent;
         });
}

/// The rule comes and goes: that is told as one alarm of its own.
bool Watch::chattering(const Alarm& alarm) {
  const std::size_t pairs = returns_of(alarm);
  if (pairs <= kChatterPairsMax) return false;
  const auto rule = rule_of(alarm);
  const Priority priority = rule ? rules_->rules[*rule].worst_priority() : alarm.priority;
  const bool blind = alarm.subject == Alarm::Subject::blindness;
  built_in(alarm.house, "chattering", key_of(alarm), true, priority, [&](const Language& language) {
    const std::string what = blind  ? say(language, "seeing")
                             : rule ? what_is_wrong(rules_->rules[*rule], *rules_, alarm.reason, language)
                                    : alarm.rule;
    return say(language, "comes_and_goes", {{"what", what}, {"times", std::to_string(pairs + 1)}});
  });
  return true;
}

void Watch::forget_returns() {
  std::vector<std::pair<std::string, std::string>> calm;  // house and key of chattering alarms that are over
  for (auto it = returns_.begin(); it != returns_.end();) {
    std::erase_if(it->second, [&](const auto& entry) { return now_ - entry.first > kChatterWindow; });
    it = it->second.empty() ? returns_.erase(it) : std::next(it);
  }
  for (const auto& [id, alarm] : alarms_) {
    if (alarm.rule != "chattering" || alarm.subject != Alarm::Subject::built_in || !alarm.life.condition()) continue;
    const auto found = returns_.find(alarm.probe);
    if (found == returns_.end() || found->second.size() <= kChatterPairsMax) calm.emplace_back(alarm.house, alarm.probe);
  }
  for (const auto& [house, key] : calm) built_in(house, "chattering", key, false, Priority::note, "");
}

// --- shelving -----------------------------------------------------------------------------------------------

Watch::Answered Watch::shelve(const std::string& house, const std::string& rule, Duration span, const std::string& why,
                              const std::string& who, EvenUrgent even_urgent, const Language& language) {
  const auto found = std::find_if(rules_->rules.begin(), rules_->rules.end(), [&](const WatchedRule& entry) {
    return entry.name == rule && rules_->houses[entry.house].name == house;
  });
  if (found == rules_->rules.end()) return {false, fmt::format("{} has no rule '{}' that is watched.", house, rule)};
  if (why.empty()) return {false, say(language, "shelve_why")};
  if (span <= Duration::zero()) return {false, say(language, "shelve_span")};
  if (span > kShelveMax) return {false, say(language, "shelve_too_long", {{"span", to_words(span)}})};
  if (found->worst_priority() == Priority::urgent && even_urgent == EvenUrgent::no) {
    return {false, fmt::format("{} can be urgent; it is only shelved with --even-urgent.", rule)};
  }
  const Instant until = now_ + span;
  shelved_[{house, rule}] = {until, who, why, even_urgent == EvenUrgent::yes};
  record({{"time", to_rfc3339(now_)}, {"event", "shelved"}, {"house", house}, {"rule", rule}, {"who", who}, {"why", why},
          {"until", to_rfc3339(until)}});
  for (auto& [id, alarm] : alarms_) {
    if (alarm.subject != Alarm::Subject::condition || alarm.house != house || alarm.rule != rule) continue;
    alarm.life.shelve(true);
    stop_calling(alarm);
    note_alarm(alarm);
    release_followers(alarm);
  }
  return {true, fmt::format("{} in {} is shelved until {}.", rule, house, clock_time(rules_->farm.zone, wall() + span))};
}

void Watch::unshelve(const std::string& house, const std::string& rule, const Saying& reason) {
  const auto found = shelved_.find({house, rule});
  if (found == shelved_.end()) return;
  const Shelving shelving = found->second;
  shelved_.erase(found);
  record({{"time", to_rfc3339(now_)}, {"event", "unshelved"}, {"house", house}, {"rule", rule}, {"reason", reason.in(english())}});
  if (const Person* person = find_person(rules_->farm, shelving.who)) {
    const auto found_rule = std::find_if(rules_->rules.begin(), rules_->rules.end(), [&](const WatchedRule& entry) {
      return entry.name == rule && rules_->houses[entry.house].name == house;
    });
    const Language& language = language_of(person->name);
    const std::string what = found_rule == rules_->rules.end() ? rule : what_is_wrong(*found_rule, *rules_, Reason::none, language);
    answer(*person, say(language, "unshelved", {{"house", house_in_short(house)}, {"what", what}, {"reason", reason.in(language)}}));
  }
  for (auto& [id, alarm] : alarms_) {
    if (alarm.subject != Alarm::Subject::condition || alarm.house != house || alarm.rule != rule) continue;
    alarm.life.shelve(false);
    note_alarm(alarm);
    if (alarm.life.wants_answer()) start_calling(alarm, Telling::now);
  }
  forget_settled();
}

/// What is shelved does not stay so once it is urgent, unless that was wanted. True: it is not any more, and those
/// of its alarms that want an answer have begun to call.
bool Watch::unshelve_if_urgent(const std::string& house, const std::string& rule, Priority priority) {
  const auto found = shelved_.find({house, rule});
  if (found == shelved_.end() || found->second.even_urgent || priority != Priority::urgent) return false;
  unshelve(house, rule, [](const Language& language) { return say(language, "became_urgent"); });
  return true;
}

}  // namespace underwing
