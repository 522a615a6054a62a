// Watch: drills. A marked test goes through the call-out as an alarm does, and needs an answer as one does.
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

constexpr Duration kAnswerWithin = 15min;
constexpr std::pair<Duration, Duration> kNight{22h, 6h};  // an answer then shows that the phone wakes its owner

}  // namespace

Watch::Answered Watch::drill(const std::string& person, const std::string& path) {
  return begin_drill(person, path, "asked for", [](const Language& language) { return say(language, "drill"); });
}

/// `words`: what the drill says.
Watch::Answered Watch::begin_drill(const std::string& person, const std::string& path, const std::string& why, const Saying& words) {
  if (!person.empty() && !find_person(rules_->farm, person)) return {false, fmt::format("The farm has no person '{}'.", person)};
  const auto all = paths();
  const bool known_path = path.empty() || std::any_of(all.begin(), all.end(), [&](const PathStatus& status) { return status.name == path; });
  if (!known_path) return {false, fmt::format("No plugin '{}' of farm.yaml carries messages.", path)};
  if (const Alarm* running = standing(Alarm::Subject::built_in, "", "drill", person)) {
    return {false, fmt::format("Such a drill is under way, {} since {}.", running->code, clock_time(rules_->farm.zone, running->raised + engine_->wall_ahead()))};
  }
  if (!plan_of(Priority::urgent)) return {false, "farm.yaml has no steps for urgent alarms."};
  Alarm& alarm = raise(Alarm::Subject::built_in, "", "drill", person, Priority::urgent);
  alarm.only_path = path;
  alarm.detail = words.in(english());
  alarm.details = said_now(words);
  nlohmann::ordered_json line = {{"time", to_rfc3339(now_)}, {"event", "drill"}, {"code", alarm.code}, {"why", why}};
  if (!person.empty()) line["who"] = person;
  if (!path.empty()) line["path"] = path;
  record(line);
  note_alarm(alarm);
  const std::string code = alarm.code;
  start_calling(alarm, Telling::now);
  return {true, fmt::format("Drill {} goes to {}{}. It needs an answer by {}.", code, person.empty() ? "whoever is next in the call-out" : person,
                            path.empty() ? "" : " over " + path, clock_time(rules_->farm.zone, wall() + kAnswerWithin))};
}

void Watch::end_drill(Alarm& alarm, bool answered) {
  const Duration took = now_ - alarm.raised;
  Drilled drilled;
  drilled.begun = alarm.raised;
  if (answered) drilled.answered_after = took;
  drilled_[alarm.probe] = drilled;
  if (answered) drilled_[alarm.acknowledged_by] = drilled;
  if (answered && alarm.probe.empty() && alarm.only_path.empty()) call_out_answered_ = drilled.begun;
  const bool at_night = within_hours(rules_->farm.zone, drilled.begun + engine_->wall_ahead(), kNight);
  if (answered && at_night) woken_[alarm.acknowledged_by] = drilled.begun;
  record({{"time", to_rfc3339(now_)}, {"event", "drilled"}, {"code", alarm.code}, {"answered", answered}, {"at_night", at_night},
          {"who", answered ? alarm.acknowledged_by : alarm.probe}, {"seconds", std::chrono::duration_cast<std::chrono::seconds>(took).count()}});
  const std::string whose = answered ? alarm.acknowledged_by : alarm.probe;
  const bool anybody = alarm.probe.empty();
  const Saying text = [=](const Language& language) {
    if (!answered) return anybody ? say(language, "drill_nobody") : say(language, "drill_not", {{"who", whose}});
    return say(language, "drill_answered", {{"who", who_in(whose, language)}, {"span", to_words(std::chrono::floor<std::chrono::seconds>(took))}});
  };
  alarm.life.back();
  alarm.returned = now_;
  stop_calling(alarm);
  tell_those_told(alarm, answered ? whose : "", text);
  alarm.life.acknowledge();
  note_alarm(alarm);
  // That nobody answered is a trouble of its own until somebody does.
  if (answered) {
    built_in("", "drill-unanswered", "", false, Priority::soon, "");
    built_in("", "drill-unanswered", whose, false, Priority::soon, "");
  } else {
    const std::string begun = clock_time(rules_->farm.zone, drilled.begun + engine_->wall_ahead());
    built_in("", "drill-unanswered", alarm.probe, true, Priority::soon, [&](const Language& language) {
      return anybody ? say(language, "unanswered", {{"time", begun}}) : say(language, "unanswered_by", {{"who", whose}, {"time", begun}});
    });
  }
}

void Watch::check_drills() {
  std::vector<std::uint64_t> overdue;
  for (const auto& [id, alarm] : alarms_) {
    if (is_drill(alarm) && alarm.life.condition() && now_ - alarm.raised >= kAnswerWithin) overdue.push_back(id);
  }
  for (const std::uint64_t id : overdue) end_drill(alarms_.at(id), false);
  if (!overdue.empty()) forget_settled();
  check_overdue_drills();
}

/// For the summary: the drills since the last one.
std::string Watch::drills_text(const Language& language) const {
  std::string text;
  for (const auto& [who, drilled] : drilled_) {
    if (drilled.begun < summary_from_) continue;
    const bool at_night = within_hours(rules_->farm.zone, drilled.begun + engine_->wall_ahead(), kNight);
    const std::string whose = who.empty() ? say(language, "call_out") : who_in(who, language);
    Slots slots{{"who", at_night ? say(language, "at_night", {{"who", whose}}) : whose}};
    if (drilled.answered_after) slots.emplace_back("span", to_words(std::chrono::floor<std::chrono::seconds>(*drilled.answered_after)));
    text += (text.empty() ? "" : ", ") + say(language, drilled.answered_after ? TextKey("answered_after") : TextKey("not_answered"), slots);
  }
  return text;
}

}  // namespace underwing
