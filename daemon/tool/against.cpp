#include "daemon/tool/against.hpp"

#include <algorithm>
#include <nlohmann/json.hpp>
#include <set>

#include "daemon/json_text.hpp"

namespace underwing::tool {

namespace {

constexpr Duration kPairWithin = std::chrono::hours(1);

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

}  // namespace

void StoodList::hear(const Effect& effect) {
  if (effect.kind != Effect::Kind::event) return;
  const auto event = nlohmann::json::parse(effect.json, nullptr, false);
  const std::string kind = text_of(event, "event");
  if (kind != "raised" && kind != "worsened" && kind != "returned") return;
  Stood stood{text_of(event, "house"), text_of(event, "rule"), text_of(event, "probe"), priority_of(text_of(event, "priority")), effect.time, {}};
  if (kind == "raised") return alarms_.push_back(stood);
  const auto open = std::find_if(alarms_.rbegin(), alarms_.rend(), [&](const Stood& other) { return same_place(other, stood) && !other.returned; });
  if (open == alarms_.rend()) return;
  if (kind == "returned") open->returned = effect.time;
  else open->priority = std::max(open->priority, stood.priority);
}

std::size_t StoodList::urgent() const {
  return static_cast<std::size_t>(std::count_if(alarms_.begin(), alarms_.end(), [](const Stood& alarm) { return alarm.priority == Priority::urgent; }));
}

const char* to_string(Difference::Kind kind) {
  switch (kind) {
    case Difference::Kind::falls_away: return "falls away";
    case Difference::Kind::comes_in: return "comes in";
    case Difference::Kind::earlier: return "earlier";
    case Difference::Kind::later: return "later";
    case Difference::Kind::other_priority: return "other priority";
    case Difference::Kind::missed: return "would be missed";
  }
  return "";
}

std::vector<Difference> compare(const std::vector<Stood>& before, const std::vector<Stood>& after) {
  std::vector<Difference> differences;
  std::set<std::size_t> paired;
  for (const Stood& old : before) {
    std::size_t match = 0;
    while (match < after.size() && (paired.contains(match) || !pair_up(old, after[match]))) ++match;
    if (match == after.size()) {
      const bool covered = std::any_of(after.begin(), after.end(), [&](const Stood& other) {
        return other.house == old.house && other.priority == Priority::urgent && overlap(old, other);
      });
      const bool missed = old.priority == Priority::urgent && !covered;
      differences.push_back({missed ? Difference::Kind::missed : Difference::Kind::falls_away, old, Duration::zero(), old.priority});
      continue;
    }
    paired.insert(match);
    const Stood& now = after[match];
    if (now.priority != old.priority) differences.push_back({Difference::Kind::other_priority, now, Duration::zero(), old.priority});
    if (now.raised == old.raised) continue;
    differences.push_back({now.raised < old.raised ? Difference::Kind::earlier : Difference::Kind::later, now,
                           std::chrono::abs(now.raised - old.raised), old.priority});
  }
  for (std::size_t i = 0; i < after.size(); ++i) {
    if (!paired.contains(i)) differences.push_back({Difference::Kind::comes_in, after[i], Duration::zero(), after[i].priority});
  }
  std::stable_sort(differences.begin(), differences.end(), [](const auto& a, const auto& b) { return a.alarm.raised < b.alarm.raised; });
  return differences;
}

}  // namespace underwing::tool
