#include "rules/base/time.hpp"

#include <fmt/format.h>

namespace underwing {

std::string to_rfc3339(Instant time) {
  const auto day = std::chrono::floor<std::chrono::days>(time);
  const std::chrono::year_month_day date{day};
  const std::int64_t ms = (time - day).count();
  return fmt::format("{:04}-{:02}-{:02}T{:02}:{:02}:{:02}.{:03}Z", static_cast<int>(date.year()),
                     static_cast<unsigned>(date.month()), static_cast<unsigned>(date.day()), ms / 3'600'000,
                     ms / 60'000 % 60, ms / 1000 % 60, ms % 1000);
}

std::string clock_of(Duration time_of_day) {
  const auto minutes = std::chrono::floor<std::chrono::minutes>(time_of_day).count();
  return fmt::format("{:02}:{:02}", minutes / 60, minutes % 60);
}

std::string to_words(Duration span) {
  if (span < Duration::zero()) return "-" + to_words(-span);
  const std::int64_t ms = span.count();
  std::string words;
  const auto add = [&words](std::int64_t count, const char* unit) {
    if (count == 0) return;
    if (!words.empty()) words += ' ';
    words += fmt::format("{} {}", count, unit);
  };
  add(ms / 86'400'000, "d");
  add(ms / 3'600'000 % 24, "h");
  add(ms / 60'000 % 60, "min");
  add(ms / 1000 % 60, "s");
  add(ms % 1000, "ms");
  return words.empty() ? "0 min" : words;
}

}  // namespace underwing
