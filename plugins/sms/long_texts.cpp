#include "plugins/sms/long_texts.hpp"

#include <fmt/format.h>

#include <algorithm>

namespace underwing {

namespace {

constexpr auto kHeld = std::chrono::minutes(10);
constexpr std::size_t kSeenMax = 64;
constexpr std::size_t kOpenMax = 32;
constexpr std::size_t kSeptetsMax = 160;

std::size_t length_of(unsigned char first) { return first < 0x80 ? 1 : first < 0xe0 ? 2 : first < 0xf0 ? 3 : 4; }

std::size_t septets_of_one(std::string_view character) {
  constexpr std::string_view kTwo = "\f^{}\\[~]|";
  return character == "€" || (character.size() == 1 && kTwo.find(character.front()) != std::string_view::npos) ? 2 : 1;
}

/// Calls `each` with every character and the septets up to its end, until it answers false.
template <typename Each>
void walk(const std::string& text, Each each) {
  std::size_t septets = 0;
  for (std::size_t at = 0; at < text.size();) {
    const std::size_t length = std::min(length_of(static_cast<unsigned char>(text[at])), text.size() - at);
    septets += septets_of_one(std::string_view(text).substr(at, length));
    at += length;
    if (!each(at, septets)) return;
  }
}

}  // namespace

std::size_t septets_of(const std::string& text) {
  std::size_t all = 0;
  walk(text, [&](std::size_t, std::size_t septets) { return all = septets, true; });
  return all;
}

std::string one_part(const std::string& text) {
  std::size_t end = 0;
  walk(text, [&](std::size_t at, std::size_t septets) {
    if (septets > kSeptetsMax) return false;
    end = at;
    return true;
  });
  return text.substr(0, end);
}

bool LongTexts::seen(const Incoming& part) {
  std::string key = fmt::format("{}\n{}\n{}/{}/{}\n{}", part.number, part.stamp, part.group, part.part, part.parts, part.text);
  if (std::find(seen_.begin(), seen_.end(), key) != seen_.end()) return true;
  seen_.push_back(std::move(key));
  if (seen_.size() > kSeenMax) seen_.pop_front();
  return false;
}

Incoming LongTexts::joined(const Parts& parts) {
  Incoming whole = parts.by_number.begin()->second;
  whole.text.clear();
  for (int i = 1; i <= whole.parts; ++i) {
    const auto part = parts.by_number.find(i);
    whole.text += part == parts.by_number.end() ? "..." : part->second.text;
  }
  whole.part = whole.parts = 1;
  return whole;
}

std::optional<Incoming> LongTexts::take(const Incoming& part, Clock::time_point now) {
  if (seen(part)) return std::nullopt;
  if (part.parts <= 1) return part;
  const std::string key = fmt::format("{}\n{}\n{}", part.number, part.group, part.parts);
  if (open_.size() >= kOpenMax && !open_.contains(key)) return std::nullopt;  // somebody floods
  Parts& parts = open_[key];
  if (parts.by_number.empty()) parts.since = now;
  if (part.part >= 1 && part.part <= part.parts) parts.by_number[part.part] = part;
  if (static_cast<int>(parts.by_number.size()) < part.parts) return std::nullopt;
  Incoming whole = joined(parts);
  open_.erase(key);
  return whole;
}

std::vector<Incoming> LongTexts::overdue(Clock::time_point now) {
  std::vector<Incoming> late;
  std::erase_if(open_, [&](const auto& entry) {
    if (now - entry.second.since < kHeld) return false;
    if (!entry.second.by_number.empty()) late.push_back(joined(entry.second));
    return true;
  });
  return late;
}

}  // namespace underwing
