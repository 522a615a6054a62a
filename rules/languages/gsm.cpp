#include "rules/languages/gsm.hpp"

#include <algorithm>
#include <array>

namespace underwing {

namespace {

// The GSM 7-bit default alphabet beyond ASCII, and its extension table (3GPP TS 23.038, 6.2.1 and 6.2.1.1).
constexpr std::string_view kGsmBeyondAscii = "£¥èéùìòÇØøÅåΔΦΓΛΩΠΨΣΘΞÆæßÉ¤¡ÄÖÑÜ§¿äöñüà";
constexpr std::string_view kGsmExtension = "\f^{}\\[~]|€";

std::size_t sequence_length(char lead) {
  const auto byte = static_cast<unsigned char>(lead);
  if (byte < 0x80) return 1;
  if (byte >= 0xf0) return 4;
  return byte >= 0xe0 ? 3 : 2;
}

/// Whether `character` is whole: a lead byte and as many of its followers as it asks for.
bool whole(std::string_view character) {
  const auto lead = static_cast<unsigned char>(character[0]);
  if (lead >= 0x80 && lead < 0xc2) return false;
  return character.size() == sequence_length(character[0]) &&
         std::all_of(character.begin() + 1, character.end(), [](char c) { return (static_cast<unsigned char>(c) & 0xc0U) == 0x80U; });
}

std::string_view replacement(std::string_view character) {
  static constexpr std::array<std::pair<std::string_view, std::string_view>, 48> kTable{{
      {"°", ""}, {"–", "-"}, {"—", "-"}, {"’", "'"}, {"‘", "'"}, {"“", "\""}, {"”", "\""}, {"…", "..."},
      {"`", "'"}, {"³", "3"}, {"²", "2"}, {"µ", "u"}, {"ç", "c"}, {"\n", " "}, {"\f", "?"},
      // Letters that only lose their accent.
      {"á", "a"}, {"â", "a"}, {"ã", "a"}, {"À", "A"}, {"Á", "A"}, {"Â", "A"}, {"Ã", "A"}, {"ê", "e"}, {"ë", "e"},
      {"È", "E"}, {"Ê", "E"}, {"Ë", "E"}, {"í", "i"}, {"î", "i"}, {"ï", "i"}, {"Ì", "I"}, {"Í", "I"}, {"Î", "I"},
      {"Ï", "I"}, {"ó", "o"}, {"ô", "o"}, {"õ", "o"}, {"Ò", "O"}, {"Ó", "O"}, {"Ô", "O"}, {"Õ", "O"}, {"ú", "u"},
      {"û", "u"}, {"Ù", "U"}, {"Ú", "U"}, {"Û", "U"}, {"œ", "oe"}, {"Œ", "OE"}}};
  for (const auto& [from, to] : kTable) {
    if (from == character) return to;
  }
  const bool ascii = character.size() == 1 && character[0] >= ' ' && character[0] < 0x7f;
  const bool known_here = ascii || (whole(character) && (kGsmBeyondAscii.find(character) != std::string_view::npos ||
                                                         kGsmExtension.find(character) != std::string_view::npos));
  return known_here ? character : "?";
}

}  // namespace

std::string to_gsm(std::string_view text) {
  std::string out;
  for (std::size_t i = 0; i < text.size();) {
    const std::size_t length = std::min(sequence_length(text[i]), text.size() - i);
    out += replacement(text.substr(i, length));
    i += length;
  }
  return out;
}

std::size_t gsm_length(std::string_view text) {
  std::size_t septets = 0;
  for (std::size_t i = 0; i < text.size(); i += character_at(text, i).size()) {
    septets += kGsmExtension.find(character_at(text, i)) != std::string_view::npos ? 2U : 1U;
  }
  return septets;
}

std::string_view within(std::string_view text, std::size_t septets_max) {
  std::size_t septets = 0, end = 0;
  while (end < text.size()) {
    const std::string_view character = character_at(text, end);
    septets += gsm_length(character);
    if (septets > septets_max) break;
    end += character.size();
  }
  return text.substr(0, end);
}

std::string_view words_within(std::string_view text, std::size_t septets_max) {
  const std::string_view cut = within(text, septets_max);
  if (cut.size() == text.size() || text[cut.size()] == ' ') return cut.substr(0, cut.find_last_not_of(' ') + 1);
  const std::size_t space = cut.find_last_of(' ');
  return space == std::string_view::npos ? cut : cut.substr(0, cut.find_last_not_of(' ', space) + 1);
}

std::string cut_to(std::string_view text, std::size_t septets_max) { return std::string(within(to_gsm(text), septets_max)); }

std::string fit(const std::vector<std::string>& variants) {
  std::string text;
  for (const std::string& variant : variants) {
    text = to_gsm(variant);
    if (gsm_length(text) <= kTextSeptetsMax) return text;
  }
  return cut_to(text, kTextSeptetsMax);
}

std::size_t first_not_gsm(std::string_view text) {
  for (std::size_t i = 0; i < text.size();) {
    const std::string_view character = character_at(text, i);
    if (replacement(character) != character) return i;
    i += character.size();
  }
  return std::string_view::npos;
}

std::string_view character_at(std::string_view text, std::size_t at) {
  return text.substr(at, std::min(sequence_length(text[at]), text.size() - at));
}

}  // namespace underwing
