#include "daemon/zone_rule.hpp"

#include <algorithm>
#include <charconv>
#include <cstdint>
#include <optional>
#include <string>

namespace underwing {
namespace {

using std::chrono::seconds;

/// "M3.5.0/1": the last (5) Sunday (0) of March, at 1 o'clock.
struct ChangeDay {
  int month = 0, week = 0, weekday = 0;
  seconds time = std::chrono::hours(2);

  [[nodiscard]] seconds local_in(int year) const {
    const auto wanted = std::chrono::weekday(static_cast<unsigned>(weekday));
    const auto in_month = std::chrono::year(year) / month;
    const std::chrono::sys_days day = week == 5 ? std::chrono::sys_days(in_month / wanted[std::chrono::last])
                                                : std::chrono::sys_days(in_month / wanted[static_cast<unsigned>(week)]);
    return day.time_since_epoch() + time;
  }
};

/// Takes pieces off the front of a rule; any failure sticks.
class RuleReader {
 public:
  explicit RuleReader(std::string_view rule) : rest_(rule) {}

  std::string name() {
    const bool quoted = take('<');
    const std::size_t size = rest_.find_first_of(quoted ? ">" : "+-0123456789,");
    if (size == std::string_view::npos || size == 0) return fail(), std::string();
    std::string text(rest_.substr(0, size));
    rest_.remove_prefix(size + (quoted ? 1 : 0));
    return text;
  }

  /// "[+-]h[:m[:s]]"
  seconds time() {
    const bool negative = take('-');
    if (!negative) take('+');
    seconds sum = std::chrono::hours(number());
    if (take(':')) sum += std::chrono::minutes(number());
    if (take(':')) sum += seconds(number());
    return negative ? -sum : sum;
  }

  ChangeDay change_day() {
    ChangeDay day;
    if (!take('M')) fail();
    day.month = number();
    if (!take('.')) fail();
    day.week = number();
    if (!take('.')) fail();
    day.weekday = number();
    if (take('/')) day.time = time();
    if (day.month < 1 || day.month > 12 || day.week < 1 || day.week > 5 || day.weekday > 6) fail();
    return day;
  }

  bool take(char wanted) {
    if (!rest_.starts_with(wanted)) return false;
    rest_.remove_prefix(1);
    return true;
  }
  void need(char wanted) {
    if (!take(wanted)) fail();
  }
  [[nodiscard]] bool at(char wanted) const { return rest_.starts_with(wanted); }
  [[nodiscard]] bool ended_well() const { return good_ && rest_.empty(); }

 private:
  void fail() { good_ = false; }
  int number() {
    std::uint16_t value = 0;
    const auto result = std::from_chars(rest_.data(), rest_.data() + rest_.size(), value);
    if (result.ec != std::errc()) fail();
    rest_.remove_prefix(static_cast<std::size_t>(result.ptr - rest_.data()));
    return value;
  }
  std::string_view rest_;
  bool good_ = true;
};

}  // namespace

std::vector<Zone::Period> periods_of_rule(std::string_view rule, int first, int last) {
  RuleReader reader(rule);
  // POSIX counts offsets westwards: what is added to local time to get UTC.
  const std::string winter_name = reader.name();
  const seconds winter = -reader.time();
  const std::string summer_name = reader.name();
  const seconds summer = reader.at(',') ? winter + std::chrono::hours(1) : -reader.time();
  reader.need(',');
  const ChangeDay summer_begin = reader.change_day();
  reader.need(',');
  const ChangeDay winter_begin = reader.change_day();
  if (!reader.ended_well()) return {};

  std::vector<Zone::Period> periods;
  for (int year = first; year <= last; ++year) {
    periods.push_back({Instant(summer_begin.local_in(year) - winter), summer, summer_name});
    periods.push_back({Instant(winter_begin.local_in(year) - summer), winter, winter_name});
  }
  std::sort(periods.begin(), periods.end(), [](const auto& a, const auto& b) { return a.begin < b.begin; });
  return periods;
}

}  // namespace underwing
