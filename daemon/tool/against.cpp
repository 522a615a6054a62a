#include "daemon/tool/against.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <nlohmann/json.hpp>
#include <set>

#include "daemon/json_text.hpp"
#include "daemon/tool/tool.hpp"
#include "rules/explain/words.hpp"

namespace underwing::tool {

namespace {

constexpr Duration kPairWithin = std::chrono::hours(1);

using Kind = Difference::Kind;

Priority priority_of(const std::string& text) {
  return text == "urgent" ? Priority::urgent : text == "soon" ? Priority::soon : Priority::note;
}

bool same_place(const Stood& a, const Stood& b) { return a.house == b.house && a.rule == b.rule && a.probe == b.probe; }

bool overlap(const Stood& a, const Stood& b) {
  return a.raised <= b.returned.value_or(kNever) && b.raised <= a.returned.value_or(kNever);
}

bool pair_up(const Stood& a, const Stood& b) {
  return same_place(a, b) && (overlap(a, b) || std::chrono::abs(a.raised - b.raised) <= kPairWithin);
}

/// The alarm that is first urgent in the house of one that woke people, while that one was.
const Stood* instead_of(const std::string& house, const Stood::Urgent& woke, const std::vector<Stood>& others, Instant& begin) {
  const Stood* first = nullptr;
  for (const Stood& other : others) {
    if (other.house != house) continue;
    for (const Stood::Urgent& urgent : other.urgent) {
      if (urgent.begin > woke.end.value_or(kNever) || urgent.end.value_or(kNever) < woke.begin) continue;
      if (first != nullptr && urgent.begin >= begin) break;
      first = &other;
      begin = urgent.begin;
      break;
    }
  }
  return first;
}

/// A wake-up that falls away; `is`: the same alarm, that wakes nobody now.
Difference lost(const Stood& was, const std::optional<Stood>& is, const std::vector<Stood>& after) {
  Instant begin{};
  const Stood* instead = instead_of(was.house, was.urgent.front(), after, begin);
  if (instead == nullptr) return {Kind::missed, was, is};
  return {Kind::wakes_no_more, was, is, std::max(Duration::zero(), begin - was.urgent.front().begin), instead->rule};
}

/// It woke people more than once: those later times at which nothing is urgent in that house any more.
void add_later_missed(std::vector<Difference>& differences, const Stood& was, const std::optional<Stood>& is, const std::vector<Stood>& after) {
  for (std::size_t i = 1; i < was.urgent.size(); ++i) {
    Instant begin{};
    if (instead_of(was.house, was.urgent[i], after, begin) != nullptr) continue;
    Stood again = was;
    again.urgent = {was.urgent[i]};
    differences.push_back({Kind::missed, again, is, {}, {}, true});
  }
}

void compare_pair(std::vector<Difference>& differences, const Stood& was, const Stood& is, const std::vector<Stood>& after) {
  if (was.wakes() && !is.wakes()) return differences.push_back(lost(was, is, after));
  if (!was.wakes() && is.wakes()) return differences.push_back({Kind::wakes, was, is});
  if (was.priority != is.priority) differences.push_back({Kind::other_priority, was, is});
  const Instant before = was.wakes().value_or(was.raised), now = is.wakes().value_or(is.raised);
  if (before != now) differences.push_back({now < before ? Kind::earlier : Kind::later, was, is, std::chrono::abs(now - before)});
}

}  // namespace

void StoodList::hear(const Effect& effect) {
  if (effect.kind != Effect::Kind::event) return;
  const auto event = nlohmann::json::parse(effect.json, nullptr, false);
  const std::string kind = text_of(event, "event");
  if (kind != "raised" && kind != "worsened" && kind != "eased" && kind != "returned") return;
  Stood stood{text_of(event, "house"), text_of(event, "rule"), text_of(event, "probe"), priority_of(text_of(event, "priority")), effect.time};
  const bool urgent = stood.priority == Priority::urgent;
  if (kind == "raised") {
    if (urgent) stood.urgent.push_back({effect.time});
    return alarms_.push_back(stood);
  }
  const auto open = std::find_if(alarms_.rbegin(), alarms_.rend(), [&](const Stood& other) { return same_place(other, stood) && !other.returned; });
  if (open == alarms_.rend()) return;
  const bool was_urgent = !open->urgent.empty() && !open->urgent.back().end;
  open->priority = std::max(open->priority, stood.priority);
  if (kind == "returned") open->returned = effect.time;
  if (was_urgent && (kind == "returned" || !urgent)) open->urgent.back().end = effect.time;
  if (kind == "worsened" && urgent && !was_urgent) open->urgent.push_back({effect.time});
}

std::size_t StoodList::urgent() const {
  return static_cast<std::size_t>(std::count_if(alarms_.begin(), alarms_.end(), [](const Stood& alarm) { return !alarm.urgent.empty(); }));
}

Instant Difference::time() const {
  Instant first = kNever;
  if (again) return *was->wakes();
  for (const auto& alarm : {was, is}) {
    if (alarm && alarm->wakes()) first = std::min(first, *alarm->wakes());
  }
  if (first != kNever) return first;
  for (const auto& alarm : {was, is}) {
    if (alarm) first = std::min(first, alarm->raised);
  }
  return first;
}

bool Difference::of_a_wake_up() const {
  return kind != Kind::other_priority && ((was && was->wakes()) || (is && is->wakes()));
}

const char* to_string(Difference::Kind kind) {
  switch (kind) {
    case Kind::falls_away: return "falls away";
    case Kind::comes_in: return "comes in";
    case Kind::earlier: return "earlier";
    case Kind::later: return "later";
    case Kind::other_priority: return "other priority";
    case Kind::wakes_no_more: return "wakes no more";
    case Kind::wakes: return "wakes";
    case Kind::missed: return "would be missed";
  }
  return "";
}

std::vector<Difference> compare(const std::vector<Stood>& before, const std::vector<Stood>& after) {
  std::vector<Difference> differences;
  std::set<std::size_t> paired;
  for (const Stood& old : before) {
    std::size_t match = 0;
    while (match < after.size() && (paired.contains(match) || !pair_up(old, after[match]))) ++match;
    if (match < after.size()) {
      paired.insert(match);
      compare_pair(differences, old, after[match], after);
      add_later_missed(differences, old, after[match], after);
    } else if (old.wakes()) {
      differences.push_back(lost(old, std::nullopt, after));
      add_later_missed(differences, old, std::nullopt, after);
    } else {
      differences.push_back({Kind::falls_away, old, std::nullopt});
    }
  }
  for (std::size_t i = 0; i < after.size(); ++i) {
    if (!paired.contains(i)) differences.push_back({after[i].wakes() ? Kind::wakes : Kind::comes_in, std::nullopt, after[i]});
  }
  std::stable_sort(differences.begin(), differences.end(), [](const auto& a, const auto& b) { return a.time() < b.time(); });
  return differences;
}

std::string in_words(const Difference& difference, const std::function<std::string(Instant)>& clock) {
  const Stood& alarm = difference.alarm();
  const std::string name = fmt::format("{}{}: {}", alarm.house, alarm.probe.empty() ? "" : " " + alarm.probe, alarm.rule);
  const std::string what = fmt::format("{} ({})", name, to_string(alarm.priority));
  const std::string now = difference.is ? fmt::format("is only {} now", to_string(alarm.priority)) : "falls away";
  switch (difference.kind) {
    case Kind::falls_away: return what + " falls away";
    case Kind::comes_in: return what + " comes in";
    case Kind::earlier:
    case Kind::later: {
      const char* which = difference.kind == Kind::earlier ? "earlier" : "later";
      if (!alarm.wakes()) return fmt::format("{} comes {} {}", what, in_minutes(difference.apart), which);
      return fmt::format("{} wakes {} {}: {}, now {}", name, in_minutes(difference.apart), which, clock(*difference.was->wakes()), clock(*alarm.wakes()));
    }
    case Kind::other_priority: return fmt::format("{} was {} before", what, to_string(difference.was->priority));
    case Kind::wakes: return difference.was ? fmt::format("{} wakes, and was only {} before", name, to_string(difference.was->priority)) : name + " comes in and wakes";
    case Kind::wakes_no_more: {
      const std::string when = difference.apart == Duration::zero() ? "no later" : in_minutes(difference.apart) + " later";
      return fmt::format("{} wakes no more, it {}; {} wakes instead, {}", name, now, difference.instead, when);
    }
    case Kind::missed:
      if (difference.again) return name + " WOULD BE MISSED: it woke again, and now nothing is urgent in that house meanwhile";
      return fmt::format("{} WOULD BE MISSED: it woke, it {}, and nothing else is urgent in that house meanwhile", name, now);
  }
  return what;
}

std::string sum_of(const std::vector<Difference>& differences) {
  std::vector<std::string> parts;
  const auto add = [&](Kind kind, const char* singular, const char* plural) {
    const auto count = std::count_if(differences.begin(), differences.end(), [&](const Difference& d) { return d.kind == kind && d.of_a_wake_up(); });
    if (count > 0) parts.push_back(fmt::format("{} {}", count, count == 1 ? singular : plural));
  };
  add(Kind::missed, "would be missed", "would be missed");
  add(Kind::wakes_no_more, "falls away", "fall away");
  add(Kind::wakes, "comes in", "come in");
  add(Kind::earlier, "comes earlier", "come earlier");
  add(Kind::later, "comes later", "come later");
  if (differences.empty()) return "";
  const std::string count = counted(differences.size(), "difference");
  return parts.empty() ? count + ", none of a wake-up." : fmt::format("{}; of wake-ups {}.", count, join_words(parts));
}

}  // namespace underwing::tool
