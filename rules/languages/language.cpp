#include "rules/languages/language.hpp"

#include <algorithm>
#include <array>
#include <cctype>

#include "rules/languages/gsm.hpp"
#include "rules/languages/texts.hpp"

namespace underwing {

namespace {

/// Small letters beyond ASCII with their capitals, plain where the alphabet of text messages has no other. A message would
/// lose such an accent anyhow, and to_gsm() leaves a letter as small as it was.
constexpr std::array<std::pair<std::string_view, std::string_view>, 29> kCapitals{{
    {"é", "É"}, {"ñ", "Ñ"}, {"ü", "Ü"}, {"ö", "Ö"}, {"ä", "Ä"}, {"å", "Å"}, {"ø", "Ø"}, {"æ", "Æ"}, {"ç", "Ç"}, {"ß", "SS"},
    {"œ", "OE"}, {"à", "A"}, {"á", "A"}, {"â", "A"}, {"ã", "A"}, {"è", "E"}, {"ê", "E"}, {"ë", "E"}, {"ì", "I"}, {"í", "I"},
    {"î", "I"}, {"ï", "I"}, {"ò", "O"}, {"ó", "O"}, {"ô", "O"}, {"õ", "O"}, {"ù", "U"}, {"ú", "U"}, {"û", "U"}}};

Language make_english() {
  Language language;
  language.name = "en";
  for (const TextRow& row : kTexts) language.texts.push_back({std::string(row.one), std::string(row.many)});
  language.wrong = {{"air_temperature", {"COLD", "HOT"}},
                    {"floor_temperature", {"FLOOR COLD", "FLOOR HOT"}},
                    {"litter_temperature", {"LITTER COLD", "LITTER HOT"}},
                    {"relative_humidity", {"DRY AIR", "DAMP AIR"}},
                    {"ammonia", {"AMMONIA", "AMMONIA"}},
                    {"carbon_dioxide", {"CO2", "CO2"}},
                    {"carbon_monoxide", {"CARBON MONOXIDE", "CARBON MONOXIDE"}},
                    {"water", {"WATER LOW", "WATER HIGH"}},
                    {"feed", {"FEED LOW", "FEED HIGH"}},
                    {"bird_weight", {"LIGHT BIRDS", "HEAVY BIRDS"}},
                    {"static_pressure", {"PRESSURE LOW", "PRESSURE HIGH"}},
                    {"gas_level", {"GAS LOW", "GAS HIGH"}},
                    {"fuel_level", {"FUEL LOW", "FUEL HIGH"}},
                    {"vent_temperature", {"CHICKS COLD", "CHICKS HOT"}}};
  return language;
}

}  // namespace

const Language& english() {
  static const Language language = make_english();
  return language;
}

std::string filled(const std::string& text, const Slots& slots) {
  std::string out;
  for (std::size_t i = 0; i < text.size();) {
    const std::size_t end = text[i] == '{' ? text.find('}', i) : std::string::npos;
    const auto slot = end == std::string::npos ? slots.end() : std::find_if(slots.begin(), slots.end(), [&](const auto& entry) {
      return entry.first == std::string_view(text).substr(i + 1, end - i - 1);
    });
    if (slot == slots.end()) {
      out += text[i++];
    } else {
      out += slot->second;
      i = end + 1;
    }
  }
  return out;
}

std::string trouble_in_words(const Language& language, const std::string& name) {
  std::string key = "trouble_" + name;
  std::replace(key.begin(), key.end(), '-', '_');
  const std::size_t index = text_index(key);
  if (index < kTexts.size()) return language.texts[index].one;
  std::string words = capitals(name);
  std::replace(words.begin(), words.end(), '-', ' ');
  return words;
}

std::string measure_in_words(const Language& language, const std::string& measure) {
  const auto found = language.measures.find(measure);
  if (found != language.measures.end()) return found->second;
  std::string words = measure;
  std::replace(words.begin(), words.end(), '_', ' ');
  return words;
}

std::string capitals(std::string text) {
  std::string out;
  for (std::size_t i = 0; i < text.size();) {
    const std::string_view letter = character_at(text, i);
    i += letter.size();
    const auto* found = std::find_if(kCapitals.begin(), kCapitals.end(), [&](const auto& row) { return row.first == letter; });
    if (found != kCapitals.end()) out += found->second;
    else if (letter.size() == 1) out += static_cast<char>(std::toupper(static_cast<unsigned char>(letter[0])));
    else out += letter;
  }
  return out;
}

std::vector<std::string_view> slots_of(std::string_view text) {
  std::vector<std::string_view> slots;
  for (std::size_t begin = text.find('{'); begin != std::string_view::npos; begin = text.find('{', begin + 1)) {
    const std::size_t end = text.find('}', begin);
    if (end == std::string_view::npos) break;
    const std::string_view slot = text.substr(begin + 1, end - begin - 1);
    if (std::find(slots.begin(), slots.end(), slot) == slots.end()) slots.push_back(slot);
  }
  return slots;
}

}  // namespace underwing
