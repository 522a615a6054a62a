#include "rules/explain/words.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <charconv>
#include <cmath>

#include "rules/base/limits.hpp"

namespace underwing {

std::string in_long_words(Duration span) {
  const std::int64_t ms = span.count() < 0 ? -span.count() : span.count();
  std::string words;
  const auto add = [&words](std::int64_t count, const char* unit) {
    if (count == 0) return;
    if (!words.empty()) words += ' ';
    words += fmt::format("{} {}{}", count, unit, count == 1 ? "" : "s");
  };
  add(ms / 86'400'000, "day");
  add(ms / 3'600'000 % 24, "hour");
  add(ms / 60'000 % 60, "minute");
  add(ms / 1000 % 60, "second");
  add(ms % 1000, "millisecond");
  return words.empty() ? "no time" : words;
}

std::string age_in_words(Duration age) {
  if (age == Duration::zero()) return "placement";
  if (age > Duration::zero()) return "the age of " + in_long_words(age);
  // "24 hours before" is what people say; "1 day before" would sound like a date.
  return look_back(-age) + " before placement";
}

std::string look_back(Duration span) {
  const auto hours = std::chrono::duration_cast<std::chrono::hours>(span);
  if (hours != span || hours < std::chrono::hours(24) || hours > std::chrono::hours(48))
    return in_long_words(span);
  return fmt::format("{} hours", hours.count());
}

std::string short_age(Duration age) {
  if (age == Duration::zero()) return "0 d";
  const auto hours = std::chrono::duration_cast<std::chrono::hours>(age);
  if (age < Duration::zero() && hours == age && hours >= std::chrono::hours(-48))
    return fmt::format("{} h", hours.count());
  return to_words(age);
}

std::optional<Duration> parse_age(std::string_view text) {
  const auto skip_spaces = [&text] {
    text.remove_prefix(std::min(text.find_first_not_of(' '), text.size()));
  };
  skip_spaces();
  const bool negative = text.starts_with('-');
  if (negative) text.remove_prefix(1);
  double hours = 0;
  bool any = false;
  for (skip_spaces(); !text.empty(); skip_spaces()) {
    double value = 0;
    if (text[0] < '0' || text[0] > '9') return std::nullopt;
    const auto [end, error] = std::from_chars(text.data(), text.data() + text.size(), value);
    if (error != std::errc{}) return std::nullopt;
    text.remove_prefix(static_cast<std::size_t>(end - text.data()));
    skip_spaces();
    const std::string_view word = text.substr(0, text.find_first_of(" 0123456789"));
    const auto unit = parse_unit(word);
    Dimension time;
    time.exponent[Dimension::time] = 1;
    if (!unit || unit->dimension != time) return std::nullopt;
    text.remove_prefix(word.size());
    hours += unit->to_canonical(value);
    any = true;
  }
  if (!any || hours > hours_of(limits::kAge)) return std::nullopt;
  return Duration(std::llround((negative ? -hours : hours) * 3'600'000.0));
}

std::string count_in_words(std::size_t count) {
  static constexpr std::array<const char*, 13> kWords{"no",   "one",    "two",   "three", "four",
                                                      "five", "six",    "seven", "eight", "nine",
                                                      "ten",  "eleven", "twelve"};
  return count < kWords.size() ? kWords[count] : std::to_string(count);
}

std::string join_words(const std::vector<std::string>& words, std::string_view joint) {
  std::string all;
  for (std::size_t i = 0; i < words.size(); ++i) {
    if (i > 0) all += i + 1 == words.size() ? fmt::format(" {} ", joint) : ", ";
    all += words[i];
  }
  return all;
}

std::string counted(std::uint64_t count, std::string_view what) { return fmt::format("{} {}{}", count, what, count == 1 ? "" : "s"); }

std::vector<std::string> steps_of_light(const std::vector<std::pair<Duration, Duration>>& lights) {
  std::vector<std::string> steps;
  for (const auto& [age, light] : lights) steps.push_back(fmt::format("{}: {}", short_age(age), to_words(light)));
  return steps;
}

std::string plain_number(double value) {
  const double size = std::fabs(value);
  std::string text = fmt::format("{:.{}f}", value, size >= 10 ? 1 : size >= 1 ? 2 : 3);
  text.erase(text.find_last_not_of('0') + 1);
  if (text.ends_with('.')) text.pop_back();
  return text == "-0" ? "0" : text;
}

std::string with_its_unit(double canonical, const Unit& unit) {
  const std::string number = plain_number(unit.from_canonical(canonical));
  return unit.text.empty() ? number : number + " " + unit.text;
}

std::string spaced(std::string_view name) {
  std::string words(name);
  std::replace(words.begin(), words.end(), '_', ' ');
  return words;
}

std::size_t columns_of(std::string_view text) {
  return static_cast<std::size_t>(std::count_if(
      text.begin(), text.end(), [](char c) { return (static_cast<unsigned char>(c) & 0xC0U) != 0x80U; }));
}

std::string right_aligned(std::string_view text, std::size_t width) {
  return std::string(width - std::min(width, columns_of(text)), ' ') + std::string(text);
}

std::string left_aligned(std::string_view text, std::size_t width) {
  return std::string(text) + std::string(width - std::min(width, columns_of(text)), ' ');
}

std::string wrapped(std::string_view text, std::size_t width, std::string_view head) {
  const std::size_t indent = columns_of(head);
  std::string out(head);
  std::size_t column = indent;
  bool line_begins = true;
  while (!text.empty()) {
    const std::string_view word = text.substr(0, text.find_first_of(" \n"));
    text.remove_prefix(std::min(word.size() + 1, text.size()));
    if (word.empty()) continue;
    if (!line_begins && column + 1 + columns_of(word) > width) {
      out += '\n' + std::string(indent, ' ');
      column = indent;
      line_begins = true;
    }
    if (!line_begins) out += ' ';
    column += columns_of(word) + (line_begins ? 0 : 1);
    out += word;
    line_begins = false;
  }
  return out + '\n';
}

std::string grid(const std::vector<std::vector<std::string>>& rows, std::size_t names) {
  std::vector<std::size_t> widths;
  for (const auto& row : rows) {
    widths.resize(std::max(widths.size(), row.size()));
    for (std::size_t i = 0; i < row.size(); ++i) widths[i] = std::max(widths[i], columns_of(row[i]));
  }
  std::string out;
  for (const auto& row : rows) {
    std::string line;
    for (std::size_t i = 0; i < row.size(); ++i)
      line += "  " + (i < names ? left_aligned(row[i], widths[i]) : right_aligned(row[i], widths[i]));
    line.erase(line.find_last_not_of(' ') + 1);
    out += line + "\n";
  }
  return out;
}

}  // namespace underwing
