#include "rules/base/zone.hpp"

#include <algorithm>

namespace underwing {

std::chrono::seconds Zone::offset_at(Instant utc) const {
  if (periods.empty()) return std::chrono::seconds{0};
  auto after = std::upper_bound(periods.begin(), periods.end(), utc,
                                [](Instant time, const Period& period) { return time < period.begin; });
  return after == periods.begin() ? periods.front().offset : std::prev(after)->offset;
}

LocalTime Zone::to_local(Instant utc) const {
  return LocalTime{utc + offset_at(utc)};
}

Zone::Resolved Zone::to_utc(LocalTime local) const {
  if (periods.empty()) return {Mapping::unique, local.as_if_utc, local.as_if_utc};
  // Offsets stay within a day, so only the periods around the local reading can map to it.
  std::vector<Instant> found;
  for (std::size_t i = 0; i < periods.size(); ++i) {
    const Instant utc = local.as_if_utc - periods[i].offset;
    const bool begun = i == 0 || utc >= periods[i].begin;
    const bool over = i + 1 < periods.size() && utc >= periods[i + 1].begin;
    if (begun && !over) found.push_back(utc);
  }
  if (found.size() == 1) return {Mapping::unique, found[0], found[0]};
  if (found.size() > 1) return {Mapping::repeated, found.front(), found.back()};
  for (std::size_t i = 1; i < periods.size(); ++i) {
    const bool past_before = local.as_if_utc - periods[i - 1].offset >= periods[i].begin;
    const bool before_after = local.as_if_utc - periods[i].offset < periods[i].begin;
    if (past_before && before_after) return {Mapping::skipped, periods[i].begin, periods[i].begin};
  }
  return {Mapping::unique, local.as_if_utc - periods.front().offset,
          local.as_if_utc - periods.front().offset};
}

Instant Zone::next_time_of_day(Instant from, Duration time_of_day) const {
  const auto today = std::chrono::floor<std::chrono::days>(to_local(from).as_if_utc);
  // A day earlier as well: where clocks are set back over midnight, yesterday's reading may still lie ahead.
  for (int days = -1; days <= 2; ++days) {
    const LocalTime local{today + std::chrono::days{days} + time_of_day};
    const Instant utc = to_utc(local).first;
    if (utc >= from) return utc;
  }
  return from + std::chrono::days{1};
}

}  // namespace underwing
