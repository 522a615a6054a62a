#include <fmt/format.h>

#include <algorithm>
#include <array>

#include "rules/files/read.hpp"

namespace underwing {
namespace {

/// Reads exactly `digits` digits and moves `text` past them.
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

bool take_sign(std::string_view& text, char sign) {
  if (text.empty() || text[0] != sign) return false;
  text.remove_prefix(1);
  return true;
}

void take_spaces(std::string_view& text) {
  while (take_sign(text, ' ')) {
  }
}

std::optional<Duration> take_time_of_day(std::string_view& text) {
  // One digit before the colon is fine: 5:30.
  const std::size_t digits = text.size() > 1 && text[1] == ':' ? 1 : 2;
  const auto hours = take_digits(text, digits);
  if (!hours || !take_sign(text, ':')) return std::nullopt;
  const auto minutes = take_digits(text, 2);
  if (!minutes || *minutes > 59 || *hours > 24 || (*hours == 24 && *minutes > 0)) return std::nullopt;
  return std::chrono::hours(*hours) + std::chrono::minutes(*minutes);
}

/// Of the right form; whether there is such a day is another question.
std::optional<std::chrono::year_month_day> take_date(std::string_view& text) {
  const auto year = take_digits(text, 4);
  bool fits = take_sign(text, '-');
  const auto month = take_digits(text, 2);
  fits = take_sign(text, '-') && fits;
  const auto day = take_digits(text, 2);
  if (!fits || !year || !month || !day) return std::nullopt;
  return std::chrono::year_month_day{std::chrono::year(*year), std::chrono::month(static_cast<unsigned>(*month)),
                                     std::chrono::day(static_cast<unsigned>(*day))};
}

bool is_text(const YamlNode& node, std::string_view wanted, IssueLog& log) {
  if (node.is_scalar()) return true;
  if (node.kind != YamlNode::Kind::wrong) report(log, node, fmt::format("{} is needed here", wanted));
  return false;
}

}  // namespace

std::optional<Duration> read_time_of_day(const YamlNode& node, IssueLog& log) {
  if (!is_text(node, "a time of day such as \"20:00\"", log)) return std::nullopt;
  std::string_view text = node.text;
  const auto time = take_time_of_day(text);
  if (time && text.empty()) return time;
  report(log, node, fmt::format("a time of day such as \"20:00\" is needed here, not '{}'", node.text));
  return std::nullopt;
}

std::optional<std::pair<Duration, Duration>> read_hours(const YamlNode& node, IssueLog& log) {
  if (!is_text(node, "hours such as 05:30-21:30", log)) return std::nullopt;
  std::string_view text = node.text;
  const auto begin = take_time_of_day(text);
  take_spaces(text);
  const bool joined = take_sign(text, '-');
  take_spaces(text);
  const auto end = take_time_of_day(text);
  if (!begin || !joined || !end || !text.empty()) {
    report(log, node, fmt::format("hours such as 05:30-21:30 are needed here, not '{}'", node.text));
    return std::nullopt;
  }
  if (*begin == *end) {
    report(log, node, "these hours begin and end at the same time");
    return std::nullopt;
  }
  return std::pair(*begin, *end);
}

std::optional<Instant> read_local_time(const YamlNode& node, const Zone& zone, IssueLog& log) {
  if (!is_text(node, "a date and time such as 2026-03-02 09:30", log)) return std::nullopt;
  std::string_view text = node.text;
  const auto date = take_date(text);
  const bool fits = (take_sign(text, ' ') || take_sign(text, 'T'));
  take_spaces(text);
  const auto time = take_time_of_day(text);
  take_spaces(text);
  const std::string which(text);
  if (!date || !fits || !time ||
      (!which.empty() && which != "first" && which != "second")) {
    report(log, node,
           fmt::format("a date and time such as 2026-03-02 09:30 is needed here, not '{}'", node.text));
    return std::nullopt;
  }
  if (!date->ok()) {
    report(log, node, fmt::format("there is no such day as {}", node.text.substr(0, 10)));
    return std::nullopt;
  }
  const Zone::Resolved resolved = zone.to_utc(LocalTime{std::chrono::sys_days(*date) + *time});
  if (resolved.mapping == Zone::Mapping::skipped) {
    report(log, node, fmt::format("this time does not exist in {}: the clocks skip it that day", zone.name));
    return std::nullopt;
  }
  if (resolved.mapping == Zone::Mapping::repeated && which.empty()) {
    report(
        log, node,
        fmt::format("this time comes twice in {} that day; write 'first' or 'second' after it", zone.name));
    return std::nullopt;
  }
  const bool zone_known = !zone.name.empty();
  if (zone_known && resolved.mapping == Zone::Mapping::unique && !which.empty()) {
    report(log, node, fmt::format("this time comes only once in {}; leave '{}' out", zone.name, which));
    return std::nullopt;
  }
  return which == "second" ? resolved.second : resolved.first;
}

std::optional<std::vector<std::pair<std::chrono::sys_days, std::chrono::sys_days>>> read_dates(
    const YamlNode& node, IssueLog& log) {
  constexpr const char* kWanted = "a date such as 2026-03-07, or 2026-03-07 to 2026-03-10,";
  std::vector<std::pair<std::chrono::sys_days, std::chrono::sys_days>> dates;
  for (const YamlNode* item : one_or_list(node)) {
    if (!is_text(*item, kWanted, log)) return std::nullopt;
    std::string_view text = item->text;
    const auto first = take_date(text);
    auto last = first;
    if (first && text.starts_with(" to ")) {
      text.remove_prefix(4);
      last = take_date(text);
    }
    if (!first || !last || !text.empty()) {
      report(log, *item, fmt::format("{} is needed here, not '{}'", kWanted, item->text));
      return std::nullopt;
    }
    if (!first->ok() || !last->ok()) {
      report(log, *item, fmt::format("'{}' holds a day that does not exist", item->text));
      return std::nullopt;
    }
    if (*last < *first) {
      report(log, *item, fmt::format("'{}' ends before it begins", item->text));
      return std::nullopt;
    }
    dates.emplace_back(*first, *last);
  }
  return dates;
}

std::optional<std::uint8_t> read_days(const YamlNode& node, IssueLog& log) {
  unsigned days = 0;
  const auto take_day = [](std::string_view& text) -> std::optional<unsigned> {
    for (unsigned i = 0; i < kWeekdays.size(); ++i) {
      if (text.starts_with(kWeekdays[i])) {
        text.remove_prefix(3);
        return i;
      }
    }
    return std::nullopt;
  };
  for (const YamlNode* item : one_or_list(node)) {
    if (!is_text(*item, "days such as Mon-Fri", log)) return std::nullopt;
    std::string_view text = item->text;
    for (;;) {
      take_spaces(text);
      const auto first = take_day(text);
      take_spaces(text);
      auto last = first;
      if (take_sign(text, '-')) {
        take_spaces(text);
        last = take_day(text);
        take_spaces(text);
      }
      if (!first || !last || (!text.empty() && text[0] != ',')) {
        report(log, *item,
               fmt::format("days such as Mon-Fri or Sat, Sun are needed here, not '{}'", item->text));
        return std::nullopt;
      }
      for (unsigned day = *first;; day = (day + 1) % 7) {
        days |= 1u << day;
        if (day == *last) break;
      }
      if (!take_sign(text, ',')) break;
    }
  }
  return static_cast<std::uint8_t>(days);
}

std::optional<std::vector<Way>> read_ways(const YamlNode& node, IssueLog& log) {
  std::vector<Way> ways;
  bool fine = true;
  for (const YamlNode* item : one_or_list(node)) {
    const auto index = read_one_of(*item, {"text", "call", "mail", "web-hook"}, log);
    fine = fine && index.has_value();
    if (!index) continue;
    const Way way = static_cast<Way>(*index);
    if (std::find(ways.begin(), ways.end(), way) != ways.end()) {
      report(log, *item, fmt::format("'{}' stands here twice", to_string(way)));
      fine = false;
    }
    ways.push_back(way);
  }
  if (fine && ways.empty()) {
    report(log, node, "at least one way to reach people is needed here: text, call, mail or web-hook");
    fine = false;
  }
  return fine ? std::optional(ways) : std::nullopt;
}

}  // namespace underwing
