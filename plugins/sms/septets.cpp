#include "plugins/sms/septets.hpp"

#include <algorithm>
#include <string_view>

namespace underwing {

namespace {

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

}  // namespace underwing
