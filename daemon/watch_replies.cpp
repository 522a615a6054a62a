// Watch: what people send, and what they are told back. Every change is confirmed to whoever asked for it.
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

constexpr std::size_t kReplyKeptMax = 160;
constexpr Duration kHelpRest = 12h;       // one line of help, then none until something was understood or this has passed
constexpr Duration kWorkMax = 12h;        // as for shelving: a slip of a thumb must not blind the watch for days
constexpr Duration kWorkReminder = 5min;
constexpr Duration kKeysKept = 24h;
constexpr std::size_t kKeysMax = 200;

}  // namespace

/// A person's own message is answered by text, or by the way that there is.
void Watch::answer(const Person& person, const std::string& text) {
  if (person.addresses.empty()) return;
  Mail::Waiting message;
  message.text = message.in_short = fit({text});
  tell(person.name, {person.addresses.contains(Way::text) ? Way::text : person.addresses.begin()->first}, message);
}

void Watch::reply(const std::string& from, const std::string& by, const std::string& text, MayName may_name, const std::string& key) {
  if (!key.empty() && !note_key(key)) return;
  const Person* person = by == "mqtt" ? nullptr : person_at(rules_->farm, from);
  if (!person && may_name == MayName::yes) person = find_person(rules_->farm, from);
  record({{"time", to_rfc3339(now_)}, {"event", "reply"}, {"from", from}, {"by", by},
          {"who", person ? nlohmann::ordered_json(person->name) : nlohmann::ordered_json()}, {"text", text.substr(0, kReplyKeptMax)}},
         Effect::Kind::answer);
  if (!person) return;  // strangers are kept, never answered
  const Reply asked = read_reply(text, *rules_, language_of(person->name));
  if (asked.kind == Reply::Kind::automatic) return;
  if (asked.kind != Reply::Kind::unclear) helped_.erase(person->name);
  const std::string answer_text = carry_out(*person, asked);
  if (!answer_text.empty()) answer(*person, answer_text);
  forget_settled();
}

/// False: a reply of this key was taken before.
bool Watch::note_key(const std::string& key) {
  if (replies_taken_.contains(key)) return false;
  std::erase_if(replies_taken_, [&](const auto& taken) { return now_ - taken.second > kKeysKept; });
  if (replies_taken_.size() >= kKeysMax) {
    replies_taken_.erase(std::min_element(replies_taken_.begin(), replies_taken_.end(), [](const auto& a, const auto& b) { return a.second < b.second; }));
  }
  replies_taken_[key] = now_;
  return true;
}

std::string Watch::carry_out(const Person& person, const Reply& asked) {
  const Language& language = language_of(person.name);
  switch (asked.kind) {
    case Reply::Kind::ok:
    case Reply::Kind::here:
    case Reply::Kind::pass: return take_answer(person, asked);
    case Reply::Kind::status: return status_text(asked.house, language);
    case Reply::Kind::help: return say(language, "help");
    case Reply::Kind::undo: return take_back(person.name, language).text;
    case Reply::Kind::work: {
      const auto house = asked.house ? asked.house : only_house();
      if (!house) return say(language, "work_which");
      if (!asked.span) return say(language, "work_how_long", {{"house", house_in_short(rules_->houses[*house].name)}});
      return work_by(*house, *asked.span, person.name, language).text;
    }
    case Reply::Kind::shelve: return shelve_by_code(person, asked);
    case Reply::Kind::record: {
      const std::string word = word_of(rules_->measures[*asked.measure]);
      const auto house = asked.house ? asked.house : only_house(asked.measure);
      if (!house) return say(language, "round_which", {{"word", word}, {"value", fmt::format("{:g}", asked.value.value_or(0))}});
      const Unit& unit = rules_->measures[*asked.measure].unit;
      const auto written = asked.unit ? parse_unit(*asked.unit) : shown(unit);  // whoever reads °F writes °F
      const auto value_written = asked.value && written ? convert(*asked.value, *written, unit) : std::nullopt;
      if (!value_written) {
        return say(language, "round_how_many", {{"house", house_in_short(rules_->houses[*house].name)}, {"word", word}, {"value", example_of(*asked.measure)}});
      }
      return enter(*house, *asked.measure, *value_written, person.name, language).text;
    }
    case Reply::Kind::unclear: {
      const auto helped = helped_.find(person.name);
      if (helped != helped_.end() && now_ - helped->second < kHelpRest) return "";
      helped_[person.name] = now_;
      return say(language, "not_understood");
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
  const Language& language = language_of(person.name);
  const std::vector<std::string> codes = codes_meant(person, asked);
  if (codes.empty()) return say(language, "nothing_open");
  std::vector<std::string> done, others;
  bool urgent = false;
  for (const std::string& code : codes) {
    Alarm* alarm = by_code(code);
    if (!alarm) {
      others.push_back(say(language, "no_such_alarm", {{"code", code}}));
      continue;
    }
    const std::string what = fmt::format("{} ({})", head(*alarm, language), alarm->code);
    const bool had_it = alarm->acknowledged_by == person.name && alarm->life.state() == AlarmState::acknowledged;
    if (asked.kind == Reply::Kind::pass) {
      if (alarm->calling.running) take_step(*alarm);
      else if (had_it) call_again(*alarm);
      else {
        others.push_back(alarm->acknowledged_by.empty() ? say(language, "calls_nobody", {{"alarm", what}})
                                                        : say(language, "is_with", {{"alarm", what}, {"who", who_in(alarm->acknowledged_by, language)}}));
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
        others.push_back(with.empty() ? say(language, "needs_no_answer", {{"alarm", what}}) : say(language, "is_with_already", {{"alarm", what}, {"who", who_in(with, language)}}));
        continue;
      }
      if (over) {
        others.push_back(say(language, "over_already", {{"alarm", what}}));
        continue;
      }
    }
    done.push_back(what);
    urgent = urgent || (alarm->priority == Priority::urgent && !is_drill(*alarm));
  }
  std::string text;
  if (!done.empty()) {
    const TextKey key = asked.kind == Reply::Kind::pass   ? TextKey("passed_on")
                        : asked.kind == Reply::Kind::here ? TextKey("you_are_there")
                        : urgent                          ? TextKey("send_here")
                                                          : TextKey("you_have");
    text = say(language, key, {{"alarms", list_of(done, "; ")}});
    if (gsm_length(to_gsm(text)) > kTextSeptetsMax) text = say(language, key, {{"alarms", say_count(language, "alarms", done.size())}});
  }
  if (!others.empty()) text += (text.empty() ? "" : " ") + list_of(others, " ");
  return text;
}

std::string Watch::shelve_by_code(const Person& person, const Reply& asked) {
  const Language& language = language_of(person.name);
  if (asked.codes.empty()) return say(language, "shelve_which");
  const Alarm* alarm = by_code(asked.codes.front());
  if (!alarm) return say(language, "no_such_alarm", {{"code", asked.codes.front()}});
  const auto rule = rule_of(*alarm);
  if (alarm->subject != Alarm::Subject::condition || !rule) return say(language, "shelve_not", {{"code", alarm->code}});
  if (!asked.span) return say(language, "shelve_how_long", {{"code", alarm->code}});
  const std::string what = house_in_short(alarm->house) + " " + what_is_wrong(rules_->rules[*rule], *rules_, alarm->reason, language);
  if (rules_->rules[*rule].worst_priority() == Priority::urgent) {
    return say(language, "shelve_urgent", {{"alarm", what}, {"house", house_in_short(alarm->house)}});
  }
  const std::string until = clock_time(rules_->farm.zone, wall() + *asked.span);
  const Answered answered = shelve(alarm->house, alarm->rule, *asked.span, asked.why, person.name, EvenUrgent::no, language);
  return answered.done ? say(language, "shelved", {{"alarm", what}, {"time", until}, {"why", asked.why}}) : answered.text;
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

Watch::Answered Watch::work_by(std::size_t house, Duration span, const std::string& who, const Language& language) {
  if (span > kWorkMax) return {false, say(language, "work_too_long", {{"span", to_words(span)}})};
  const std::string name = house_in_short(rules_->houses[house].name);
  Effect::Entry entry;
  entry.house = house;
  entry.until = now_ + span;
  entry.who = who;
  work(house, entry.until, who);
  note_entry(entry);
  if (span <= Duration::zero()) return {true, say(language, "work_over", {{"house", name}})};
  return {true, say(language, "work_begins", {{"house", name}, {"time", clock_time(rules_->farm.zone, wall() + span)}})};
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
      const Slots slots{{"house", name}, {"time", clock_time(rules_->farm.zone, work.until + engine_->wall_ahead())}};
      Mail::Waiting message;
      const bool person = find_person(rules_->farm, work.who) != nullptr;
      const std::vector<std::string> whom = person ? std::vector{work.who} : people_of(rules_->farm, {"on-duty"}, wall(), swaps_);
      for (const std::string& who : whom) {
        message.text = message.in_short = fit({say(language_of(who), "work_ends", slots)});
        tell(who, {Way::text}, message);
      }
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

Watch::Answered Watch::enter(std::size_t house, std::size_t measure, double value, const std::string& who, const Language& language) {
  const std::string name = house_in_short(rules_->houses[house].name);
  const Measure& kind = rules_->measures[measure];
  const std::string what = measure_in_words(language, kind.name);
  const auto probes = rules_->houses[house].probes.find(measure);
  if (probes == rules_->houses[house].probes.end()) {
    return {false, say(language, "round_not_here", {{"house", name}, {"measure", what}})};
  }
  if (kind.kind != MeasureKind::round && kind.kind != MeasureKind::tally) {
    return {false, fmt::format("{} is measured, not entered. Nothing was written down.", what)};
  }
  const std::size_t probe = probes->second.front();
  const Measure& quality = rules_->probes[probe].quality;
  const bool tally = kind.kind == MeasureKind::tally;
  const double lowest = tally ? 0 : quality.plausible_low;
  const std::string its_unit = quality.unit.text.empty() ? "" : " " + shown(quality.unit).text;
  if (value < lowest || value > quality.plausible_high) {
    return {false, say(language, "round_cannot_be", {{"measure", what}, {"value", entered(value, quality.unit)}, {"low", entered(lowest, quality.unit)},
                                                     {"high", entered(quality.plausible_high, quality.unit) + its_unit}})};
  }
  if (tally && value != std::floor(value)) return {false, say(language, "whole_numbers", {{"measure", what}, {"value", entered(value, quality.unit)}})};
  const Series& series = engine_->series(probe);
  last_entered_[who] = {rules_->full_name(probe), value, series.ever_good() ? std::optional(series.last_value()) : std::nullopt};
  take_entry(probe, value, who);
  const std::string number = entered(value, quality.unit);
  if (tally) return {true, say(language, "counted", {{"house", name}, {"measure", what}, {"value", number}, {"tally", tally_text(probe, language)}})};
  return {true, say(language, "written", {{"house", name}, {"measure", what}, {"value", number + its_unit}})};
}

/// A value that could be: the middle of what is plausible, in round figures.
std::string Watch::example_of(std::size_t measure) const {
  const Measure& kind = rules_->measures[measure];
  if (kind.kind == MeasureKind::tally) return "10";
  return fmt::format("{:.0f}", *convert((kind.plausible_low + kind.plausible_high) / 2, kind.unit, shown(kind.unit)));
}

/// What a person entered, or may enter, in the unit of `unit`: as they wrote it.
std::string Watch::entered(double value, const Unit& unit) const {
  return fmt::format("{:g}", *convert(value, unit, shown(unit)));
}

/// "today 15, flock 45 of 17000".
std::string Watch::tally_text(std::size_t probe, const Language& language) const {
  const Zone& zone = rules_->farm.zone;
  const Instant midnight = zone.to_utc({std::chrono::floor<std::chrono::days>(zone.to_local(wall()).as_if_utc)}).first - engine_->wall_ahead();
  const Series& series = engine_->series(probe);
  Slots slots{{"today", fmt::format("{:g}", series.tally_since(midnight))}};
  if (const auto flock = rules_->flock_in(rules_->probes[probe].house, wall())) {
    const Flock& birds = rules_->flocks[*flock];
    slots.emplace_back("total", fmt::format("{:g}", series.tally_since(birds.placed - engine_->wall_ahead())));
    slots.emplace_back("birds", fmt::format("{:g}", birds.birds));
    return say(language, "tally_flock", slots);
  }
  return say(language, "tally", slots);
}

Watch::Answered Watch::take_back(const std::string& who, const Language& language) {
  const auto last = last_entered_.find(who);
  const auto probe = last == last_entered_.end() ? std::nullopt : rules_->find_probe(last->second.probe);
  if (!probe) return {false, say(language, "none_to_take_back")};
  const LastEntered last_one = last->second;
  const Measure& quality = rules_->probes[*probe].quality;
  const std::string name = house_in_short(rules_->houses[rules_->probes[*probe].house].name) + " " + measure_in_words(language, quality.name);
  if (quality.kind != MeasureKind::tally && !last_one.before) {
    return {false, say(language, "none_before", {{"round", name}, {"value", entered(last_one.value, quality.unit)}})};
  }
  last_entered_.erase(last);
  if (quality.kind != MeasureKind::tally) {
    take_entry(*probe, *last_one.before, who);
    return {true, say(language, "taken_back", {{"round", name}, {"value", entered(*last_one.before, quality.unit)}})};
  }
  take_entry(*probe, -last_one.value, who);
  return {true, say(language, "tally_back", {{"round", name}, {"value", entered(last_one.value, quality.unit)}, {"tally", tally_text(*probe, language)}})};
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

std::string Watch::house_status(std::size_t house, bool in_full, const Language& language) {
  const std::string& name = rules_->houses[house].name;
  const auto flock = rules_->flock_in(house, wall());
  if (!flock && !occupied(house)) return say(language, "empty", {{"house", house_in_short(name)}});
  std::string text = house_in_short(name);
  if (flock) text += " " + day_of(rules_->flocks[*flock], rules_->farm.zone, wall(), language);
  std::vector<double> air;
  const auto measure = rules_->find_measure("air_temperature");
  const auto probes = measure ? rules_->houses[house].probes.find(*measure) : rules_->houses[house].probes.end();
  if (probes != rules_->houses[house].probes.end()) {
    for (const std::size_t probe : probes->second) {
      if (const double held = engine_->series(probe).held(now_); known(held) && !rules_->waits_for(probe, wall())) air.push_back(held);
    }
    std::sort(air.begin(), air.end());
    const Unit& unit = rules_->measures[*measure].unit;
    const auto told = [&](double held) { return with_unit(unit.to_canonical(held), shown(unit)); };
    if (air.empty()) text += ": " + say(language, "no_air");
    else if (air.front() == air.back()) text += ": " + told(air.front());
    else text += ": " + say(language, "range", {{"low", fmt::format("{:.1f}", *convert(air.front(), unit, shown(unit)))}, {"value", told(air.back())}});
  }
  std::vector<std::string> standing;
  for (const auto& [id, alarm] : alarms_) {
    if (alarm.house != name || !alarm.life.stands()) continue;
    const bool answered = !alarm.life.wants_answer() && !alarm.acknowledged_by.empty();
    standing.push_back(head(alarm, language).substr(house_in_short(name).size() + 1) + " " + alarm.code + (answered ? " (" + who_in(alarm.acknowledged_by, language) + ")" : ""));
  }
  if (standing.empty()) return text + ", " + say(language, "no_alarm");
  return text + ", " + (in_full ? list_of(standing, ", ") : say_count(language, "alarms", standing.size()));
}

std::string Watch::status_text(std::optional<std::size_t> only, const Language& language) {
  const auto all = [&](bool in_full) {
    std::vector<std::string> parts;
    for (std::size_t house = 0; house < rules_->houses.size(); ++house) {
      if (!only || *only == house) parts.push_back(house_status(house, in_full, language));
    }
    return fmt::format("{} {}.", clock_time(rules_->farm.zone, wall()), list_of(parts, "; "));
  };
  const auto farm = std::count_if(alarms_.begin(), alarms_.end(), [](const auto& entry) { return entry.second.house.empty() && entry.second.life.stands(); });
  const std::string troubles = farm == 0 || only ? "" : " " + say_count(language, "farm_troubles", static_cast<std::size_t>(farm));
  const std::string duty = " " + say(language, "on_duty", {{"who", on_duty(rules_->farm, wall(), swaps_).value_or(say(language, "everyone"))}});
  return fit({all(true) + troubles + duty, all(true) + troubles, all(false) + troubles + duty, all(false) + troubles});
}

}  // namespace underwing
