#include "daemon/words.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <cctype>
#include <cmath>

namespace underwing {

namespace {

// The GSM 7-bit default alphabet beyond ASCII, and its extension table (3GPP TS 23.038, 6.2.1 and 6.2.1.1).
constexpr std::string_view kGsmBeyondAscii = "£¥èéùìòÇØøÅåΔΦΓΛΩΠΨΣΘΞÆæßÉ¤¡ÄÖÑÜ§¿äöñüà";
constexpr std::size_t kWhatBytesMax = 24;  // of what a rule is about, in a text
constexpr std::string_view kGsmExtension = "^{}\\[~]|€";

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

/// The beginning of `text`, at most `bytes` long, that ends with a whole character.
std::string_view beginning(std::string_view text, std::size_t bytes) {
  if (text.size() <= bytes) return text;
  while (bytes > 0 && (static_cast<unsigned char>(text[bytes]) & 0xc0U) == 0x80U) --bytes;
  return text.substr(0, bytes);
}

std::string_view replacement(std::string_view character) {
  static constexpr std::array<std::pair<std::string_view, std::string_view>, 14> kTable{{
      {"°", ""}, {"–", "-"}, {"—", "-"}, {"’", "'"}, {"‘", "'"}, {"“", "\""}, {"”", "\""}, {"…", "..."},
      {"`", "'"}, {"³", "3"}, {"²", "2"}, {"µ", "u"}, {"ç", "c"}, {"\n", " "}}};
  for (const auto& [from, to] : kTable) {
    if (from == character) return to;
  }
  const bool ascii = character.size() == 1 && character[0] >= ' ' && character[0] < 0x7f;
  const bool known_here = ascii || (whole(character) && (kGsmBeyondAscii.find(character) != std::string_view::npos ||
                                                         kGsmExtension.find(character) != std::string_view::npos));
  return known_here ? character : "?";
}

std::string capitals(std::string text) {
  std::transform(text.begin(), text.end(), text.begin(), [](unsigned char c) { return static_cast<char>(std::toupper(c)); });
  return text;
}

/// The first measure that an expression reads.
const Expression* first_source(const Expression& expression) {
  if (expression.kind == Expression::Kind::measure || expression.kind == Expression::Kind::window) return &expression;
  for (const auto& child : expression.children) {
    if (const Expression* found = first_source(*child)) return found;
  }
  return nullptr;
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
  for (std::size_t i = 0; i < text.size();) {
    const std::size_t length = std::min(sequence_length(text[i]), text.size() - i);
    septets += kGsmExtension.find(text.substr(i, length)) != std::string_view::npos ? 2U : 1U;
    i += length;
  }
  return septets;
}

std::string cut_to(std::string_view text, std::size_t septets_max) {
  const std::string whole_text = to_gsm(text);
  std::size_t septets = 0, end = 0;
  while (end < whole_text.size()) {
    const std::size_t length = std::min(sequence_length(whole_text[end]), whole_text.size() - end);
    septets += gsm_length(std::string_view(whole_text).substr(end, length));
    if (septets > septets_max) break;
    end += length;
  }
  return whole_text.substr(0, end);
}

std::string fit(const std::vector<std::string>& variants) {
  std::string text;
  for (const std::string& variant : variants) {
    text = to_gsm(variant);
    if (gsm_length(text) <= kTextSeptetsMax) return text;
  }
  return cut_to(text, kTextSeptetsMax);
}

std::string house_in_short(const std::string& house) {
  const auto digit = std::find_if(house.begin(), house.end(), [](unsigned char c) { return std::isdigit(c) != 0; });
  if (digit != house.end() && digit != house.begin()) return (capitals(house.substr(0, 1)) + std::string(digit, house.end())).substr(0, 8);
  return capitals(house.substr(0, 8));
}

std::string clock_time(const Zone& zone, Instant wall) {
  const auto minutes = std::chrono::floor<std::chrono::minutes>(zone.to_local(wall).as_if_utc.time_since_epoch()).count();
  return fmt::format("{:02}:{:02}", minutes / 60 % 24, minutes % 60);
}

std::string date_and_time(const Zone& zone, Instant wall) {
  std::string text = to_rfc3339(zone.to_local(wall).as_if_utc).substr(0, 16);
  text[10] = ' ';
  return text;
}

std::string list_of(const std::vector<std::string>& parts, const char* between) {
  std::string text;
  for (const std::string& part : parts) text += (text.empty() ? "" : between) + part;
  return text;
}

std::string day_of(const Flock& flock, const Zone& zone, Instant wall) {
  const auto day = [&](Instant time) { return std::chrono::floor<std::chrono::days>(zone.to_local(time).as_if_utc); };
  return fmt::format("day {}", (day(wall) - day(flock.placed)).count() + flock.first_day);
}

std::string with_unit(double canonical, const Unit& unit) {
  const double value = unit.from_canonical(canonical);
  const int decimals = std::fabs(value) >= 100 ? 0 : 1;
  std::string text = fmt::format("{:.{}f}", value, decimals);
  if (text.size() > 2 && text.ends_with(".0")) text.resize(text.size() - 2);
  if (text == "-0") text = "0";
  return unit.text.empty() ? text : text + " " + unit.text;
}

std::string measure_in_words(const std::string& measure) {
  std::string words = measure;
  std::replace(words.begin(), words.end(), '_', ' ');
  return words;
}

std::string what_is_wrong(const WatchedRule& rule, const RuleSet& rules, Reason reason) {
  struct Row {
    std::string_view measure, low, high;
  };
  static constexpr std::array<Row, 13> kRows{{{"air_temperature", "COLD", "HOT"},
                                              {"floor_temperature", "FLOOR COLD", "FLOOR HOT"},
                                              {"litter_temperature", "LITTER COLD", "LITTER HOT"},
                                              {"relative_humidity", "DRY AIR", "DAMP AIR"},
                                              {"ammonia", "AMMONIA", "AMMONIA"},
                                              {"carbon_dioxide", "CO2", "CO2"},
                                              {"carbon_monoxide", "CARBON MONOXIDE", "CARBON MONOXIDE"},
                                              {"water", "WATER LOW", "WATER HIGH"},
                                              {"feed", "FEED LOW", "FEED HIGH"},
                                              {"bird_weight", "LIGHT BIRDS", "HEAVY BIRDS"},
                                              {"static_pressure", "PRESSURE LOW", "PRESSURE HIGH"},
                                              {"gas_level", "GAS LOW", "GAS HIGH"},
                                              {"fuel_level", "FUEL LOW", "FUEL HIGH"}}};
  const ExpressionPtr& expression = rule.watch ? rule.watch : rule.limits.front().expression;
  const Expression* source = first_source(*expression);
  bool low = reason == Reason::low;
  if (reason != Reason::low && reason != Reason::high) low = rule.limits.front().side == Limit::Side::low;
  if (source && rule.watch) {
    for (const Row& row : kRows) {
      if (row.measure == rules.measures[source->measure].name) return std::string(low ? row.low : row.high);
    }
  }
  if (!rule.about.empty()) {
    return capitals(std::string(beginning(std::string_view(rule.about).substr(0, rule.about.find_first_of(",.;:(")), kWhatBytesMax)));
  }
  return source ? capitals(measure_in_words(rules.measures[source->measure].name)) : "ALARM";
}

std::string to_text(const AlarmWords& words) {
  const auto join = [](const std::vector<std::string>& parts) {
    std::string text;
    for (const std::string& part : parts) {
      if (part.empty()) continue;
      if (!text.empty()) text += ' ';
      text += part;
    }
    return text;
  };
  const std::string first = words.head + words.expected + ".";
  // What to do gives way before how to answer: as many of its sentences and parts as there is room for.
  const auto shortened = [&](const std::string& before) {
    std::string shorter = to_gsm(words.action);
    const std::size_t rest = gsm_length(to_gsm(join({before, words.replies}))) + 1;
    if (rest >= kTextSeptetsMax) return std::string();
    if (gsm_length(shorter) <= kTextSeptetsMax - rest) return shorter;
    shorter = cut_to(shorter, kTextSeptetsMax - rest);
    const std::size_t stop = shorter.find_last_of(".,");
    return stop == std::string::npos ? std::string() : shorter.substr(0, stop) + ".";
  };
  const std::string with_trend = join({first, words.trend});
  const std::string beside_trend = shortened(with_trend), shorter = shortened(first);
  // How to answer is never cut off.
  const std::size_t replies = gsm_length(to_gsm(words.replies)) + 2;
  const std::size_t room = replies < kTextSeptetsMax ? kTextSeptetsMax - replies : 0;
  std::vector<std::string> variants;
  if (!words.trend.empty()) {
    variants.push_back(join({with_trend, words.action, words.replies}));
    if (!beside_trend.empty()) variants.push_back(join({with_trend, beside_trend, words.replies}));
  }
  for (const std::string& action : {words.action, shorter, std::string()}) variants.push_back(join({first, action, words.replies}));
  variants.push_back(words.head + ". " + words.replies);
  variants.push_back(cut_to(words.head, room) + ". " + words.replies);
  return fit(variants);
}

}  // namespace underwing
