// Watch: drills by schedule. England's law wants the alarm tested at least every seven days (S.I. 2000/1870, Schedule 1,
// paragraphs 18 to 21).
#include <algorithm>

#include "daemon/duty.hpp"
#include "daemon/watch.hpp"
#include "daemon/words.hpp"
#include "rules/languages/texts.hpp"

namespace underwing {

namespace {

using namespace std::chrono_literals;

constexpr Duration kWeek = 7 * 24h;
constexpr Duration kAnswersVary = 1h;        // a drill of the same hour is answered now sooner, now later
constexpr Duration kBeforePlacement = 36h;   // a drill of the day before is younger than this when chicks come

bool is_weekday(std::uint8_t days, Date date) { return ((unsigned{days} >> (std::chrono::weekday(date).iso_encoding() - 1)) & 1U) != 0; }

}  // namespace

void Watch::schedule_drills() {
  const DrillPlan& plan = rules_->farm.drills;
  const Duration wall_ahead = engine_->wall_ahead();
  const auto next = [&](const std::optional<Duration>& at) {
    return at ? rules_->farm.zone.next_time_of_day(wall() + Duration(1), *at) - wall_ahead : kNever;
  };
  drills_due_.weekly = next(plan.weekly ? std::optional(plan.weekly->at) : std::nullopt);
  drills_due_.night = next(plan.night);
  drills_due_.before_placement = next(plan.before_placement);
}

/// A real call comes first; a test in between would only be taken for it.
bool Watch::may_drill() const {
  return std::none_of(alarms_.begin(), alarms_.end(), [](const auto& entry) {
    return is_drill(entry.second) || (entry.second.priority == Priority::urgent && entry.second.life.stands());
  });
}

void Watch::begin_due_drills() {
  const DrillsDue due = drills_due_;
  schedule_drills();
  if (due.before_placement <= now_ && may_drill()) begin_placement_drill();
  if (due.weekly <= now_ && may_drill()) begin_weekly_drill();
  if (due.night <= now_ && may_drill()) begin_night_drill();
}

Instant Watch::last_answered_drill() const { return std::max(call_out_answered_.value_or(drills_from_), drills_from_); }

/// One that was not answered, or had no chance, is tried on each following day.
void Watch::begin_weekly_drill() {
  const bool today = is_weekday(rules_->farm.drills.weekly->days, date_of(rules_->farm.zone, wall()));
  if (today || now_ - last_answered_drill() > kWeek) static_cast<void>(begin_drill("", "", "weekly", [](const Language& language) { return say(language, "drill"); }));
}

/// One person a night, those first who have waited longest: the others can go on sleeping.
void Watch::begin_night_drill() {
  const Person* next = nullptr;
  const auto tried = [&](const Person& person) {
    const auto found = night_tried_.find(person.name);
    return found == night_tried_.end() ? Instant{} : found->second;
  };
  for (const Person& person : rules_->farm.people) {
    const bool phone = person.addresses.contains(Way::text) || person.addresses.contains(Way::call);
    if (!phone || woken_.contains(person.name)) continue;
    if (next == nullptr || tried(person) < tried(*next)) next = &person;
  }
  if (next == nullptr) return;
  night_tried_[next->name] = now_;
  static_cast<void>(begin_drill(next->name, "", "night", [](const Language& language) { return say(language, "drill_night"); }));
}

void Watch::begin_placement_drill() {
  const Zone& zone = rules_->farm.zone;
  const Date tomorrow = date_of(zone, wall()) + std::chrono::days(1);
  const bool chicks = std::any_of(rules_->flocks.begin(), rules_->flocks.end(), [&](const Flock& flock) { return date_of(zone, flock.placed) == tomorrow; });
  if (chicks) static_cast<void>(begin_drill("", "", "before placement", [](const Language& language) { return say(language, "drill_placement"); }));
}

void Watch::check_overdue_drills() {
  const DrillPlan& plan = rules_->farm.drills;
  const bool told = standing(Alarm::Subject::built_in, "", "drill-unanswered", "") != nullptr;
  const Instant last = last_answered_drill();
  const bool overdue = plan.weekly && now_ - last > kWeek + kAnswersVary;
  if (!overdue) built_in("", "drill-overdue", "", false, Priority::soon, "");
  if (overdue && !told) {
    const Date since = date_of(rules_->farm.zone, last + engine_->wall_ahead());
    built_in("", "drill-overdue", "", true, Priority::soon, [&](const Language& language) { return say(language, "overdue", {{"date", date_in_words(since, language)}}); });
  }
  for (const Flock& flock : rules_->flocks) {
    const Instant placed = flock.placed - engine_->wall_ahead();
    const Instant before = placed - kBeforePlacement;
    const bool missed = plan.before_placement && drills_from_ <= before && placed <= now_ && now_ < placed + 24h && last < before;
    if (missed && told) continue;
    built_in("", "drill-overdue", flock.name, missed, Priority::soon, [&](const Language& language) { return say(language, "overdue_placement", {{"flock", flock.name}}); });
  }
}

Watch::DrillStatus Watch::drill_status() const {
  DrillStatus status;
  status.answered = call_out_answered_;
  // Of the weekly ones the next day that is planned, not the next hour at which one might be made up for.
  if (const auto& weekly = rules_->farm.drills.weekly; weekly && weekly->days != 0) {
    Instant at = wall();
    do at = rules_->farm.zone.next_time_of_day(at + Duration(1), weekly->at);
    while (!is_weekday(weekly->days, date_of(rules_->farm.zone, at)));
    status.next = at - engine_->wall_ahead();
  }
  if (!rules_->farm.drills.night) return status;
  for (const Person& person : rules_->farm.people) {
    const bool phone = person.addresses.contains(Way::text) || person.addresses.contains(Way::call);
    if (phone && !woken_.contains(person.name)) status.not_woken.push_back(person.name);
  }
  return status;
}

}  // namespace underwing
