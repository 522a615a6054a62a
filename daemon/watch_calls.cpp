// Watch: call-out, steps by which people are told until one of them answers.
#include <fmt/format.h>

#include <algorithm>
#include <cctype>
#include <nlohmann/json.hpp>
#include <utility>

#include "daemon/duty.hpp"
#include "daemon/watch.hpp"
#include "daemon/words.hpp"
#include "rules/languages/texts.hpp"

namespace underwing {

namespace {

using namespace std::chrono_literals;

constexpr Duration kGather = 20s;            // what comes for one person within this goes out together
constexpr Duration kFloodGather = 5min;      // of what need not wake anybody, in a flood
constexpr std::size_t kHeadMin = 30;         // characters of one among several: house, what and value
constexpr std::size_t kSpelledOut = 10;      // more alarms than this in one text are counted
constexpr Duration kRetryFirst = 1min;
constexpr Duration kOnTheWayGrace = 5min;    // added to a person's `away` before HERE is missed

Duration repeat_every(const CallPlan& plan, Priority priority) {
  if (plan.steps.back().then_every) return *plan.steps.back().then_every;
  return priority == Priority::urgent ? Duration(15min) : Duration(2h);
}

/// Heads in one line. Where there is no room for all of them the longest are cut alike, so that none crowds another out;
/// empty where they would say too little then.
std::string in_one_line(const std::vector<std::string_view>& heads, std::size_t room) {
  const auto total = [&](std::size_t longest) {
    std::size_t sum = 2 * (heads.size() - 1);
    for (const std::string_view head : heads) sum += std::min(gsm_length(head), longest);
    return sum;
  };
  std::size_t longest = room;
  while (longest >= kHeadMin && total(longest) > room) --longest;
  if (longest < kHeadMin) return "";
  std::string line;
  for (const std::string_view head : heads) {
    std::string part = cut_to(head, longest);
    // Whole words: a letter or two of the next one help nobody.
    if (part.size() < head.size() && head[part.size()] != ' ') part.resize(std::min(part.size(), part.find_last_of(' ')));
    while (part.ends_with(' ')) part.pop_back();
    line += (line.empty() ? "" : "; ") + part;
  }
  return line;
}

}  // namespace

const CallPlan* Watch::plan_of(Priority priority) const {
  const auto found = rules_->farm.call_out.find(priority);
  return found == rules_->farm.call_out.end() || found->second.steps.empty() ? nullptr : &found->second;
}

Instant Watch::within_plan_hours(Priority priority, Instant time) const {
  const CallPlan* plan = plan_of(priority);
  const Duration wall_ahead = engine_->wall_ahead();
  if (!plan || !plan->hours || within_hours(rules_->farm.zone, time + wall_ahead, *plan->hours)) return time;
  return rules_->farm.zone.next_time_of_day(time + wall_ahead, plan->hours->first) - wall_ahead;
}

void Watch::start_calling(Alarm& alarm, Telling telling) {
  if (telling == Telling::may_be_held && alarm.life.wants_answer() && hold_back(alarm)) return;
  Alarm::Calling& calling = alarm.calling;
  const unsigned serial = calling.serial;
  calling = Alarm::Calling();
  calling.serial = serial;
  const CallPlan* plan = plan_of(alarm.priority);
  if (!plan || plan->daily || !alarm.life.wants_answer()) return;
  calling.running = true;
  calling.begun = within_plan_hours(alarm.priority, now_);
  calling.due = calling.begun + plan->steps.front().after;
  if (alarm.again && alarm.told.empty()) {  // those who were told first have had their turn within the hour
    calling.step = std::min<std::size_t>(1, plan->steps.size() - 1);
    calling.due = calling.begun;
    calling.begun -= plan->steps[calling.step].after;
  }
  if (calling.due <= now_) take_step(alarm);
}

void Watch::ease_calling(Alarm& alarm) {
  if (!alarm.calling.running) return;
  stop_calling(alarm);
  if (alarm.told.empty()) return start_calling(alarm);  // nobody has heard of it yet
  const CallPlan* plan = plan_of(alarm.priority);
  if (!plan || plan->daily) return;
  alarm.calling.running = true;
  alarm.calling.begun = now_;
  alarm.calling.step = plan->steps.size() - 1;
  alarm.calling.due = within_plan_hours(alarm.priority, now_ + repeat_every(*plan, alarm.priority));
}

void Watch::stop_calling(Alarm& alarm) {
  const unsigned serial = alarm.calling.serial;
  alarm.calling = Alarm::Calling();
  alarm.calling.serial = serial;
  for (auto& [mailbox, person] : mailboxes_) {
    std::erase_if(person.waiting, [&](const Mail::Waiting& message) { return message.alarm == alarm.id; });
    plan_flush(person);
  }
}

void Watch::take_step(Alarm& alarm) {
  const CallPlan* plan = plan_of(alarm.priority);
  Alarm::Calling& calling = alarm.calling;
  if (!plan || !alarm.life.wants_answer()) return stop_calling(alarm);
  const std::size_t taken = std::min(calling.step, plan->steps.size() - 1);
  const CallStep& step = plan->steps[taken];
  if (calling.serial++ == 0) note_first_telling();
  calling.open = 0;
  calling.reached = false;
  calling.taken = taken;
  if (taken + 1 < plan->steps.size()) {
    calling.step = taken + 1;
    calling.due = within_plan_hours(alarm.priority, std::max(now_, calling.begun + plan->steps[taken + 1].after));
  } else {
    calling.due = within_plan_hours(alarm.priority, now_ + repeat_every(*plan, alarm.priority));
  }
  Mail::Waiting message;
  message.alarm = alarm.id;
  message.serial = calling.serial;
  message.step = static_cast<int>(taken) + 1;
  message.priority = alarm.priority;
  const bool one = is_drill(alarm) && !alarm.probe.empty();
  for (const std::string& who : one ? std::vector{alarm.probe} : people_of(rules_->farm, step.tell, wall(), swaps_)) {
    const Language& language = language_of(who);
    message.text = alarm_text(alarm, language);
    message.in_short = head(alarm, language);
    tell(who, step.by, message);
  }
  if (calling.open == 0) step_failed(alarm);
}

void Watch::step_failed(Alarm& alarm) {
  Alarm::Calling& calling = alarm.calling;
  const CallPlan* plan = plan_of(alarm.priority);
  if (!calling.running || !plan) return;
  if (calling.taken + 1 < plan->steps.size()) {
    calling.due = now_;
    return take_step(alarm);
  }
  const Duration longest = repeat_every(*plan, alarm.priority);
  calling.retry = calling.retry == Duration::zero() ? kRetryFirst : std::min(calling.retry * 2, longest);
  calling.due = within_plan_hours(alarm.priority, now_ + std::min(calling.retry, longest));
}

/// The person who answered has had the time that it takes.
void Watch::check_answer(Alarm& alarm) {
  const auto rule = rule_of(alarm);
  if (rule && alarm.here && engine_->state(*rule).coming_back()) {
    alarm.calling.check_at = now_ + std::max<Duration>(rules_->rules[*rule].off_delay, 1min);
    return;
  }
  call_again(alarm);
}

void Watch::call_again(Alarm& alarm) {
  const CallPlan* plan = plan_of(alarm.priority);
  alarm.calling.check_at = kNever;
  if (!plan || plan->daily || alarm.life.state() != AlarmState::acknowledged) return;
  alarm.life.worsen();
  alarm.here = false;
  note_alarm(alarm);
  const std::size_t second = std::min<std::size_t>(1, plan->steps.size() - 1);
  alarm.calling.running = true;
  alarm.calling.step = second;
  alarm.calling.due = within_plan_hours(alarm.priority, now_);
  alarm.calling.begun = alarm.calling.due - plan->steps[second].after;
  if (alarm.calling.due <= now_) take_step(alarm);
}

// --- telling ------------------------------------------------------------------------------------------------

void Watch::tell(const std::string& who, const std::vector<Way>& by, const Mail::Waiting& message) {
  const Person* person = find_person(rules_->farm, who);
  if (!person) return;
  const auto alarm = alarms_.find(message.alarm);
  for (const Way way : by) {
    if (!person->addresses.contains(way)) continue;
    if (alarm != alarms_.end() && message.serial != 0) ++alarm->second.calling.open;
    const Mailbox mailbox{who, way};
    Mail& box = mailboxes_[mailbox];
    // What is urgent waits for other alarms, not behind confirmations and good news.
    const Instant last = message.priority == Priority::urgent ? box.last_alarm : box.last_sent;
    const bool held_by_flood = flood_ && message.alarm != 0 && message.priority != Priority::urgent;
    const Duration gather = held_by_flood ? kFloodGather : kGather;
    const bool told_just_now = last != Instant(Duration::min()) && now_ - last < gather;
    if (!told_just_now && message.not_before <= now_ && (box.flush_at > now_ || message.priority == Priority::urgent)) {
      if (message.alarm != 0) std::erase_if(box.waiting, [&](const Mail::Waiting& other) { return other.alarm == message.alarm; });
      send(mailbox, {message});
      plan_flush(box);
      continue;
    }
    // In a flood what need not wake anybody waits until it fits into one text.
    Mail::Waiting later = message;
    if (held_by_flood && told_just_now) {
      later.not_before = std::max(later.not_before, box.last_sent + kFloodGather);
    }
    // What waits about the same alarm is overtaken by this.
    if (message.alarm != 0) std::erase_if(box.waiting, [&](const Mail::Waiting& other) { return other.alarm == message.alarm; });
    box.waiting.push_back(std::move(later));
    plan_flush(box);
  }
}

/// When the box is next due: what waits longest for its hour, but not within 20 s of the last text.
void Watch::plan_flush(Mail& box) const {
  box.flush_at = kNever;
  for (const Mail::Waiting& message : box.waiting) box.flush_at = std::min(box.flush_at, message.not_before);
  if (box.waiting.empty() || box.last_sent == Instant(Duration::min())) return;
  box.flush_at = std::max(box.flush_at, box.last_sent + kGather);
}

/// Whether so many alarms in one text are counted rather than told one by one.
bool Watch::is_counted(std::size_t alarms) const { return alarms > (flood_ ? 0 : kSpelledOut); }

void Watch::flush(const Mailbox& mailbox) {
  Mail& box = mailboxes_[mailbox];
  std::vector<Mail::Waiting> ready, later;
  for (Mail::Waiting& message : box.waiting) (message.not_before <= now_ ? ready : later).push_back(std::move(message));
  box.waiting = std::move(later);
  // In a flood alarms are counted; what answers a person is not, and goes out by itself.
  const auto others = std::stable_partition(ready.begin(), ready.end(), [](const Mail::Waiting& message) { return message.alarm != 0; });
  if (is_counted(static_cast<std::size_t>(others - ready.begin())) && others != ready.end()) {
    send(mailbox, {std::make_move_iterator(others), std::make_move_iterator(ready.end())});
    ready.erase(others, ready.end());
  }
  if (!ready.empty()) send(mailbox, std::move(ready));
  plan_flush(box);
}

/// One text for several messages: their heads, the worst first, as many as there is room for.
std::string Watch::gathered(const std::vector<Mail::Waiting>& messages, bool any_code, const Language& language) const {
  const std::string replies = any_code ? ". " + say(language, "reply_all") : ".";
  const auto alarms = static_cast<std::size_t>(std::count_if(messages.begin(), messages.end(), [](const auto& message) { return message.alarm != 0; }));
  const auto urgent = std::count_if(messages.begin(), messages.end(), [](const auto& message) { return message.priority == Priority::urgent; });
  std::string counts;
  std::size_t most = messages.size();
  if (is_counted(alarms)) {  // the urgent ones are spelled out as far as there is room
    counts = say(language, "flood", {{"alarms", say_count(language, "alarms", alarms)}, {"urgent", urgent == 0 ? say(language, "none") : std::to_string(urgent)}});
    most = static_cast<std::size_t>(urgent);
    if (most == 0) return fit({counts + replies});
    counts += ": ";
  }
  std::vector<std::string_view> heads;
  for (std::size_t i = 0; i < most; ++i) {
    std::string_view head = messages[i].in_short;
    while (head.ends_with('.')) head.remove_suffix(1);
    heads.push_back(head);
  }
  for (;; heads.pop_back()) {
    const std::string more = heads.size() < most ? "; " + say_count(language, "and_more", most - heads.size()) : "";
    const std::size_t taken = gsm_length(counts) + gsm_length(more) + gsm_length(replies);
    const std::string line = taken < kTextSeptetsMax ? in_one_line(heads, kTextSeptetsMax - taken) : "";
    if (!line.empty() || heads.size() == 1) return fit({counts + line + more + replies});
  }
}

/// `only_path`: the plugin that is to carry it; empty: any.
void Watch::send(const Mailbox& mailbox, std::vector<Mail::Waiting> messages, const std::string& only_path) {
  const auto& [who, way] = mailbox;
  const Person* person = find_person(rules_->farm, who);
  if (!person || !person->addresses.contains(way)) return;
  std::stable_sort(messages.begin(), messages.end(), [](const auto& a, const auto& b) { return a.priority > b.priority; });
  Delivery delivery;
  delivery.id = fmt::format("d-{:06}", ++delivery_count_);
  delivery.who = who;
  delivery.way = way;
  delivery.to = person->addresses.at(way);
  delivery.priority = messages.front().priority;
  delivery.queued = now_;
  delivery.step = messages.front().step;
  delivery.text = messages.front().text;
  delivery.only_path = only_path;
  for (const Mail::Waiting& message : messages) {
    const auto alarm = alarms_.find(message.alarm);
    if (alarm == alarms_.end() || message.serial == 0) continue;
    delivery.steps.emplace_back(message.alarm, message.serial);
    if (std::find(delivery.codes.begin(), delivery.codes.end(), alarm->second.code) == delivery.codes.end()) {
      delivery.codes.push_back(alarm->second.code);
    }
    alarm->second.told.insert(who);
    if (messages.size() == 1) delivery.only_path = alarm->second.only_path;
  }
  if (way == Way::mail && messages.size() == 1 && !messages.front().in_full.empty()) {
    delivery.text = messages.front().in_full;
    delivery.plotted = messages.front().plotted;
  }
  if (messages.size() > 1) {
    delivery.text = gathered(messages, !delivery.codes.empty(), language_of(who));
  }
  if (!delivery.codes.empty()) last_codes_[who] = delivery.codes;
  mailboxes_[mailbox].last_sent = now_;
  if (!delivery.codes.empty()) mailboxes_[mailbox].last_alarm = now_;

  record({{"time", to_rfc3339(now_)}, {"event", "told"}, {"who", who}, {"by", to_string(way)}, {"step", delivery.step},
          {"text", delivery.text}});
  Effect effect;
  effect.kind = Effect::Kind::delivery;
  effect.time = now_;
  effect.delivery = delivery;
  effects_.push_back(std::move(effect));
  deliveries_.emplace(delivery.id, std::move(delivery));
}

void Watch::handed(const std::string& id, const std::string& path) {
  const auto found = deliveries_.find(id);
  if (found == deliveries_.end() || found->second.path == path) return;
  note_outcome(found->second.path, Delivery::Outcome::failed);  // another path is tried because this one could not
  found->second.path = path;
}

void Watch::receipt(const std::string& id, Delivery::Outcome outcome, const std::string& text) {
  const auto found = deliveries_.find(id);
  if (found == deliveries_.end() || outcome == Delivery::Outcome::open) return;
  const bool was_open = found->second.outcome == Delivery::Outcome::open;
  found->second.outcome = outcome;
  note_outcome(found->second.path, outcome);
  const Delivery delivery = found->second;
  Effect effect;
  effect.kind = Effect::Kind::delivery;
  effect.time = now_;
  effect.json = text;
  effect.delivery = delivery;
  effects_.push_back(std::move(effect));
  // A text that was sent may still be reported as delivered; nothing waits for that.
  if (outcome != Delivery::Outcome::sent) deliveries_.erase(found);
  if (!was_open) return;
  for (const auto& [alarm_id, serial] : delivery.steps) {
    const auto alarm = alarms_.find(alarm_id);
    if (alarm == alarms_.end() || alarm->second.calling.serial != serial || !alarm->second.calling.running) continue;
    Alarm::Calling& calling = alarm->second.calling;
    --calling.open;
    if (outcome != Delivery::Outcome::failed) {
      calling.reached = true;
      calling.retry = Duration::zero();
    }
    if (calling.open == 0 && !calling.reached) step_failed(alarm->second);
  }
}

void Watch::tell_those_told(const Alarm& alarm, const std::string& except, const Saying& text) {
  Mail::Waiting message;
  message.priority = Priority::note;
  if (alarm.priority != Priority::urgent) message.not_before = within_plan_hours(alarm.priority, now_);  // people sleep
  for (const std::string& who : alarm.told) {
    const Person* person = find_person(rules_->farm, who);
    if (who == except || !person) continue;
    message.text = message.in_short = fit({text.in(language_of(who))});
    const Way way = person->addresses.contains(Way::text) ? Way::text
                    : person->addresses.empty()           ? Way::text
                                                          : person->addresses.begin()->first;
    tell(who, {way}, message);
  }
}

// --- answers ------------------------------------------------------------------------------------------------

Alarm* Watch::by_code(const std::string& code) {
  const auto alike = [](unsigned char a, unsigned char b) { return std::toupper(a) == std::toupper(b); };
  for (auto& [id, alarm] : alarms_) {
    if (std::equal(alarm.code.begin(), alarm.code.end(), code.begin(), code.end(), alike)) return &alarm;
  }
  return nullptr;
}

void Watch::acknowledge_alarm(Alarm& alarm, const std::string& who) {
  const bool stood = alarm.life.stands();
  if (!alarm.life.acknowledge()) return;
  alarm.acknowledged_by = who;
  alarm.acknowledged_at = now_;
  for (Night& entry : night_) {
    if (entry.alarm == alarm.id) entry.who = who;
  }
  stop_calling(alarm);
  plan_check(alarm);
  record({{"time", to_rfc3339(now_)}, {"event", "acknowledged"}, {"house", alarm.house}, {"rule", alarm.rule}, {"code", alarm.code},
          {"who", who}});
  note_alarm(alarm);
  if (is_drill(alarm)) return end_drill(alarm, true);
  if (stood) {
    tell_those_told(alarm, who, [&](const Language& language) { return say(language, "has_it", {{"who", who_in(who, language)}, {"alarm", head(alarm, language)}}); });
  }
}

void Watch::plan_check(Alarm& alarm) {
  if (alarm.life.state() != AlarmState::acknowledged || !alarm.acknowledged_at) return;
  Instant check = kNever;
  const Person* person = find_person(rules_->farm, alarm.acknowledged_by);
  if (!alarm.here && person && person->away) check = *alarm.acknowledged_at + *person->away + kOnTheWayGrace;
  const auto rule = rule_of(alarm);
  if (rule && rules_->rules[*rule].respond_within) {
    check = std::min(check, now_ + *rules_->rules[*rule].respond_within);  // afresh when somebody is in the house
  }
  alarm.calling.check_at = check > now_ ? check : kNever;
}

Watch::Answered Watch::acknowledge(const std::string& code, const std::string& who) {
  Alarm* alarm = by_code(code);
  if (!alarm) return {false, fmt::format("There is no alarm {} now; nothing was changed.", code)};
  const std::string text = head(*alarm, english());
  if (alarm->life.state() == AlarmState::acknowledged || alarm->life.state() == AlarmState::latched_acknowledged) {
    return {false, fmt::format("{} ({}) has been answered already, by {}.", alarm->code, text, alarm->acknowledged_by)};
  }
  const Answered answered{true, fmt::format("{} has {} ({}).", who, alarm->code, text)};
  acknowledge_alarm(*alarm, who);
  forget_settled();
  return answered;
}

Watch::Answered Watch::reset(const std::string& code, const std::string& who) {
  Alarm* alarm = by_code(code);
  if (!alarm) return {false, fmt::format("There is no alarm {} now; nothing was changed.", code)};
  const std::string text = head(*alarm, english());
  if (!alarm->life.reset()) {
    return {false, alarm->life.condition() ? fmt::format("{} ({}) is still there; it can be reset when it has ended.", code, text)
                                           : fmt::format("{} ({}) is not one that is reset.", code, text)};
  }
  stop_calling(*alarm);
  record({{"time", to_rfc3339(now_)}, {"event", "reset"}, {"house", alarm->house}, {"rule", alarm->rule}, {"code", alarm->code}, {"who", who}});
  note_alarm(*alarm);
  forget_settled();
  return {true, fmt::format("{} has reset {} ({}).", who, code, text)};
}

// --- the day's two texts ------------------------------------------------------------------------------------

void Watch::schedule_daily() {
  const Zone& zone = rules_->farm.zone;
  const Duration wall_ahead = engine_->wall_ahead();
  const auto next = [&](const std::optional<Duration>& time_of_day) {
    return time_of_day ? zone.next_time_of_day(wall() + Duration(1), *time_of_day) - wall_ahead : kNever;
  };
  const auto note = rules_->farm.call_out.find(Priority::note);
  summary_due_ = next(note == rules_->farm.call_out.end() ? std::nullopt : note->second.daily);
  evening_due_ = next(rules_->farm.evening_check);
  schedule_drills();
}

void Watch::tell_daily(const Saying& text, const Saying& in_full, const std::optional<Stretch>& plotted) {
  const auto note = rules_->farm.call_out.find(Priority::note);
  Mail::Waiting message;
  message.plotted = plotted;
  std::vector<std::string> tell_whom{"on-duty"};
  std::vector<Way> by{Way::text};
  if (note != rules_->farm.call_out.end() && !note->second.steps.empty()) {
    tell_whom = note->second.steps.front().tell;
    by = note->second.steps.front().by;
  }
  for (const std::string& who : people_of(rules_->farm, tell_whom, wall(), swaps_)) {
    const Language& language = language_of(who);
    message.text = message.in_short = text.in(language);
    message.in_full = in_full.in(language);
    tell(who, by, message);
  }
}

void Watch::tell_summary() {
  tell_daily([&](const Language& language) { return summary_text(language); }, [&](const Language& language) { return summary_in_full(language); },
             Stretch{std::max(summary_from_, now_ - 24h), now_});
  day_.clear();
  for (auto& [id, alarm] : alarms_) {
    alarm.named_in_summary = true;
    if (alarm.life.state() == AlarmState::returned_unacknowledged || alarm.priority == Priority::note) {
      if (!alarm.life.condition() && alarm.life.acknowledge()) note_alarm(alarm);
    }
  }
  forget_settled();
  std::erase_if(night_, [](const Night& entry) { return entry.returned.has_value(); });
  summary_from_ = now_;
  schedule_daily();
}

void Watch::tell_evening() {
  tell_daily([&](const Language& language) { return evening_text(nullptr, language); });
  schedule_daily();
}

}  // namespace underwing
