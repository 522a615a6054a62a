#include "daemon/tool/against.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <nlohmann/json.hpp>
#include <set>

#include "daemon/json_text.hpp"
#include "daemon/tool/tool.hpp"
#include "rules/engine/engine.hpp"
#include "rules/explain/words.hpp"
#include "rules/languages/language.hpp"

namespace underwing::tool {

namespace {

constexpr Duration kPairWithin = std::chrono::hours(1);

using Kind = Difference::Kind;

Priority priority_of(const std::string& text) {
  return text == "urgent" ? Priority::urgent : text == "soon" ? Priority::soon : Priority::note;
}

using Subject = Alarm::Subject;

bool same_place(const Stood& a, const Stood& b) {
  return a.subject == b.subject && a.house == b.house && a.rule == b.rule && a.probe == b.probe && a.measure == b.measure;
}

std::string measure_of(const Stood& unseen) { return unseen.measure.empty() ? "the house" : measure_in_words(english(), unseen.measure); }

/// As somebody would call it who was told of it.
std::string called(const Stood& alarm) {
  if (alarm.subject == Subject::blindness) return "CANNOT SEE " + measure_of(alarm);
  return alarm.subject == Subject::condition ? alarm.rule : trouble_in_words(english(), alarm.rule);
}

bool overlap(const Stood& a, const Stood& b) {
  return a.raised <= b.returned.value_or(kNever) && b.raised <= a.returned.value_or(kNever);
}

/// Of the alarms that have no pair yet, the one that `old` is now; none: their count. One that stands at the same time as another of
/// `before` is that one's, be it near enough.
std::size_t find_pair(const Stood& old, const std::vector<Stood>& before, const std::vector<Stood>& after, const std::set<std::size_t>& paired) {
  const auto find = [&](const auto& fits) {
    std::size_t i = 0;
    while (i < after.size() && (paired.contains(i) || !same_place(old, after[i]) || !fits(after[i]))) ++i;
    return i;
  };
  const std::size_t together = find([&](const Stood& now) { return overlap(old, now); });
  if (together < after.size()) return together;
  return find([&](const Stood& now) {
    const auto is_this = [&](const Stood& other) { return same_place(other, now) && overlap(other, now); };
    return std::chrono::abs(old.raised - now.raised) <= kPairWithin && std::none_of(before.begin(), before.end(), is_this);
  });
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
  return {Kind::wakes_no_more, was, is, std::max(Duration::zero(), begin - was.urgent.front().begin), called(*instead)};
}

bool is_house_silent(const Stood& alarm) { return alarm.subject == Subject::built_in && alarm.rule == "house-silent"; }

/// Whether `other` tells people of what is unseen, too.
bool tells_of_unseen(const Stood& unseen, const Stood& other) {
  if (other.house != unseen.house || other.priority < Priority::soon || !overlap(other, unseen)) return false;
  if (is_house_silent(unseen)) return other.subject == Subject::blindness;
  if (other.subject != Subject::built_in) return same_place(other, unseen);
  return is_house_silent(other) || (other.rule == "probe-bad" && other.probe.starts_with(unseen.measure + "/"));
}

/// An alarm that woke nobody, and stands no more. That something is unseen must not go by untold, be it not urgent.
Difference gone(const Stood& was, const std::vector<Stood>& after) {
  const bool unseen = was.subject == Subject::blindness || is_house_silent(was);
  const bool told = std::any_of(after.begin(), after.end(), [&](const Stood& other) { return tells_of_unseen(was, other); });
  return {unseen && was.priority == Priority::soon && !told ? Kind::missed : Kind::falls_away, was, std::nullopt};
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

std::string place_of(const std::string& house, const std::string& rule, const std::string& probe) { return house + "/" + rule + "/" + probe; }

/// "from 22:05 to 22:32"
std::string span_of(const Stood& alarm, const std::function<std::string(Instant)>& clock) {
  const std::string from = "from " + clock(alarm.raised);
  if (!alarm.returned) return from + " to the end";
  const Duration span = *alarm.returned - alarm.raised;
  return span < std::chrono::hours(24) ? from + " to " + clock(*alarm.returned) : from + " for " + in_minutes(span);
}

/// Of which alarm a sentence is.
std::string name_of(const Stood& alarm, const std::function<std::string(Instant)>& clock) {
  const std::string where = (alarm.house.empty() ? "farm" : alarm.house) + (alarm.probe.empty() ? "" : " " + alarm.probe) + ": ";
  if (alarm.subject == Subject::blindness) return where + measure_of(alarm) + " unseen " + span_of(alarm, clock);
  return where + called(alarm) + (is_house_silent(alarm) ? " " + span_of(alarm, clock) : "");
}

}  // namespace

StoodList::StoodList(std::shared_ptr<const RuleSet> rules) {
  Engine engine(rules);
  engine.begin(Instant{});  // It compiles then, and knows what each rule depends on.
  for (std::size_t i = 0; i < rules->rules.size(); ++i) {
    const WatchedRule& rule = rules->rules[i];
    if (engine.probes_of(i).empty()) continue;
    measures_[place_of(rules->houses[rule.house].name, rule.name, rule.probe ? rules->probes[*rule.probe].name : "")] =
        rules->probes[engine.probes_of(i).front()].quality.name;
  }
}

void StoodList::hear(const Effect& effect) {
  if (effect.kind == Effect::Kind::alarm && effect.alarm->subject == Subject::built_in) return hear_trouble(*effect.alarm);
  if (effect.kind != Effect::Kind::event) return;
  const auto event = nlohmann::json::parse(effect.json, nullptr, false);
  const std::string kind = text_of(event, "event");
  if (kind == "raised" || kind == "worsened" || kind == "eased" || kind == "returned") hear_condition(event, kind, effect.time);
  if (kind == "blind" || kind == "sees") hear_blindness(event, kind, effect.time);
}

void StoodList::hear_condition(const nlohmann::json& event, const std::string& kind, Instant time) {
  Stood stood{text_of(event, "house"), text_of(event, "rule"), text_of(event, "probe"), priority_of(text_of(event, "priority")), time};
  const bool urgent = stood.priority == Priority::urgent;
  if (kind == "raised") {
    if (urgent) stood.urgent.push_back({time});
    return alarms_.push_back(stood);
  }
  const auto open = std::find_if(alarms_.rbegin(), alarms_.rend(), [&](const Stood& other) { return same_place(other, stood) && !other.returned; });
  if (open == alarms_.rend()) return;
  const bool was_urgent = !open->urgent.empty() && !open->urgent.back().end;
  open->priority = std::max(open->priority, stood.priority);
  if (kind == "returned") open->returned = time;
  if (was_urgent && (kind == "returned" || !urgent)) open->urgent.back().end = time;
  if (kind == "worsened" && urgent && !was_urgent) open->urgent.push_back({time});
}

void StoodList::hear_blindness(const nlohmann::json& event, const std::string& kind, Instant time) {
  const std::string house = text_of(event, "house"), rule = text_of(event, "rule"), probe = text_of(event, "probe");
  const auto measure = measures_.find(place_of(house, rule, probe));
  Unseen& unseen = unseen_[{house, measure == measures_.end() ? "" : measure->second}];
  const auto urgent = [&] {
    return std::any_of(unseen.blind.begin(), unseen.blind.end(), [](const auto& each) { return each.second == Priority::urgent; });
  };
  if (kind == "blind" && unseen.blind.empty()) {
    unseen.alarm = alarms_.size();
    Stood stood{house, "", "", Priority::note, time};
    stood.subject = Subject::blindness;
    if (measure != measures_.end()) stood.measure = measure->second;
    alarms_.push_back(stood);
  }
  const std::string member = place_of(house, rule, probe);
  const bool was_urgent = urgent();
  if (kind == "sees" && unseen.blind.erase(member) == 0) return;
  Stood& stood = alarms_[unseen.alarm];
  if (kind == "blind") {
    const Priority priority = priority_of(text_of(event, "priority"));
    unseen.blind[member] = priority;
    stood.rules.insert(rule);
    stood.priority = std::max(stood.priority, priority);
  }
  if (unseen.blind.empty()) stood.returned = time;
  if (!was_urgent && urgent()) stood.urgent.push_back({time});
  if (was_urgent && !urgent()) stood.urgent.back().end = time;
}

void StoodList::hear_trouble(const Alarm& alarm) {
  if (alarm.rule == "drill") return;
  const auto [found, fresh] = troubles_.try_emplace(alarm.id, alarms_.size());
  if (fresh) {
    Stood stood{alarm.house, alarm.rule, alarm.probe, alarm.priority, alarm.raised};
    stood.subject = Subject::built_in;
    if (alarm.priority == Priority::urgent) stood.urgent.push_back({alarm.raised});
    alarms_.push_back(stood);
  }
  if (!alarm.returned) return;
  Stood& stood = alarms_[found->second];
  stood.returned = alarm.returned;
  if (!stood.urgent.empty()) stood.urgent.back().end = alarm.returned;
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
    const std::size_t match = find_pair(old, before, after, paired);
    if (match < after.size()) {
      paired.insert(match);
      compare_pair(differences, old, after[match], after);
      add_later_missed(differences, old, after[match], after);
    } else if (old.wakes()) {
      differences.push_back(lost(old, std::nullopt, after));
      add_later_missed(differences, old, std::nullopt, after);
    } else {
      differences.push_back(gone(old, after));
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
  const std::string name = name_of(alarm, clock);
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
      if (!difference.was->wakes()) return what + " WOULD BE MISSED: nobody is told of it any more";
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
  const auto untold = std::count_if(differences.begin(), differences.end(), [](const Difference& d) { return d.kind == Kind::missed && !d.of_a_wake_up(); });
  return fmt::format("{}{}{}.", counted(differences.size(), "difference"), parts.empty() ? ", none of a wake-up" : "; of wake-ups " + join_words(parts),
                     untold == 0 ? "" : fmt::format("; {} of what is unseen would be missed", untold));
}

}  // namespace underwing::tool
