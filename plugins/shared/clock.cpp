#include "plugins/shared/clock.hpp"

#include <array>
#include <charconv>
#include <chrono>
#include <cmath>
#include <cstdio>
#include <utility>

namespace underwing {
namespace {

/// Takes exactly `digits` digits off the front.
std::optional<int> take_digits(std::string_view& text, std::size_t digits) {
  if (text.size() < digits) return std::nullopt;
  int value = 0;
  for (std::size_t i = 0; i < digits; ++i) {
    if (text[i] < '0' || text[i] > '9') return std::nullopt;
    value = value * 10 + (text[i] - '0');
  }
  text.remove_prefix(digits);
  return value;
}

bool take(std::string_view& text, std::string_view any_of) {
  if (text.empty() || any_of.find(text.front()) == std::string_view::npos) return false;
  text.remove_prefix(1);
  return true;
}

std::optional<double> take_fraction(std::string_view& text) {
  if (!take(text, ".")) return 0.0;
  double value = 0;
  double scale = 0.1;
  std::size_t count = 0;
  for (; !text.empty() && text.front() >= '0' && text.front() <= '9'; ++count, scale /= 10) {
    value += scale * (text.front() - '0');
    text.remove_prefix(1);
  }
  return count > 0 ? std::optional<double>(value) : std::nullopt;
}

/// Seconds east of Greenwich: "Z", "+01:00".
std::optional<int> take_offset(std::string_view& text) {
  if (take(text, "Zz")) return 0;
  const bool west = !text.empty() && text.front() == '-';
  if (!take(text, "+-")) return std::nullopt;
  const auto hours = take_digits(text, 2);
  if (!hours || !take(text, ":")) return std::nullopt;
  const auto minutes = take_digits(text, 2);
  if (!minutes || *hours > 23 || *minutes > 59) return std::nullopt;
  const int seconds = *hours * 3600 + *minutes * 60;
  return west ? -seconds : seconds;
}

}  // namespace

std::optional<double> read_rfc3339(std::string_view text) {
  const auto year = take_digits(text, 4);
  if (!year || !take(text, "-")) return std::nullopt;
  const auto month = take_digits(text, 2);
  if (!month || !take(text, "-")) return std::nullopt;
  const auto day = take_digits(text, 2);
  if (!day || !take(text, "Tt ")) return std::nullopt;
  const auto hour = take_digits(text, 2);
  if (!hour || !take(text, ":")) return std::nullopt;
  const auto minute = take_digits(text, 2);
  if (!minute || !take(text, ":")) return std::nullopt;
  const auto second = take_digits(text, 2);
  if (!second) return std::nullopt;
  const auto fraction = take_fraction(text);
  if (!fraction) return std::nullopt;
  const auto offset = take_offset(text);
  if (!offset || !text.empty()) return std::nullopt;
  const std::chrono::year_month_day date{std::chrono::year{*year},
                                         std::chrono::month{static_cast<unsigned>(*month)},
                                         std::chrono::day{static_cast<unsigned>(*day)}};
  if (!date.ok() || *hour > 23 || *minute > 59 || *second > 60) return std::nullopt;
  const auto days = std::chrono::sys_days(date).time_since_epoch().count();
  return static_cast<double>(days) * 86400.0 + *hour * 3600 + *minute * 60 + *second + *fraction - *offset;
}

std::optional<double> read_span(std::string_view text) {
  double value = 0;
  const auto [end, failure] = std::from_chars(text.data(), text.data() + text.size(), value);
  if (failure != std::errc() || value < 0 || !std::isfinite(value)) return std::nullopt;
  text.remove_prefix(static_cast<std::size_t>(end - text.data()));
  while (take(text, " ")) {
  }
  constexpr std::array<std::pair<std::string_view, double>, 5> kSpans = {
      {{"ms", 0.001}, {"s", 1}, {"min", 60}, {"h", 3600}, {"d", 86400}}};
  for (const auto& [unit, seconds] : kSpans) {
    if (text == unit) return value * seconds;
  }
  return std::nullopt;
}

std::string write_rfc3339(double seconds) {
  const std::chrono::sys_seconds time{std::chrono::seconds(static_cast<long long>(std::floor(seconds)))};
  const auto day = std::chrono::floor<std::chrono::days>(time);
  const std::chrono::year_month_day date{day};
  const std::chrono::hh_mm_ss clock{time - day};
  std::array<char, 48> text{};
  std::snprintf(text.data(), text.size(), "%04d-%02u-%02uT%02d:%02d:%02dZ", static_cast<int>(date.year()),
                static_cast<unsigned>(date.month()), static_cast<unsigned>(date.day()),
                static_cast<int>(clock.hours().count()), static_cast<int>(clock.minutes().count()),
                static_cast<int>(clock.seconds().count()));
  return text.data();
}

double wall_seconds() {
  const auto since = std::chrono::system_clock::now().time_since_epoch();
  return static_cast<double>(std::chrono::duration_cast<std::chrono::milliseconds>(since).count()) / 1000.0;
}

}  // namespace underwing
