#include "plugins/mqtt/json_pointer.hpp"

#include <charconv>
#include <cstddef>

namespace underwing {
namespace {

/// "0", "12", but not "01", "-" or "+1" (RFC 6901, section 4).
std::optional<std::size_t> array_index(std::string_view token) {
  if (token.empty() || (token.size() > 1 && token.front() == '0')) return std::nullopt;
  std::size_t index = 0;
  const auto [end, failure] = std::from_chars(token.data(), token.data() + token.size(), index);
  if (failure != std::errc() || end != token.data() + token.size()) return std::nullopt;
  return index;
}

}  // namespace

std::optional<JsonPointer> JsonPointer::parse(std::string_view text) {
  JsonPointer pointer;
  if (text.empty()) return pointer;
  if (text.front() != '/') return std::nullopt;
  for (std::size_t i = 0; i < text.size(); ++i) {
    if (text[i] == '/') {
      pointer.tokens_.emplace_back();
    } else if (text[i] != '~') {
      pointer.tokens_.back() += text[i];
    } else {
      ++i;
      if (i == text.size() || (text[i] != '0' && text[i] != '1')) return std::nullopt;
      pointer.tokens_.back() += text[i] == '0' ? '~' : '/';
    }
  }
  return pointer;
}

std::optional<simdjson::dom::element> JsonPointer::find(simdjson::dom::element document) const {
  simdjson::dom::element here = document;
  for (const std::string& token : tokens_) {
    simdjson::dom::object object;
    simdjson::dom::array array;
    if (here.get(object) == simdjson::SUCCESS) {
      if (object.at_key(token).get(here) != simdjson::SUCCESS) return std::nullopt;
    } else if (here.get(array) == simdjson::SUCCESS) {
      const auto index = array_index(token);
      if (!index || array.at(*index).get(here) != simdjson::SUCCESS) return std::nullopt;
    } else {
      return std::nullopt;
    }
  }
  return here;
}

}  // namespace underwing
