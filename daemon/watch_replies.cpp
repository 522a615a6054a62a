// Watch: what people send, and what they are told back. Every change is confirmed to whoever asked for it.
#include <fmt/format.h>

#include <algorithm>
#include <nlohmann/json.hpp>

#include "daemon/duty.hpp"
#include "daemon/watch.hpp"
#include "daemon/words.hpp"

namespace underwing {

namespace {

using namespace std::chrono_literals;

constexpr std::size_t kReplyKeptMax = 160;
constexpr Duration kHelpRest = 12h;       // one line of help, then none until something was understood or this has passed
constexpr Duration kWorkMax = 12h;        // as for shelving: a slip of a thumb must not blind the watch for days
constexpr Duration kWorkReminder = 5min;

constexpr const char* kHelp =
    "OK K7: I have it. HERE: I am in the house. PASS: I cannot. STATUS. WORK H1 45M. SHELVE K7 1H why. Rounds: H1 DEAD 12, H1 CROP 85, "
    "UNDO.";
constexpr const char* kNotUnderstood = "Not understood. OK K7: I have it. HERE: I am in the house. PASS: I cannot. HELP tells the rest.";

}  // namespace

/// A person's own message is answered by text, or by the way that there is.
void Watch::answer(const Person& person, const std::string& text) {
  if (person.addresses.empty()) return;
  Mail::Waiting message;
  message.text = message.in_short = fit({text});
  tell(person.name, {person.addresses.contains(Way::text) ? Way::text : person.addresses.begin()->first}, message);
}

void Watch::reply(const std::string& from, const std::string& by, const std::string& text, MayName may_name) {
  const Person* person = by == "mqtt" ? nullptr : person_at(rules_->farm, from);
  if (!person && may_name == MayName::yes) person = find_person(rules_->farm, from);
  record({{"time", to_rfc3339(now_)}, {"event", "reply"}, {"from", from}, {"by", by},
          {"who", person ? nlohmann::ordered_json(person->name) : nlohmann::ordered_json()}, {"text", text.substr(0, kReplyKeptMax)}},
         Effect::Kind::answer);
  if (!person) return;  // strangers are kept, never answered
  const Reply asked = read_reply(text, *rules_);
  if (asked.kind == Reply::Kind::automatic) return;
  if (asked.kind != Reply::Kind::unclear) helped_.erase(person->name);
  const std::string answer_text = carry_out(*person, asked);
  if (!answer_text.empty()) answer(*person, answer_text);
  forget_settled();
}

std::string Watch::carry_out(const Person& person, const Reply& asked) {
  switch (asked.kind) {
    case Reply::Kind::ok:
    case Reply::Kind::here:
    case Reply::Kind::pass: return take_answer(person, asked);
    case Reply::Kind::status: return status_text(asked.house);
    case Reply::Kind::help: return kHelp;
    case Reply::Kind::undo: return take_back(person.name).text;
    case Reply::Kind::work: {
      const auto house = asked.house ? asked.house : only_house();
      if (!house) return "Which house? As in WORK H1 45M.";
      if (!asked.span) return fmt::format("For how long? As in WORK {} 45M.", house_in_short(rules_->houses[*house].name));
      return work_by(*house, *asked.span, person.name).text;
    }
    case Reply::Kind::shelve: return shelve_by_code(person, asked);
    case Reply::Kind::record: {
      const std::string word = word_of(rules_->measures[*asked.measure]);
      const auto house = asked.house ? asked.house : only_house(asked.measure);
      if (!house) return fmt::format("Which house? As in H1 {} {:g}.", word, asked.value.value_or(0));
      if (!asked.value) return fmt::format("How many? As in {} {} 10.", house_in_short(rules_->houses[*house].name), word);
      return enter(*house, *asked.measure, *asked.value, person.name).text;
    }
    case Reply::Kind::unclear: {
      const auto helped = helped_.find(person.name);
      if (helped != helped_.end() && now_ - helped->second < kHelpRest) return "";
      helped_[person.name] = now_;
      return kNotUnderstood;
    }
    case Reply::Kind::automatic: return "";
  }
  return "";
}

/// The house that is meant where none is named: the farm's only one, or the only one with such probes and birds.
std::optional<std::size_t> Watch::only_house(std::optional<std::size_t> measure) const {
  if (rules_->houses.size() == 1) return 0;
  if (!measure) return std::nullopt;
  std::optional<std::size_t> found;
  for (std::size_t house = 0; house < rules_->houses.size(); ++house) {
    if (!rules_->houses[house].probes.contains(*measure) || !occupied(house)) continue;
    if (found) return std::nullopt;
    found = house;
  }
  return found;
}

/// The alarms that an answer speaks of: by code, of a house, or all of the last text.
std::vector<std::string> Watch::codes_meant(const Person& person, const Reply& asked) const {
  std::vector<std::string> codes = asked.codes;
  if (asked.house) {
    for (const auto& [id, alarm] : alarms_) {
      if (alarm.house == rules_->houses[*asked.house].name && !alarm.told.empty()) codes.push_back(alarm.code);
    }
  }
  if (!asked.codes.empty() || asked.house) return codes;
  const auto last = last_codes_.find(person.name);
  return last == last_codes_.end() ? codes : last->second;
}

std::string Watch::take_answer(const Person& person, const Reply& asked) {
  const std::vector<std::string> codes = codes_meant(person, asked);
  if (codes.empty()) return "Nothing is open that you have been told of.";
  std::vector<std::string> done, others;
  bool urgent = false;
  for (const std::string& code : codes) {
    Alarm* alarm = by_code(code);
    if (!alarm) {
      others.push_back(fmt::format("There is no alarm {} now; nothing was changed", code));
      continue;
    }
    const std::string what = fmt::format("{} ({})", head(*alarm), alarm->code);
    const bool had_it = alarm->acknowledged_by == person.name && alarm->life.state() == AlarmState::acknowledged;
    if (asked.kind == Reply::Kind::pass) {
      if (alarm->calling.running) take_step(*alarm);
      else if (had_it) call_again(*alarm);
      else {
        others.push_back(alarm->acknowledged_by.empty() ? what + " does not call anybody now" : what + " is with " + alarm->acknowledged_by);
        continue;
      }
    } else {
      const bool over = !alarm->life.stands();
      const std::string with = alarm->acknowledged_by;
      const bool taken = !alarm->life.wants_answer() && !over && !had_it;
      const bool drill = is_drill(*alarm);
      acknowledge_alarm(*alarm, person.name);
      if (drill) {  // An answered drill is over, and may be forgotten by now.
        done.push_back(what);
        continue;
      }
      if (asked.kind == Reply::Kind::here && !over) {
        alarm->here = true;
        plan_check(*alarm);
        note_alarm(*alarm);
      } else if (taken) {
        others.push_back(with.empty() ? what + " needs no answer" : what + " is with " + with + " already");
        continue;
      }
      if (over) {
        others.push_back(what + " is over already");
        continue;
      }
    }
    done.push_back(what);
    urgent = urgent || (alarm->priority == Priority::urgent && !is_drill(*alarm));
  }
  std::string text;
  if (!done.empty()) {
    const char* first = asked.kind == Reply::Kind::pass ? "Passed on: " : asked.kind == Reply::Kind::here ? "You are there: " : "You have ";
    const char* last = asked.kind == Reply::Kind::ok && urgent ? ". Send HERE when you are there." : ".";
    text = first + list_of(done, "; ") + last;
    if (gsm_length(to_gsm(text)) > kTextSeptetsMax) text = fmt::format("{}{} alarms{}", first, done.size(), last);
  }
  if (!others.empty()) text += (text.empty() ? "" : " ") + list_of(others, ". ") + ".";
  return text;
}

std::string Watch::shelve_by_code(const Person& person, const Reply& asked) {
  if (asked.codes.empty()) return "Which alarm? As in SHELVE K7 1H why.";
  const Alarm* alarm = by_code(asked.codes.front());
  if (!alarm) return fmt::format("There is no alarm {} now; nothing was changed.", asked.codes.front());
  const auto rule = rule_of(*alarm);
  if (alarm->subject != Alarm::Subject::condition || !rule) return fmt::format("{} cannot be shelved; OK {} answers it.", alarm->code, alarm->code);
  if (!asked.span) return fmt::format("For how long? As in SHELVE {} 1H why.", alarm->code);
  const std::string what = house_in_short(alarm->house) + " " + what_is_wrong(rules_->rules[*rule], *rules_, alarm->reason);
  if (rules_->rules[*rule].worst_priority() == Priority::urgent) {
    return fmt::format("{} can be urgent: it is shelved at the gateway only. WORK {} 45M is for repairs.", what, house_in_short(alarm->house));
  }
  const std::string until = clock_time(rules_->farm.zone, wall() + *asked.span);
  const Answered answered = shelve(alarm->house, alarm->rule, *asked.span, asked.why, person.name, EvenUrgent::no);
  return answered.done ? fmt::format("{} is shelved until {}: {}.", what, until, asked.why) : answered.text;
}

// --- work ---------------------------------------------------------------------------------------------------

void Watch::work(std::size_t house, Instant until, const std::string& who) {
  const std::string& name = rules_->houses[house].name;
  if (until > now_) works_[name] = {until, who, until - now_ <= kWorkReminder};
  else works_.erase(name);
  record({{"time", to_rfc3339(now_)}, {"event", "work"}, {"house", name}, {"who", who}, {"until", to_rfc3339(std::max(now_, until))},
          {"until_local", clock_time(rules_->farm.zone, std::max(now_, until) + (wall() - now_))}});
  engine_->set_work(house, until);
  settle_engine();
}

Watch::Answered Watch::work_by(std::size_t house, Duration span, const std::string& who) {
  if (span > kWorkMax) return {false, fmt::format("{} is longer than 12 h; nothing was changed.", to_words(span))};
  const std::string name = house_in_short(rules_->houses[house].name);
  Effect::Entry entry;
  entry.house = house;
  entry.until = now_ + span;
  entry.who = who;
  work(house, entry.until, who);
  note_entry(entry);
  if (span <= Duration::zero()) return {true, fmt::format("{} is watched as before.", name)};
  return {true, fmt::format("Work in {} until {}. Till then only what cannot wait is watched there. Done earlier: WORK {} 0", name,
                            clock_time(rules_->farm.zone, wall() + span), name)};
}

Instant Watch::work_due() const {
  Instant due = kNever;
  for (const auto& [house, work] : works_) due = std::min(due, work.reminded ? work.until : work.until - kWorkReminder);
  return due;
}

void Watch::remind_of_work(Instant time) {
  for (auto it = works_.begin(); it != works_.end();) {
    auto& [house, work] = *it;
    if (!work.reminded && work.until - kWorkReminder <= time) {
      work.reminded = true;
      const std::string name = house_in_short(house);
      Mail::Waiting message;
      message.text = message.in_short = fit({fmt::format("{} is watched again from {}. More time: WORK {} 30M.", name,
                                                         clock_time(rules_->farm.zone, work.until + engine_->wall_ahead()), name)});
      const bool person = find_person(rules_->farm, work.who) != nullptr;
      const std::vector<std::string> whom = person ? std::vector{work.who} : people_of(rules_->farm, {"on-duty"}, wall(), swaps_);
      for (const std::string& who : whom) tell(who, {Way::text}, message);
    }
    it = work.until <= time ? works_.erase(it) : std::next(it);
  }
}

// --- rounds -------------------------------------------------------------------------------------------------

void Watch::note_entry(const Effect::Entry& entry) {
  Effect effect;
  effect.kind = Effect::Kind::entry;
  effect.time = now_;
  effect.entry = entry;
  effects_.push_back(std::move(effect));
}

/// Gives the engine a value that a person entered, as a reading of its own time.
void Watch::take_entry(std::size_t probe, double value, const std::string& who) {
  Effect::Entry entry;
  entry.probe = probe;
  entry.house = rules_->probes[probe].house;
  entry.value = value;
  entry.who = who;
  entry.time = std::max(now_, engine_->series(probe).last_good() + Duration(1));  // two in one moment are two
  reading(probe, entry.time, value);
  note_entry(entry);
}

Watch::Answered Watch::enter(std::size_t house, std::size_t measure, double value, const std::string& who) {
  const std::string name = house_in_short(rules_->houses[house].name);
  const Measure& kind = rules_->measures[measure];
  const std::string what = measure_in_words(kind.name);
  const auto probes = rules_->houses[house].probes.find(measure);
  if (probes == rules_->houses[house].probes.end()) {
    return {false, fmt::format("{} takes no {}: farm.yaml names no place for it there. Nothing was written down.", name, what)};
  }
  if (kind.kind != MeasureKind::round && kind.kind != MeasureKind::tally) {
    return {false, fmt::format("{} is measured, not entered. Nothing was written down.", what)};
  }
  const std::size_t probe = probes->second.front();
  const Measure& quality = rules_->probes[probe].quality;
  const bool tally = kind.kind == MeasureKind::tally;
  const double lowest = tally ? 0 : quality.plausible_low;
  if (value < lowest || value > quality.plausible_high) {
    return {false, fmt::format("{} {:g} cannot be: it is between {:g} and {:g}. Nothing was written down.", what, value, lowest, quality.plausible_high)};
  }
  const Series& series = engine_->series(probe);
  last_entered_[who] = {rules_->full_name(probe), value, series.ever_good() ? std::optional(series.last_value()) : std::nullopt};
  take_entry(probe, value, who);
  if (!tally) return {true, fmt::format("{} {} {:g}{} is written down.", name, what, value, quality.unit.text.empty() ? "" : " " + quality.unit.text)};
  return {true, fmt::format("{} {} {:g}: {}.", name, what, value, tally_text(probe))};
}

/// "today 15, flock 45 of 17000".
std::string Watch::tally_text(std::size_t probe) const {
  const Zone& zone = rules_->farm.zone;
  const Instant midnight = zone.to_utc({std::chrono::floor<std::chrono::days>(zone.to_local(wall()).as_if_utc)}).first - engine_->wall_ahead();
  const Series& series = engine_->series(probe);
  std::string text = fmt::format("today {:g}", series.tally_since(midnight));
  if (const auto flock = rules_->flock_in(rules_->probes[probe].house, wall())) {
    const Flock& birds = rules_->flocks[*flock];
    text += fmt::format(", flock {:g} of {:g}", series.tally_since(birds.placed - engine_->wall_ahead()), birds.birds);
  }
  return text;
}

Watch::Answered Watch::take_back(const std::string& who) {
  const auto last = last_entered_.find(who);
  const auto probe = last == last_entered_.end() ? std::nullopt : rules_->find_probe(last->second.probe);
  if (!probe) return {false, "There is nothing of yours to take back."};
  const LastEntered entered = last->second;
  const Measure& quality = rules_->probes[*probe].quality;
  const std::string name = house_in_short(rules_->houses[rules_->probes[*probe].house].name) + " " + measure_in_words(quality.name);
  if (quality.kind != MeasureKind::tally && !entered.before) {
    return {false, fmt::format("{} had no value before {:g}; send the right one instead.", name, entered.value)};
  }
  last_entered_.erase(last);
  if (quality.kind != MeasureKind::tally) {
    take_entry(*probe, *entered.before, who);
    return {true, fmt::format("Taken back: {} is {:g} again.", name, *entered.before)};
  }
  take_entry(*probe, -entered.value, who);
  return {true, fmt::format("Taken back: {} {:g}. Now {}.", name, entered.value, tally_text(*probe))};
}

/// Rounds and tallies hold for longer than any window of the tape that is taken back at a start.
void Watch::keep_entry(std::size_t probe, Instant time, double value) {
  auto& kept = entries_[rules_->full_name(probe)];
  kept.emplace_back(time, value);
  if (rules_->probes[probe].quality.kind == MeasureKind::round) {
    if (kept.size() > 2) kept.erase(kept.begin());
    return;
  }
  const auto flock = rules_->flock_in(rules_->probes[probe].house, wall());
  if (!flock) return;
  const Instant placed = rules_->flocks[*flock].placed - engine_->wall_ahead();
  std::erase_if(kept, [&](const auto& entry) { return entry.first < placed - 24h; });
}

// --- status -------------------------------------------------------------------------------------------------

std::string Watch::house_status(std::size_t house, bool in_full) {
  const std::string& name = rules_->houses[house].name;
  const auto flock = rules_->flock_in(house, wall());
  if (!flock && !occupied(house)) return house_in_short(name) + ": empty";
  std::string text = house_in_short(name);
  if (flock) text += " " + day_of(rules_->flocks[*flock], rules_->farm.zone, wall());
  std::vector<double> air;
  const auto measure = rules_->find_measure("air_temperature");
  const auto probes = measure ? rules_->houses[house].probes.find(*measure) : rules_->houses[house].probes.end();
  if (probes != rules_->houses[house].probes.end()) {
    for (const std::size_t probe : probes->second) {
      if (const double held = engine_->series(probe).held(now_); known(held)) air.push_back(held);
    }
    std::sort(air.begin(), air.end());
    if (air.empty()) text += ": no air temperature";
    else if (air.front() == air.back()) text += ": " + with_unit(air.front(), rules_->measures[*measure].unit);
    else text += fmt::format(": {:.1f} to {}", air.front(), with_unit(air.back(), rules_->measures[*measure].unit));
  }
  std::vector<std::string> standing;
  for (const auto& [id, alarm] : alarms_) {
    if (alarm.house != name || !alarm.life.stands()) continue;
    const bool answered = !alarm.life.wants_answer() && !alarm.acknowledged_by.empty();
    standing.push_back(head(alarm).substr(house_in_short(name).size() + 1) + " " + alarm.code + (answered ? " (" + alarm.acknowledged_by + ")" : ""));
  }
  if (standing.empty()) return text + ", no alarm";
  return text + ", " + (in_full ? list_of(standing, ", ") : fmt::format("{} alarm{}", standing.size(), standing.size() == 1 ? "" : "s"));
}

std::string Watch::status_text(std::optional<std::size_t> only) {
  const auto all = [&](bool in_full) {
    std::vector<std::string> parts;
    for (std::size_t house = 0; house < rules_->houses.size(); ++house) {
      if (!only || *only == house) parts.push_back(house_status(house, in_full));
    }
    return fmt::format("{} {}.", clock_time(rules_->farm.zone, wall()), list_of(parts, "; "));
  };
  const auto farm = std::count_if(alarms_.begin(), alarms_.end(), [](const auto& entry) { return entry.second.house.empty() && entry.second.life.stands(); });
  const std::string troubles = farm == 0 || only ? "" : fmt::format(" Farm: {} trouble{}.", farm, farm == 1 ? "" : "s");
  const std::string duty = fmt::format(" On duty: {}.", on_duty(rules_->farm, wall(), swaps_).value_or("everyone"));
  return fit({all(true) + troubles + duty, all(true) + troubles, all(false) + troubles + duty, all(false) + troubles});
}

}  // namespace underwing
