#include "daemon/tool/account.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <nlohmann/json.hpp>

#include "daemon/duty.hpp"
#include "daemon/json_text.hpp"
#include "daemon/words.hpp"
#include "rules/explain/words.hpp"

namespace underwing::tool {

namespace {

using nlohmann::json;

/// An alarm's text ends with how to answer it, code included: what two texts about the same alarms share.
std::string_view replies_of(std::string_view text) {
  const std::size_t at = text.rfind(" Reply ");
  return at == std::string_view::npos ? text : text.substr(at);
}

void add(std::vector<std::string>& words, const std::string& word) {
  if (std::find(words.begin(), words.end(), word) == words.end()) words.push_back(word);
}

std::string times(std::size_t count) { return count == 1 ? "once" : count == 2 ? "twice" : fmt::format("{} times", count); }

}  // namespace

std::string Account::line(Instant time, const std::string& sentence) const { return story_.stamp(time) + "  " + sentence; }

bool Account::repeats(const Telling& telling) const {
  return last_ && telling.step == last_->step && telling.people == last_->people && telling.ways == last_->ways &&
         replies_of(telling.text) == replies_of(last_->text);
}

void Account::end_repeats(std::vector<std::string>& lines) {
  if (repeated_ > 0) {
    lines.push_back(line(repeated_last_, fmt::format("{} {} told again {} by now, with the values of then", join_words(last_->people),
                                                     last_->people.size() == 1 ? "is" : "are", times(static_cast<std::size_t>(repeated_)))));
  }
  repeated_ = 0;
}

void Account::end_telling(std::vector<std::string>& lines) {
  if (!telling_) return;
  Telling told = *std::exchange(telling_, std::nullopt);
  put_in_order(told.people);
  if (repeats(told)) {
    ++repeated_;
    repeated_last_ = told.time;
    return;
  }
  end_repeats(lines);
  lines.push_back(line(told.time, fmt::format("{} {} told by {}: {}", join_words(told.people), told.people.size() == 1 ? "is" : "are",
                                              join_words(told.ways), told.text)));
  last_ = told;
}

void Account::hear_told(const json& event, Instant time, std::vector<std::string>& lines) {
  const std::string who = text_of(event, "who");
  const std::string text = text_of(event, "text");
  if (!telling_ || telling_->time != time || telling_->text != text) {
    end_telling(lines);
    telling_ = Telling{time, text, event.value("step", 0), {}, {}};
  }
  add(telling_->people, who);
  add(telling_->ways, text_of(event, "by"));
  Person& person = people_[who];
  if (!person.times.insert(time).second) return;
  const auto soon = rules_.farm.call_out.find(Priority::soon);
  if (soon == rules_.farm.call_out.end() || !soon->second.hours) return;
  if (!within_hours(rules_.farm.zone, time, *soon->second.hours)) ++person.asleep;
}

void Account::count_alarm(const Alarm& alarm) {
  if (alarm.rule == "drill" && alarm.subject == Alarm::Subject::built_in) return;
  if (alarm.priority == Priority::urgent) urgent_.insert(alarm.id);
  if (alarm.subject == Alarm::Subject::blindness) unseen_alarms_.insert(alarm.id);
  if (alarm.subject == Alarm::Subject::built_in) troubles_.insert(alarm.id);
}

std::string Account::alarms() const {
  const std::size_t all = raised_ + unseen_alarms_.size() + troubles_.size();
  if (all == raised_) return counted(all, "alarm");
  std::vector<std::string> kinds;
  const auto put = [&](std::size_t count, const char* what) {
    if (count > 0) kinds.push_back(count == all ? what : fmt::format("{} {}", count, what));
  };
  put(raised_, "of what was measured");
  put(unseen_alarms_.size(), "of what could not be seen");
  put(troubles_.size(), "of probes or the watch itself");
  return fmt::format("{} ({})", counted(all, "alarm"), list_of(kinds, ", "));
}

void Account::put_in_order(std::vector<std::string>& people) const {
  const auto place = [&](const std::string& name) {
    const auto& all = rules_.farm.people;
    return std::find_if(all.begin(), all.end(), [&](const auto& person) { return person.name == name; }) - all.begin();
  };
  std::stable_sort(people.begin(), people.end(), [&](const std::string& a, const std::string& b) { return place(a) < place(b); });
}

void Account::note(const json& event, Instant time) {
  const std::string kind = text_of(event, "event");
  const std::string probe = text_of(event, "probe");
  const std::string key = text_of(event, "house") + (probe.empty() ? "" : " " + probe) + ": " + text_of(event, "rule");
  if (kind == "raised") {
    ++raised_;
    standing_[key] = time;
  }
  if (kind == "returned") standing_.erase(key);
  if (kind == "blind") blind_[key] = time;
  if (kind != "sees") return;
  const auto since = blind_.find(key);
  if (since == blind_.end()) return;
  unseen_[key] += time - since->second;
  blind_.erase(since);
}

bool Account::count_doubt(const json& event, Instant time) {
  const std::string kind = text_of(event, "event");
  if (kind != "suspect" && kind != "rejected" && kind != "accepted") return false;
  const std::string series = text_of(event, "house") + ": " + text_of(event, "series");
  if (kind == "accepted") {
    end_doubt(series, time);
    return true;
  }
  Doubt& doubt = doubts_[{series, kind == "suspect" ? "was far from its neighbours" : "failed the " + text_of(event, "test") + " test"}];
  if (doubt.since) return true;
  if (doubt.count++ == 0) doubt.first = time;
  doubt.last = time;
  doubt.since = time;
  return true;
}

void Account::end_doubt(const std::string& series, Instant time) {
  for (auto& [key, doubt] : doubts_) {
    if (key.first != series || !doubt.since) continue;
    doubt.longest = std::max(doubt.longest, time - *doubt.since);
    doubt.since.reset();
  }
}

void Account::say_doubts(std::vector<std::string>& lines, Instant end) const {
  for (const auto& [key, doubt] : doubts_) {
    const Duration longest = std::max(doubt.longest, doubt.since ? end - *doubt.since : Duration::zero());
    const std::string span = to_words(longest < std::chrono::minutes(1) ? longest : std::chrono::floor<std::chrono::minutes>(longest));
    const std::string head = fmt::format("{} {} {}", key.first, key.second, times(static_cast<std::size_t>(doubt.count)));
    const std::string still = doubt.since ? ", and so it is at the end" : "";
    lines.push_back(doubt.count == 1 ? fmt::format("{}, at {}, for {}{}.", head, story_.stamp(doubt.first), span, still)
                                     : fmt::format("{}, first at {}, last at {}, for {} at most{}.", head, story_.stamp(doubt.first), story_.stamp(doubt.last), span, still));
  }
}

std::vector<std::string> Account::hear(const Effect& effect) {
  std::vector<std::string> lines;
  if (effect.kind == Effect::Kind::alarm) count_alarm(*effect.alarm);
  if (effect.kind == Effect::Kind::event) {
    const json event = json::parse(effect.json, nullptr, false);
    if (text_of(event, "event") == "told") {
      hear_told(event, effect.time, lines);
      return lines;
    }
    if (count_doubt(event, effect.time)) return lines;
    note(event, effect.time);
  }
  const std::string sentence = story_.sentence(effect);
  if (sentence.empty()) return lines;
  end_telling(lines);
  end_repeats(lines);
  last_.reset();  // What is told after something happened stands in full.
  lines.push_back(line(effect.time, sentence));
  return lines;
}

std::vector<std::string> Account::people() const {
  std::vector<std::string> names, lines;
  for (const auto& [who, person] : people_) names.push_back(who);
  put_in_order(names);
  for (const std::string& who : names) {
    const Person& person = people_.at(who);
    lines.push_back(fmt::format("{} would have been told {}{}.", who, times(person.times.size()),
                                person.asleep > 0 ? fmt::format(", {} outside waking hours", times(static_cast<std::size_t>(person.asleep))) : ""));
  }
  return lines;
}

std::vector<std::string> Account::close(Instant end) {
  std::vector<std::string> lines;
  end_telling(lines);
  end_repeats(lines);
  lines.emplace_back();
  lines.push_back(raised_ + unseen_alarms_.size() + troubles_.size() == 0 ? "No alarm." : alarms() + ".");
  for (const auto& [key, since] : standing_) {
    lines.push_back(fmt::format("{} still stands at the end, after {}.", key, to_words(std::chrono::floor<std::chrono::minutes>(end - since))));
  }
  for (const std::string& sentence : people()) lines.push_back(sentence);
  for (const auto& [key, since] : blind_) unseen_[key] += end - since;
  for (const auto& [key, span] : unseen_) {
    lines.push_back(fmt::format("{} could not tell for {} in all{}.", key, to_words(std::chrono::floor<std::chrono::minutes>(span)),
                                blind_.contains(key) ? ", and cannot at the end" : ""));
  }
  if (unseen_.empty()) lines.emplace_back("The watch could always tell.");
  say_doubts(lines, end);
  return lines;
}

}  // namespace underwing::tool
