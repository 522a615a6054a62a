#include "rules/engine/lights.hpp"

namespace underwing {

namespace {

/// Whether lights are on, and for how long that holds by the plan of this age and the clock that now runs.
struct Lights {
  bool on = false;
  Duration holds_for{0};
};

Lights lights_at(const Flock& flock, const Zone& zone, Instant wall) {
  constexpr Duration kDay = std::chrono::hours(24);
  const Duration age = wall - flock.placed;
  Duration hours = flock.lights.front().second;
  Duration next_step = kDay;
  for (const auto& [from, length] : flock.lights) {
    if (from <= age)
      hours = length;
    else
      next_step = std::min(next_step, from - age);
  }
  const Instant local = zone.to_local(wall).as_if_utc;
  const Duration time_of_day = local - std::chrono::floor<std::chrono::days>(local);
  const Duration since_on = (time_of_day - flock.lights_on + kDay) % kDay;
  const bool on = since_on < hours;
  return {on, std::min(next_step, (on ? std::min(hours, kDay) : kDay) - since_on)};
}

}  // namespace

double lights_now(const Flock& flock, const Zone& zone, Instant wall) {
  return flock.lights.empty() ? kUnknown : logic::of(lights_at(flock, zone, wall).on);
}

Range lights_range(const Flock& flock, const Zone& zone, const Outlook& outlook) {
  if (flock.lights.empty()) return Range::unknown();
  const Lights lights = lights_at(flock, zone, outlook.wall);
  const Instant later = outlook.wall + outlook.length();
  const bool clock_runs_on =
      zone.to_local(later).as_if_utc - zone.to_local(outlook.wall).as_if_utc == outlook.length();
  if (!clock_runs_on || lights.holds_for <= outlook.length()) return Range::of_logic(true, true);
  return Range::point(logic::of(lights.on));
}

}  // namespace underwing
