#include "plugins/sms/inbox.hpp"

#include <fmt/format.h>

#include <algorithm>

#include "plugins/shared/short_hash.hpp"

namespace underwing {

namespace {

constexpr auto kPartsWithin = std::chrono::minutes(10);
constexpr auto kRemembered = std::chrono::minutes(10);
constexpr std::size_t kOpenMax = 32;
constexpr std::size_t kHandedMax = 10;  // half of what the smallest SIM cards hold (common practice)

std::string name_of(const Incoming& part) {
  return fmt::format("{}\n{}\n{}/{}/{}\n{}", part.number, part.stamp, part.group, part.part, part.parts, part.text);
}

}  // namespace

void Inbox::see(const Incoming& part, Clock::time_point now) {
  const std::string name = name_of(part);
  if (const auto known = parts_.find(name); known != parts_.end()) {
    known->second.seen = now;
    return;
  }
  const bool sound = part.part >= 1 && part.part <= part.parts;
  if (part.parts > 1 && sound) {
    const std::string text = fmt::format("{}\n{}\n{}", part.number, part.group, part.parts);
    if (open_.size() >= kOpenMax && !open_.contains(text)) return;  // somebody floods
    Open& open = open_[text];
    if (open.by_number.empty()) open.since = now;
    // One of another text under the same number lies in the store until this text is gone.
    if (!open.by_number.emplace(part.part, part).second) return;
  } else {
    whole_.push_back(part);
  }
  parts_[name].seen = now;
}

std::vector<Inbox::Text> Inbox::ready(Clock::time_point now) {
  std::vector<Text> out;
  for (const Incoming& one : whole_) hand({{1, one}}, 1, out);
  whole_.clear();
  std::erase_if(open_, [&](const auto& entry) {
    const auto& parts = entry.second.by_number;
    const int count = parts.begin()->second.parts;
    const bool whole = static_cast<int>(parts.size()) == count;
    if (!whole && now - entry.second.since < kPartsWithin) return false;
    hand(parts, count, out);
    return true;
  });
  return out;
}

void Inbox::hand(const std::map<int, Incoming>& parts, int count, std::vector<Text>& out) {
  Handed handed;
  std::string names;
  Incoming whole = parts.begin()->second;
  whole.text.clear();
  for (int number = 1; number <= count; ++number) {
    const auto part = parts.find(number);
    whole.text += part == parts.end() ? "..." : part->second.text;
    if (part == parts.end()) continue;
    handed.parts.push_back(name_of(part->second));
    names += handed.parts.back() + "\n";
  }
  handed.key = short_hash(names);
  out.push_back({handed.key, std::move(whole)});
  handed_.push_back(std::move(handed));
  if (handed_.size() <= kHandedMax) return;
  let_go(handed_.front());
  handed_.pop_front();
}

void Inbox::let_go(const Handed& text) {
  for (const std::string& name : text.parts) parts_[name].may_go = true;
}

void Inbox::taken(const std::string& key) {
  const auto text = std::find_if(handed_.begin(), handed_.end(), [&](const Handed& each) { return each.key == key; });
  if (text == handed_.end()) return;
  let_go(*text);
  handed_.erase(text);
}

bool Inbox::may_go(const Incoming& part) const {
  const auto known = parts_.find(name_of(part));
  return known != parts_.end() && known->second.may_go;
}

void Inbox::forget(Clock::time_point now) {
  std::erase_if(parts_, [&](const auto& entry) { return entry.second.may_go && now - entry.second.seen >= kRemembered; });
}

}  // namespace underwing
