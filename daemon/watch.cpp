#include "daemon/watch.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <nlohmann/json.hpp>

#include "daemon/duty.hpp"
#include "daemon/ways.hpp"
#include "daemon/words.hpp"
#include "rules/languages/texts.hpp"

namespace underwing {

namespace {

using namespace std::chrono_literals;

constexpr Duration kProbeBadAfter = 30min;
constexpr Duration kHouseSilentAfter = 10min;     // of stale probes; its blind rules speak sooner
constexpr Duration kBlindTogether = 60s;
constexpr Duration kReceiptWithin = 60s;
constexpr std::size_t kRecentMinutes = 20;        // of a rule's value
constexpr Duration kFloodWindow = 10min;          // EEMUA 191: a flood is more than 10 alarms to a person within 10 min …
constexpr std::size_t kFloodBegins = 10, kFloodEnds = 5;  // … and over with fewer than 5 (both from memory)
constexpr Duration kClockNews = 10min;            // how long a jump of the clock stands as an alarm
constexpr Duration kNightKept = 36h;              // where no summary is told, nothing may pile up
constexpr Duration kCodeRest = std::chrono::hours(7 * 24);

/// Letters and digits that cannot be taken for one another when read aloud or on a small screen.
constexpr std::string_view kCodeLetters = "ACEFHJKMNPRTWXY";
constexpr std::string_view kCodeDigits = "34679";

std::string member_name(const WatchedRule& rule, const RuleSet& rules) {
  return rule.pack + "/" + rule.name + (rule.probe ? "/" + rules.probes[*rule.probe].name : "");
}

bool has_plugin(const Farm& farm, const std::string& name) {
  return std::any_of(farm.plugins.begin(), farm.plugins.end(), [&](const PluginEntry& entry) { return entry.name == name; });
}

}  // namespace

const char* to_string(Delivery::Outcome outcome) {
  switch (outcome) {
    case Delivery::Outcome::open: return "open";
    case Delivery::Outcome::sent: return "sent";
    case Delivery::Outcome::delivered: return "delivered";
    case Delivery::Outcome::failed: return "failed";
  }
  return "";
}

Watch::Watch(std::shared_ptr<const RuleSet> rules) : rules_(std::move(rules)), engine_(std::make_unique<Engine>(rules_)) {
  unusable_since_.assign(rules_->probes.size(), kNever);
}

void Watch::begin(Instant now, Duration wall_ahead) {
  begun_ = true;
  now_ = now;
  minute_due_ = ceil_minute(now);
  summary_from_ = now;
  drills_from_ = now;
  heard_.since = now;
  engine_->begin(now, wall_ahead);
  settle_engine();
  schedule_daily();
  schedule_heartbeat();
}

std::vector<Effect> Watch::take_effects() {
  std::vector<Effect> effects;
  effects.swap(effects_);
  return effects;
}

void Watch::forget_effects() { effects_.clear(); }

std::vector<Delivery> Watch::open_deliveries() const {
  std::vector<Delivery> open;
  for (const auto& [id, delivery] : deliveries_) {
    if (delivery.outcome == Delivery::Outcome::open) open.push_back(delivery);
  }
  return open;
}

void Watch::story(const std::string& text) {
  Effect effect;
  effect.kind = Effect::Kind::story;
  effect.time = now_;
  effect.json = text;
  effects_.push_back(std::move(effect));
}

// --- time ---------------------------------------------------------------------------------------------------

Instant Watch::own_due() const {
  Instant due = std::min({minute_due_, summary_due_, evening_due_, work_due(), drills_due(), heard_.due});
  for (const auto& [id, alarm] : alarms_) due = std::min({due, alarm.calling.due, alarm.calling.check_at, alarm.release_at});
  for (const auto& [rule, shelving] : shelved_) due = std::min(due, shelving.until);
  for (const auto& [mailbox, person] : mailboxes_) due = std::min(due, person.flush_at);
  for (const auto& [id, delivery] : deliveries_) {
    if (delivery.outcome == Delivery::Outcome::open) due = std::min(due, delivery.queued + kReceiptWithin);
  }
  return due;
}

Instant Watch::next_due() { return begun_ ? std::min(engine_->next_due(), own_due()) : kNever; }

void Watch::advance(Instant now) {
  if (!begun_) return begin(now);
  // Mostly nothing is due, which the engine's lower bound says at no cost.
  const bool quiet = now <= engine_->quiet_until() && now <= own_due();
  for (Instant due = quiet ? kNever : next_due(); due < now; due = next_due()) {
    now_ = std::max(now_, due);
    if (engine_->next_due() <= due) {
      engine_->work_off_next();
      settle_engine();
    } else {
      engine_->advance(due);
      work_off_own(due);
    }
  }
  now_ = std::max(now_, now);
  engine_->advance(now_);
  settle_engine();
}

void Watch::finish() {
  if (!begun_) return;
  advance(now_ + Duration(1));
}

void Watch::work_off_own(Instant time) {
  for (auto& [id, alarm] : alarms_) {
    if (alarm.calling.due <= time) take_step(alarm);
    if (alarm.calling.check_at <= time) check_answer(alarm);
    if (alarm.release_at <= time) release(alarm);
  }
  std::vector<std::pair<std::string, std::string>> unshelved;
  for (const auto& [rule, shelving] : shelved_) {
    if (shelving.until <= time) unshelved.push_back(rule);
  }
  for (const auto& [house, rule] : unshelved) unshelve(house, rule, [](const Language& language) { return say(language, "time_over"); });
  std::vector<std::string> overdue;
  for (const auto& [id, delivery] : deliveries_) {
    if (delivery.outcome == Delivery::Outcome::open && delivery.queued + kReceiptWithin <= time) overdue.push_back(id);
  }
  for (const std::string& id : overdue) receipt(id, Delivery::Outcome::failed, "no receipt within 60 s");
  for (auto& [mailbox, person] : mailboxes_) {
    if (person.flush_at <= time) flush(mailbox);
  }
  remind_of_work(time);
  if (drills_due() <= time) begin_due_drills();
  if (evening_due_ <= time) tell_evening();
  if (summary_due_ <= time) tell_summary();
  if (minute_due_ <= time) {
    minute_due_ += 1min;
    check_minute();
  }
  // Last: it says that all of this was done.
  if (heard_.due <= time) beat();
}

void Watch::settle_engine() {
  const auto found = engine_->events();
  if (found.empty()) return;
  const std::vector<Event> events(found.begin(), found.end());
  engine_->clear_events();
  for (const Event& event : events) handle(event);
}

void Watch::reading(std::size_t probe, Instant time, double value) {
  if (!begun_) begin(time);
  if (time > now_) advance(time);
  engine_->take(probe, time, value);
  const MeasureKind kind = rules_->probes[probe].quality.kind;
  if (kind == MeasureKind::tally || kind == MeasureKind::round) keep_entry(probe, time, value);
  if (kind == MeasureKind::sample) keep_day(probe, value);
  settle_engine();
}

// --- events and alarms ---------------------------------------------------------------------------------------

void Watch::handle(const Event& event) {
  Effect effect;
  effect.kind = Effect::Kind::event;
  effect.time = event.time;
  effect.json = to_json(event, *rules_);
  effects_.push_back(std::move(effect));
  if (!event.rule) return;
  if (event.kind == Event::Kind::blind || event.kind == Event::Kind::sees) {
    blindness_event(event);
  } else {
    condition_event(event);
  }
}

void Watch::note_alarm(const Alarm& alarm) {
  Effect effect;
  effect.kind = Effect::Kind::alarm;
  effect.time = now_;
  effect.alarm = alarm;
  effects_.push_back(std::move(effect));
}

/// A line for the record. What people wrote may hold anything; it never keeps the line from being written.
void Watch::record(const nlohmann::ordered_json& line, Effect::Kind kind) {
  Effect effect;
  effect.kind = kind;
  effect.time = now_;
  effect.json = line.dump(-1, ' ', false, nlohmann::ordered_json::error_handler_t::replace);
  effects_.push_back(std::move(effect));
}

std::string Watch::new_code() {
  constexpr std::size_t kLetters = kCodeLetters.size();
  constexpr std::size_t kDigits = kCodeDigits.size();
  const auto pair_of = [](std::uint64_t number) {
    return std::string{kCodeLetters[number % kLetters], kCodeDigits[number / kLetters % kDigits]};
  };
  // A stride that shares no factor with the number of codes visits all of them, neighbours far apart; so each
  // comes round as late as can be.
  const std::string code = pair_of(code_count_ * 37 + 32);
  const auto used = codes_used_.find(code);
  const bool house = std::any_of(rules_->houses.begin(), rules_->houses.end(), [&](const House& entry) { return house_in_short(entry.name) == code; });
  if (house) {  // "OK H3" can mean only one thing
    ++code_count_;
    return new_code();
  }
  if ((used == codes_used_.end() || used->second + kCodeRest <= now_) && !by_code(code)) {
    ++code_count_;
    codes_used_[code] = now_;
    return code;
  }
  for (;;) {  // a busy week: longer codes
    const std::uint64_t number = long_code_count_++;
    const std::string longer = pair_of(number * 37 + 32) + pair_of(number / (kLetters * kDigits) + number);
    if (!by_code(longer)) return longer;
  }
}

void Watch::forget_tellings() {
  while (!told_lately_.empty() && now_ - told_lately_.front() >= kFloodWindow) told_lately_.pop_front();
}

/// An alarm is told for the first time.
void Watch::note_first_telling() {
  forget_tellings();
  told_lately_.push_back(now_);
  if (told_lately_.size() > kFloodBegins) flood_ = true;
}

Alarm* Watch::standing(Alarm::Subject subject, const std::string& house, const std::string& rule,
                       const std::string& probe) {
  for (auto& [id, alarm] : alarms_) {
    if (alarm.subject == subject && alarm.house == house && alarm.rule == rule && alarm.probe == probe &&
        alarm.life.stands()) {
      return &alarm;
    }
  }
  return nullptr;
}

Alarm& Watch::raise(Alarm::Subject subject, const std::string& house, const std::string& rule,
                    const std::string& probe, Priority priority) {
  // What came back unanswered and is here again is one new alarm, not two.
  for (auto it = alarms_.begin(); it != alarms_.end();) {
    Alarm& older = it->second;
    const bool same = older.subject == subject && older.house == house && older.rule == rule && older.probe == probe;
    if (same && !older.life.stands()) {
      stop_calling(older);
      older.life.acknowledge();
      note_alarm(older);
      it = alarms_.erase(it);
    } else {
      ++it;
    }
  }
  Alarm alarm;
  alarm.id = ++alarm_count_;
  alarm.code = new_code();
  alarm.subject = subject;
  alarm.house = house;
  alarm.rule = rule;
  alarm.probe = probe;
  alarm.priority = priority;
  alarm.raised = now_;
  if (const auto index = rule_of(alarm)) alarm.life = LifeCycle(rules_->rules[*index].latch);
  alarm.life.raise();
  if (subject == Alarm::Subject::condition && shelved_.contains({house, rule})) alarm.life.shelve(true);
  return alarms_.emplace(alarm.id, std::move(alarm)).first->second;
}

void Watch::condition_event(const Event& event) {
  const WatchedRule& rule = rules_->rules[*event.rule];
  const std::string& house = rules_->houses[rule.house].name;
  const std::string probe = rule.probe ? rules_->probes[*rule.probe].name : "";
  Alarm* alarm = standing(Alarm::Subject::condition, house, rule.name, probe);
  switch (event.kind) {
    case Event::Kind::raised:
    case Event::Kind::worsened: {
      if (!alarm) alarm = &raise(Alarm::Subject::condition, house, rule.name, probe, event.priority);
      alarm->life.raise();  // of a latched one: it is there again
      alarm->returned.reset();
      alarm->priority = event.priority;
      alarm->reason = event.reason;
      alarm->value = event.value;
      alarm->limit = event.limit;
      alarm->again = urgent_again(*alarm);
      note_alarm(*alarm);
      if (event.kind == Event::Kind::raised) {
        const auto what = [&](const Language& language) { return what_is_wrong(rule, *rules_, event.reason, language); };
        night_.push_back({house, what(english()), "", now_, std::nullopt, event.priority, alarm->id, said_now(what)});
      } else {
        for (Night& entry : night_) {
          if (entry.alarm == alarm->id) entry.priority = event.priority;
        }
      }
      const bool unshelved = unshelve_if_urgent(house, rule.name, event.priority);
      if (event.kind == Event::Kind::worsened && alarm->held) release(*alarm);
      else if (!unshelved) start_calling(*alarm, event.kind == Event::Kind::raised ? Telling::may_be_held : Telling::now);
      break;
    }
    case Event::Kind::eased:
      if (!alarm) return;
      alarm->priority = event.priority;
      alarm->reason = event.reason;
      alarm->value = event.value;
      alarm->limit = event.limit;
      note_alarm(*alarm);
      ease_calling(*alarm);
      break;
    case Event::Kind::returned:
      if (!alarm || !alarm->life.condition()) return;
      alarm->value = event.value;
      end(*alarm, event.reason);
      break;
    default: break;
  }
}

void Watch::end(Alarm& alarm, Reason reason) {
  alarm.life.back();
  alarm.returned = now_;
  for (Night& entry : night_) {
    if (entry.alarm == alarm.id && !entry.returned) entry.returned = now_;
  }
  note_return(alarm);
  if (alarm.held) {  // nobody has heard of it, so that nobody has to answer it
    alarm.held = false;
    alarm.release_at = kNever;
    alarm.life.suppress(false);
    if (!alarm.life.stands()) alarm.life.acknowledge();
  }
  // What is latched stands until it is reset, and calls until somebody has answered.
  if (!alarm.life.wants_answer()) stop_calling(alarm);
  release_followers(alarm);
  tell_those_told(alarm, "", [&](const Language& language) { return back_text(alarm, reason, language); });
  note_alarm(alarm);
  forget_settled();
}

void Watch::forget_settled() {
  std::erase_if(alarms_, [](const auto& entry) { return entry.second.life.state() == AlarmState::normal; });
}

bool Watch::house_silent(std::size_t house) {
  bool any = false;
  for (const auto& [measure, probes] : rules_->houses[house].probes) {
    if (rules_->measures[measure].kind != MeasureKind::gauge) continue;
    for (const std::size_t probe : probes) {
      if (rules_->waits_for(probe, wall())) continue;
      any = true;
      if (engine_->series(probe).fresh(now_)) return false;
    }
  }
  return any;
}

/// The same of a house with several probes, where one of them more or less is no news.
bool Watch::silent_as_a_whole(std::size_t house) {
  std::size_t gauges = 0;
  for (const auto& [measure, probes] : rules_->houses[house].probes) {
    if (rules_->measures[measure].kind != MeasureKind::gauge) continue;
    for (const std::size_t probe : probes) gauges += !rules_->waits_for(probe, wall());
  }
  return gauges > 1 && house_silent(house);
}

bool Watch::occupied(std::size_t house) const {
  return std::any_of(rules_->flocks.begin(), rules_->flocks.end(), [&](const Flock& flock) {
    return flock.house == house && flock.placed - 24h <= wall() && (!flock.cleared || wall() < *flock.cleared);
  });
}

/// The first plugin that brings readings and is down; empty: none.
std::string Watch::silent_plugin() const {
  for (const PluginEntry& entry : rules_->farm.plugins) {
    const auto found = plugins_.find(entry.name);
    if (found != plugins_.end() && !found->second.up && ways_of(entry).empty()) return entry.name;
  }
  return "";
}

/// Adds a blind rule to the alarm of its group where one was joined within the last minute.
bool Watch::join_group(const std::string& group, const std::string& member, Priority priority) {
  const auto place = blind_groups_.find(group);
  if (place == blind_groups_.end() || now_ - place->second.first > kBlindTogether) return false;
  const auto found = alarms_.find(place->second.second);
  if (found == alarms_.end() || !found->second.life.condition()) return false;
  Alarm& alarm = found->second;
  place->second.first = now_;
  alarm.members.insert(member);
  const bool worse = priority > alarm.priority;
  if (worse) {
    alarm.priority = priority;
    alarm.life.worsen();
  }
  note_alarm(alarm);
  if (worse) start_calling(alarm);
  return true;
}

void Watch::blindness_event(const Event& event) {
  const WatchedRule& rule = rules_->rules[*event.rule];
  const std::string& house = rules_->houses[rule.house].name;
  const std::string member = member_name(rule, *rules_);
  if (event.kind == Event::Kind::blind) unshelve_if_urgent(house, rule.name, event.priority);
  if (event.kind == Event::Kind::sees) {
    for (auto& [id, alarm] : alarms_) {
      if (alarm.subject != Alarm::Subject::blindness) continue;
      const bool among = alarm.house.empty() ? alarm.members.erase(house + "/" + member) > 0
                                             : alarm.house == house && alarm.members.erase(member) > 0;
      if (!among) continue;
      if (alarm.members.empty()) {
        end(alarm, Reason::none);
        return;
      }
      note_alarm(alarm);
      return;
    }
    return;
  }
  // Rules that go blind together under a silent plugin, or in a silent house, are one alarm.
  const std::string plugin = silent_plugin();
  const std::string group = plugin.empty() ? house : "/" + plugin;
  const std::string named = plugin.empty() ? member : house + "/" + member;
  if ((!plugin.empty() || house_silent(rule.house)) && join_group(group, named, event.priority)) return;
  const std::string where = plugin.empty() ? house : "";
  const std::string name = plugin.empty() ? rule.name : plugin;
  const std::string probe = plugin.empty() && rule.probe ? rules_->probes[*rule.probe].name : "";
  // Blind again while the alarm that bears its name stands for others.
  if (Alarm* same = standing(Alarm::Subject::blindness, where, name, probe)) {
    same->members.insert(named);
    same->priority = std::max(same->priority, event.priority);
    same->life.worsen();
    blind_groups_[group] = {now_, same->id};
    note_alarm(*same);
    return start_calling(*same);
  }
  Alarm& alarm = raise(Alarm::Subject::blindness, where, name, probe, event.priority);
  alarm.members.insert(named);
  blind_groups_[group] = {now_, alarm.id};
  // As its text names it, without the house, which stands before it in every list.
  const std::string seen = house_in_short(house) + " ";
  const Saying what = [&](const Language& language) {
    if (!plugin.empty()) return say(language, "cannot_see") + ": " + say(language, "is_down", {{"plugin", plugin}});
    const std::string text = head(alarm, language);
    return text.starts_with(seen) ? text.substr(seen.size()) : text;
  };
  night_.push_back({where, what.in(english()), "", now_, std::nullopt, event.priority, alarm.id, said_now(what)});
  note_alarm(alarm);
  start_calling(alarm);
}

void Watch::built_in(const std::string& house, const std::string& name, const std::string& probe, bool on,
                     Priority priority, const Saying& saying) {
  Alarm* alarm = standing(Alarm::Subject::built_in, house, name, probe);
  if (on == (alarm != nullptr)) return;
  if (!on) return end(*alarm, Reason::none);
  Alarm& fresh = raise(Alarm::Subject::built_in, house, name, probe, priority);
  const std::string text = saying.in(english());
  fresh.detail = text;
  fresh.details = said_now(saying);
  night_.push_back({house, text, "", now_, std::nullopt, priority, fresh.id, fresh.details});
  nlohmann::ordered_json line = {{"time", to_rfc3339(now_)}, {"event", "trouble"}, {"what", name}, {"text", text}};
  if (!house.empty()) line["house"] = house;
  if (!probe.empty()) line["series"] = probe;
  record(line);
  note_alarm(fresh);
  start_calling(fresh);
}

void Watch::trouble(const std::string& name, bool on, const std::string& text, const std::string& part) {
  built_in("", name, part, on, Priority::soon, text);
}

void Watch::clock(Duration wall_ahead) {
  const Duration jump = wall_ahead - engine_->wall_ahead();
  engine_->set_wall(wall_ahead);
  settle_engine();
  schedule_daily();
  const auto minutes = std::chrono::duration_cast<std::chrono::minutes>(std::chrono::abs(jump));
  const Saying text = [&](const Language& language) {
    return say(language, jump < Duration::zero() ? TextKey("clock_back") : TextKey("clock_forward"), {{"span", to_words(minutes)}});
  };
  built_in("", "clock", "", false, Priority::soon, "");
  built_in("", "clock", "", true, Priority::soon, text);
  story(text.in(english()));
}

void Watch::check_minute() {
  forget_returns();
  std::erase_if(deliveries_, [&](const auto& entry) {
    return entry.second.outcome != Delivery::Outcome::open && now_ - entry.second.queued > 1h;
  });
  std::erase_if(night_, [&](const Night& entry) { return entry.returned && now_ - *entry.returned > kNightKept; });
  const Alarm* jumped = standing(Alarm::Subject::built_in, "", "clock", "");
  if (jumped && now_ - jumped->raised >= kClockNews) built_in("", "clock", "", false, Priority::soon, "");
  forget_tellings();
  if (told_lately_.size() < kFloodEnds) flood_ = false;
  keep_recent();
  learn_houses();
  keep_levels();
  keep_air();
  check_drills();
  check_probes();
  check_houses();
  check_plugins();
  test_paths();
  check_heartbeat();
}

void Watch::keep_recent() {
  recent_.resize(rules_->rules.size());
  for (std::size_t rule = 0; rule < recent_.size(); ++rule) {
    const RuleState& state = engine_->state(rule);
    if (!state.in_force || !rules_->rules[rule].watch) continue;
    recent_[rule].push_back(state.unknown_since == kNever ? engine_->latest(rule) : kUnknown);
    if (recent_[rule].size() > kRecentMinutes) recent_[rule].pop_front();
  }
}

void Watch::check_probes() {
  for (std::size_t probe = 0; probe < rules_->probes.size(); ++probe) {
    const Probe& entry = rules_->probes[probe];
    if (entry.quality.kind == MeasureKind::tally || entry.quality.kind == MeasureKind::round ||
        entry.quality.kind == MeasureKind::sample) {
      continue;
    }
    const Series& series = engine_->series(probe);
    Instant& since = unusable_since_[probe];
    if (series.usable(now_) || !occupied(entry.house) || rules_->waits_for(probe, wall())) since = kNever;
    else if (since == kNever) since = now_;
    const std::string& house = rules_->houses[entry.house].name;
    const std::string name = entry.quality.name + "/" + entry.name;
    if (since == kNever) {
      built_in(house, "probe-bad", name, false, Priority::soon, "");
      continue;
    }
    // One that stands stays until the probe is usable, also while the whole house is silent.
    if (now_ - since < kProbeBadAfter || house_silent(entry.house)) continue;
    const auto text = [&](const Language& language) {
      return say(language, series.flat() ? TextKey("probe_stopped") : TextKey("probe_is_silent"),
                 {{"measure", measure_in_words(language, entry.quality.name)}, {"probe", entry.name}});
    };
    built_in(house, "probe-bad", name, true, Priority::soon, text);
  }
}

/// A house with birds from which nothing is heard. Where its rules are blind, that alarm says so already.
void Watch::check_houses() {
  for (std::size_t house = 0; house < rules_->houses.size(); ++house) {
    const std::string& name = rules_->houses[house].name;
    if (!occupied(house) || !house_silent(house)) {
      silent_since_.erase(name);
      built_in(name, "house-silent", "", false, Priority::soon, "");
      continue;
    }
    const Instant since = silent_since_.try_emplace(name, now_).first->second;
    if (now_ - since < kHouseSilentAfter) continue;
    built_in(name, "house-silent", "", true, Priority::soon, [&](const Language& language) {
      return say(language, "house_is_silent", {{"time", clock_time(rules_->farm.zone, since + engine_->wall_ahead())}});
    });
  }
}

void Watch::reload(std::shared_ptr<const RuleSet> rules) {
  auto engine = std::make_unique<Engine>(rules);
  engine->adopt(*engine_);
  std::vector<Instant> unusable_since(rules->probes.size(), kNever);
  for (std::size_t probe = 0; probe < rules->probes.size(); ++probe) {
    if (const auto before = rules_->find_probe(rules->full_name(probe))) unusable_since[probe] = unusable_since_[*before];
  }
  if (!rules_->farm.drills.weekly && !rules_->farm.drills.before_placement) drills_from_ = now_;
  if (!rules_->farm.heartbeat) heard_ = {kNever, now_, false, ""};
  rules_ = std::move(rules);
  engine_ = std::move(engine);
  unusable_since_ = std::move(unusable_since);
  recent_.clear();
  std::erase_if(paths_, [&](const auto& entry) { return !has_plugin(rules_->farm, entry.first); });
  std::erase_if(plugins_, [&](const auto& entry) { return !has_plugin(rules_->farm, entry.first); });
  std::erase_if(air_, [&](const auto& entry) { return !rules_->find_house(entry.first); });
  settle_engine();
  end_orphans();
  schedule_daily();
  schedule_heartbeat();
}

/// Ends alarms that nothing stands behind any more: other rules, other probes, or a memory that was lost. Those
/// that are kept find their rule by name.
void Watch::end_orphans() {
  std::set<std::string> blind;  // "house/pack/rule/probe"
  for (std::size_t i = 0; i < rules_->rules.size(); ++i) {
    const WatchedRule& rule = rules_->rules[i];
    if (engine_->state(i).blind) blind.insert(rules_->houses[rule.house].name + "/" + member_name(rule, *rules_));
  }
  std::vector<std::uint64_t> orphans;
  for (auto& [id, alarm] : alarms_) {
    if (!alarm.life.condition()) continue;
    bool gone = false;
    switch (alarm.subject) {
      case Alarm::Subject::condition: {
        const auto rule = rule_of(alarm);
        gone = !rule || !engine_->state(*rule).standing();
        break;
      }
      case Alarm::Subject::blindness:
        std::erase_if(alarm.members, [&, before = alarm.house.empty() ? "" : alarm.house + "/"](const std::string& member) {
          return !blind.contains(before + member);
        });
        gone = alarm.members.empty();
        break;
      case Alarm::Subject::built_in:
        gone = (alarm.rule == "house-silent" && !rules_->find_house(alarm.house)) ||
               (alarm.rule == "probe-bad" && !rules_->find_probe(alarm.house + "/" + alarm.probe)) ||
               (alarm.rule == "heartbeat-unanswered" && (!rules_->farm.heartbeat || rules_->farm.heartbeat->over != alarm.probe)) ||
               ((alarm.rule == "plugin-silent" || alarm.rule == "path-down") && !has_plugin(rules_->farm, alarm.probe));
        break;
    }
    if (gone) orphans.push_back(id);
  }
  for (const std::uint64_t id : orphans) {
    Alarm& alarm = alarms_.at(id);
    if (alarm.subject != Alarm::Subject::built_in) {
      record({{"time", to_rfc3339(now_)}, {"event", alarm.subject == Alarm::Subject::condition ? "returned" : "sees"}, {"house", alarm.house}, {"rule", alarm.rule},
              {"probe", alarm.probe.empty() ? nlohmann::ordered_json() : nlohmann::ordered_json(alarm.probe)},
              {"priority", to_string(alarm.priority)}, {"reason", to_string(Reason::not_watched)}});
    }
    end(alarm, Reason::not_watched);
  }
}

}  // namespace underwing
