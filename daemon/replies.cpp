#include "daemon/replies.hpp"

#include <algorithm>
#include <array>
#include <cctype>
#include <charconv>
#include <cmath>
#include <utility>

#include "daemon/words.hpp"

namespace underwing {

namespace {

using namespace std::chrono_literals;
using enum Reply::Kind;

constexpr std::size_t kTextBytesMax = 160;
constexpr std::size_t kWordsAfterMax = 4;   // of talk after OK: whoever writes more does not answer an alarm, or is a machine
constexpr std::size_t kWordsUnclearMax = 8; // more of them without a word that is known: an automatic answer

constexpr std::string_view kThumbsUp = "\xF0\x9F\x91\x8D";

constexpr std::array<std::pair<std::string_view, Reply::Kind>, 13> kCommands{{
    {"OK", ok}, {"OKAY", ok}, {"OKE", ok}, {"OJ", ok}, {"OL", ok}, {"0K", ok}, {"HERE", here}, {"PASS", pass}, {"STATUS", status},
    {"SHELVE", shelve}, {"WORK", work}, {"UNDO", undo}, {"HELP", help}}};

struct Word {
  std::string text;   ///< in capitals
  std::size_t end;    ///< where it ends in the message
};

bool is_digit(char c) { return c >= '0' && c <= '9'; }

/// Letters and digits; a point or comma between two digits belongs to a number.
std::vector<Word> words_of(std::string_view text) {
  std::vector<Word> words;
  std::string word;
  const auto close = [&](std::size_t end) {
    if (!word.empty()) words.push_back({std::exchange(word, ""), end});
  };
  for (std::size_t i = 0; i < text.size(); ++i) {
    const char c = text[i];
    if (text.substr(i).starts_with(kThumbsUp)) {
      close(i);
      i += kThumbsUp.size() - 1;
      words.push_back({"OK", i + 1});
    } else if (std::isalnum(static_cast<unsigned char>(c)) != 0) {
      word += static_cast<char>(std::toupper(static_cast<unsigned char>(c)));
    } else if ((c == '.' || c == ',') && !word.empty() && std::all_of(word.begin(), word.end(), is_digit) && i + 1 < text.size() &&
               is_digit(text[i + 1])) {
      word += '.';
    } else {
      close(i);
    }
  }
  close(text.size());
  return words;
}

/// One letter more, less or other, or two that changed places.
bool one_slip(std::string_view a, std::string_view b) {
  if (a.size() > b.size()) std::swap(a, b);
  if (b.size() - a.size() > 1) return false;
  std::size_t same = 0;
  while (same < a.size() && a[same] == b[same]) ++same;
  const std::string_view rest_a = a.substr(same), rest_b = b.substr(same);
  if (a.size() != b.size()) return rest_a == rest_b.substr(1);
  if (rest_a.empty() || rest_a.substr(1) == rest_b.substr(1)) return true;
  return rest_a.size() > 1 && rest_a[0] == rest_b[1] && rest_a[1] == rest_b[0] && rest_a.substr(2) == rest_b.substr(2);
}

/// What people answer in every language, by the keys of a language's `answers`.
constexpr std::array<std::pair<std::string_view, Reply::Kind>, 8> kMeanings{
    {{"ok", ok}, {"here", here}, {"pass", pass}, {"status", status}, {"shelve", shelve}, {"work", work}, {"undo", undo}, {"help", help}}};

bool among(const std::vector<std::string>& words, const std::string& word) { return std::find(words.begin(), words.end(), word) != words.end(); }

std::optional<Reply::Kind> command_of(const std::string& word, const Language& language) {
  for (const auto& [key, kind] : kMeanings) {
    const auto synonyms = language.answers.find(std::string(key));
    if (synonyms != language.answers.end() && among(synonyms->second, word)) return kind;
  }
  for (const auto& [name, kind] : kCommands) {
    if (word == name) return kind;
  }
  // The first letter is right: "where" and "were" are no HERE.
  for (const auto& [name, kind] : kCommands) {
    if (name.size() >= 4 && word.front() == name.front() && one_slip(word, name)) return kind;
  }
  return std::nullopt;
}

std::string without_plural(std::string word) {
  if (word.size() > 3 && word.ends_with('S')) word.pop_back();
  return word;
}

std::optional<std::size_t> round_of(const std::string& word, const RuleSet& rules, const Language& language) {
  for (const auto& [measure, synonyms] : language.rounds) {
    if (among(synonyms, word)) return rules.find_measure(measure);
  }
  const std::string name = without_plural(word);
  for (std::size_t i = 0; i < rules.measures.size(); ++i) {
    const Measure& measure = rules.measures[i];
    if ((measure.kind == MeasureKind::round || measure.kind == MeasureKind::tally) && name == word_of(measure)) return i;
  }
  return std::nullopt;
}

std::optional<std::size_t> house_of(const std::string& word, const RuleSet& rules) {
  std::optional<std::size_t> found;
  const auto alike = [](unsigned char a, unsigned char b) { return std::toupper(a) == std::toupper(b); };
  for (std::size_t i = 0; i < rules.houses.size(); ++i) {
    const std::string& name = rules.houses[i].name;
    std::string plain;  // as the words are: no hyphens
    std::copy_if(name.begin(), name.end(), std::back_inserter(plain), [](unsigned char c) { return std::isalnum(c) != 0; });
    const std::string in_short = house_in_short(name);
    if (std::equal(plain.begin(), plain.end(), word.begin(), word.end(), alike)) return i;
    if (!std::equal(in_short.begin(), in_short.end(), word.begin(), word.end(), alike)) continue;
    if (found) return std::nullopt;  // two houses of one name in short
    found = i;
  }
  return found;
}

bool like_code(std::string_view word) {
  const auto pair_at = [&](std::size_t i) { return std::isupper(static_cast<unsigned char>(word[i])) != 0 && is_digit(word[i + 1]); };
  return (word.size() == 2 && pair_at(0)) || (word.size() == 4 && pair_at(0) && pair_at(2));
}

std::optional<double> number_of(std::string_view word) {
  double value = 0;
  const auto [end, error] = std::from_chars(word.data(), word.data() + word.size(), value);
  if (error != std::errc() || end != word.data() + word.size() || !std::isfinite(value)) return std::nullopt;
  return value;
}

/// "45M", "1H", "1H30", "1.5H", "45MIN", "2HOURS", or a bare number in `bare`.
std::optional<Duration> span_of(std::string_view word, Duration bare) {
  double minutes = 0;
  const char* at = word.data();
  const char* const end = word.data() + word.size();
  bool hours_before = false;
  while (at < end) {
    double value = 0;
    const auto [stop, error] = std::from_chars(at, end, value);
    if (error != std::errc() || !std::isfinite(value) || value < 0 || value > 100'000) return std::nullopt;
    const char* unit_end = std::find_if(stop, end, [](char c) { return is_digit(c) || c == '.'; });
    const std::string_view unit(stop, static_cast<std::size_t>(unit_end - stop));
    if (unit.empty()) {
      minutes += value * (hours_before ? 1 : static_cast<double>(bare.count()) / 60'000.0);
    } else if (unit == "H" || unit == "HR" || unit == "HRS" || unit == "HOUR" || unit == "HOURS") {
      minutes += value * 60;
      hours_before = true;
    } else if (unit == "M" || unit == "MIN" || unit == "MINS" || unit == "MINUTES") {
      minutes += value;
    } else {
      return std::nullopt;
    }
    at = unit_end;
  }
  return word.empty() ? std::nullopt : std::optional(Duration(std::llround(minutes * 60'000)));
}

/// "45 M" is "45M", "K 7" is "K7", "house-1" is one word, "OKK7" is "OK K7", "K7 OK" is "OK K7".
void mend(std::vector<Word>& words, const RuleSet& rules, const Language& language) {
  for (std::size_t i = 0; i + 1 < words.size(); ++i) {
    const std::string& a = words[i].text;
    const std::string& b = words[i + 1].text;
    const bool split_code = i > 0 && a.size() == 1 && b.size() == 1 && like_code(a + b);
    const bool split_span = number_of(a) && !number_of(b) && span_of(b.empty() ? "" : "1" + b, 1min).has_value() && !is_digit(b.front()) && !house_of(b, rules);
    if (!split_code && !split_span && !house_of(a + b, rules)) continue;
    words[i] = {a + b, words[i + 1].end};
    words.erase(words.begin() + static_cast<std::ptrdiff_t>(i) + 1);
  }
  if (words.size() > 1 && like_code(words[0].text) && command_of(words[1].text, language)) std::swap(words[0].text, words[1].text);
  if (words.empty()) return;
  for (const std::string_view command : {"OK", "HERE", "PASS", "SHELVE"}) {
    const std::string first = words.front().text;
    if (!first.starts_with(command) || !like_code(std::string_view(first).substr(command.size()))) continue;
    words.front().text = std::string(command);
    words.insert(words.begin() + 1, {first.substr(command.size()), words.front().end});
    return;
  }
}

/// OK, HERE and PASS: codes or houses, and a word or two of talk.
Reply answer_from(Reply reply, const std::vector<Word>& words, std::size_t from, const RuleSet& rules) {
  std::size_t talk = 0;
  for (std::size_t i = from; i < words.size(); ++i) {
    const std::string& word = words[i].text;
    const auto house = house_of(word, rules);
    if (house) reply.house = house;  // no alarm's code is a house's name in short
    else if (like_code(word)) reply.codes.push_back(word);
    else if (word != "OK") ++talk;
  }
  if (talk > kWordsAfterMax) reply.kind = unclear;
  return reply;
}

Reply work_from(Reply reply, const std::vector<Word>& words, std::size_t from, const RuleSet& rules) {
  for (std::size_t i = from; i < words.size(); ++i) {
    if (const auto house = house_of(words[i].text, rules)) reply.house = house;
    else if (const auto span = span_of(words[i].text, 1min)) reply.span = span;
  }
  return reply;
}

Reply shelve_from(Reply reply, std::string_view text, const std::vector<Word>& words, std::size_t from) {
  std::size_t why_from = words[from - 1].end;
  for (std::size_t i = from; i < words.size(); ++i) {
    if (reply.codes.empty() && like_code(words[i].text)) reply.codes.push_back(words[i].text);
    else if (const auto span = reply.span ? std::nullopt : span_of(words[i].text, 1h)) reply.span = span;
    else break;
    why_from = words[i].end;
  }
  std::string_view why = text.substr(why_from);
  while (!why.empty() && (why.front() == ' ' || why.front() == '.' || why.front() == ',' || why.front() == ':')) why.remove_prefix(1);
  reply.why = std::string(why);
  return reply;
}

Reply record_from(Reply reply, const std::vector<Word>& words, std::size_t measure_at, const RuleSet& rules) {
  for (std::size_t i = 0; i < words.size(); ++i) {
    if (i == measure_at) continue;
    std::string_view number = words[i].text;
    const bool degrees = number.size() > 1 && is_digit(number[number.size() - 2]) && (number.ends_with('F') || number.ends_with('C'));
    if (degrees) number.remove_suffix(1);
    if (const auto value = house_of(words[i].text, rules) ? std::nullopt : number_of(number)) {
      if (reply.value) return {};  // two numbers: which one is meant cannot be told
      reply.value = value;
      if (degrees) reply.unit = std::string("°") + words[i].text.back();
    } else if (reply.value && (words[i].text == "F" || words[i].text == "C")) {
      reply.unit = "°" + words[i].text;
    } else if (const auto house = house_of(words[i].text, rules)) {
      reply.house = house;
    }
  }
  return reply;
}

}  // namespace

std::string word_of(const Measure& measure) {
  std::string word = measure.name.substr(0, measure.name.find('_'));
  std::transform(word.begin(), word.end(), word.begin(), [](unsigned char c) { return static_cast<char>(std::toupper(c)); });
  return without_plural(word);
}

Reply read_reply(std::string_view text, const RuleSet& rules, const Language& language) {
  Reply reply;
  if (text.size() > kTextBytesMax) {
    reply.kind = automatic;
    return reply;
  }
  std::vector<Word> words = words_of(text);
  mend(words, rules, language);
  std::size_t first = 0;
  while (first + 1 < words.size() && (words[first].text == "I" || words[first].text == "AM" || words[first].text == "IM")) ++first;
  if (first < words.size()) {
    // "H2 NAVEL 80": the house may stand first.
    const auto house = house_of(words[first].text, rules);
    if (house && first + 1 < words.size()) {
      reply.house = house;
      ++first;
    }
    if (const auto measure = round_of(words[first].text, rules, language)) {
      reply.kind = record;
      reply.measure = measure;
      return record_from(std::move(reply), words, first, rules);
    }
    if (const auto kind = command_of(words[first].text, language)) {
      reply.kind = *kind;
      switch (*kind) {
        case shelve: return shelve_from(std::move(reply), text, words, first + 1);
        case work: return work_from(std::move(reply), words, first + 1, rules);
        default: return answer_from(std::move(reply), words, first + 1, rules);
      }
    }
  }
  reply.kind = words.size() > kWordsUnclearMax ? automatic : unclear;
  return reply;
}

}  // namespace underwing
