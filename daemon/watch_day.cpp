// Watch: what the day's two texts tell: whether the farm is ready for the night, and how the night was.
#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "daemon/air_view.hpp"
#include "daemon/duty.hpp"
#include "daemon/flock_view.hpp"
#include "daemon/watch.hpp"
#include "daemon/words.hpp"
#include "rules/languages/texts.hpp"

namespace underwing {

namespace {

using namespace std::chrono_literals;

constexpr Duration kNight = 12h;
constexpr Duration kDutyEvery = 30min;         // how closely the night's duty is looked at
constexpr Duration kProvenWithin = 26h;        // the evening text itself proves a path, a day apart
constexpr Duration kLevelsKept = 12h;
constexpr Duration kAirKept = 25h;             // a day, and what a message waits for or is sent again within
constexpr double kLevelLeft_percent = 10;      // common practice: a tank is not run lower
constexpr std::size_t kLinesMax = 5;           // a house

/// What the summary calls the gases, in the order in which it tells them.
constexpr std::pair<std::string_view, std::string_view> kGases[] = {{"ammonia", "NH3"}, {"carbon_dioxide", "CO2"}, {"carbon_monoxide", "CO"}};
constexpr std::string_view kHumidity = "relative_humidity";

/// What the night's lowest and highest are told of.
bool is_of_the_air(const Measure& measure) {
  return measure.name == "air_temperature" || measure.name == kHumidity ||
         std::any_of(std::begin(kGases), std::end(kGases), [&](const auto& gas) { return measure.name == gas.first; });
}

bool is_tank(const Measure& measure) { return measure.name == "gas_level" || measure.name == "fuel_level"; }

/// In a text humidity is told only beside gases: alone it is not worth the room.
enum class Humidity { always, beside_gases };

/// The lowest and the highest of all probes of a measure in a house; nullopt where none was heard since the last summary.
template <typename Days>
std::optional<std::pair<double, double>> span_of(const RuleSet& rules, std::size_t house, const Days& days, std::string_view name) {
  std::optional<std::pair<double, double>> span;
  for (const std::size_t probe : probes_of(rules, house, name)) {
    const auto day = days.find(rules.full_name(probe));
    if (day == days.end() || day->second.count == 0) continue;
    if (!span) span.emplace(day->second.lowest, day->second.highest);
    span->first = std::min(span->first, day->second.lowest);
    span->second = std::max(span->second, day->second.highest);
  }
  return span;
}

/// "NH3 up to 22 ppm, CO2 up to 4200 ppm, humidity 61 to 74 %." of a house; empty where nothing of it was heard.
template <typename Days>
std::string gases_text(const RuleSet& rules, std::size_t house, const Days& days, const Language& language, Humidity humidity) {
  std::vector<std::string> parts;
  for (const auto& [name, short_name] : kGases) {
    if (const auto span = span_of(rules, house, days, name)) parts.push_back(say(language, "gas_up_to", {{"gas", std::string(short_name)}, {"value", fmt::format("{:.0f}", span->second)}}));
  }
  if (humidity == Humidity::beside_gases && parts.empty()) return "";
  if (const auto span = span_of(rules, house, days, kHumidity)) {
    parts.push_back(say(language, "humidity_span", {{"low", fmt::format("{:.0f}", span->first)}, {"high", fmt::format("{:.0f}", span->second)}}));
  }
  if (parts.empty()) return "";
  std::string text = list_of(parts, ", ") + ".";
  if (text.front() >= 'a' && text.front() <= 'z') text.front() = static_cast<char>(text.front() - 'a' + 'A');
  return text;
}

}  // namespace

// --- what is kept of a day ----------------------------------------------------------------------------------

void Watch::keep_day(std::size_t probe, double value) {
  Day& day = day_[rules_->full_name(probe)];
  if (day.count++ == 0) day = {value, value, 0, value, 1};
  day.lowest = std::min(day.lowest, value);
  day.highest = std::max(day.highest, value);
  day.sum += value;
}

/// Every five minutes of what is shown in the summary, every hour of tanks.
void Watch::keep_levels() {
  if (now_.time_since_epoch() % 5min != Duration::zero()) return;
  for (std::size_t probe = 0; probe < rules_->probes.size(); ++probe) {
    const Measure& measure = rules_->probes[probe].quality;
    const double held = engine_->series(probe).held(now_);
    if (!known(held) || rules_->waits_for(probe, wall())) continue;
    if (measure.kind == MeasureKind::counter || is_of_the_air(measure)) keep_day(probe, held);
    if (!is_tank(measure) || now_.time_since_epoch() % 1h != Duration::zero()) continue;
    auto& levels = levels_[rules_->full_name(probe)];
    levels.emplace_back(now_, held);
    while (now_ - levels.front().first > kLevelsKept) levels.pop_front();
  }
}

/// Each whole minute, of houses with a flock.
void Watch::keep_air() {
  const auto hundredth = [](double value) { return std::round(value * 100) / 100; };
  const Instant begin = now_ - now_.time_since_epoch() % AirSpan::kLength;
  for (std::size_t house = 0; house < rules_->houses.size(); ++house) {
    std::deque<AirSpan>& spans = air_[rules_->houses[house].name];
    while (!spans.empty() && now_ - spans.front().begin >= kAirKept) spans.pop_front();
    if (!rules_->flock_in(house, wall())) continue;
    if (spans.empty() || spans.back().begin < begin) spans.push_back(AirSpan{.begin = begin});
    AirSpan& span = spans.back();
    const AirView air = air_view(*engine_, house);
    span.low = hundredth(air.low);
    span.high = hundredth(air.high);
    if (air.blind || !known(air.value)) continue;
    const double value = hundredth(air.value);
    span.lowest = span.minutes == 0 ? value : std::min(span.lowest, value);
    span.highest = span.minutes == 0 ? value : std::max(span.highest, value);
    ++span.minutes;
  }
}

const std::deque<AirSpan>& Watch::air_kept(const std::string& house) const {
  static const std::deque<AirSpan> none;
  const auto found = air_.find(house);
  return found == air_.end() ? none : found->second;
}

// --- the morning summary ------------------------------------------------------------------------------------

std::vector<std::string> Watch::calls_from(const std::string& house, const Language& language) const {
  const auto clock = [&](Instant time) { return clock_time(rules_->farm.zone, time + engine_->wall_ahead()); };
  std::vector<std::string> calls;
  for (const Night& entry : night_) {
    if (entry.house != house) continue;
    calls.push_back(fmt::format("{} {}-{}{}", said_in(entry.what, entry.whats, language), clock(entry.raised), entry.returned ? clock(*entry.returned) : say(language, "now"),
                                entry.who.empty() ? "" : " (" + entry.who + ")"));
  }
  return calls;
}

std::string Watch::summary_text(const Language& language) {
  const Zone& zone = rules_->farm.zone;
  std::vector<std::string> full, parts, brief;
  for (std::size_t house = 0; house < rules_->houses.size(); ++house) {
    const std::string& name = rules_->houses[house].name;
    const std::vector<std::string> calls = calls_from(name, language);
    std::string head = house_in_short(name);
    if (const auto flock = rules_->flock_in(house, wall())) head += " " + day_of(rules_->flocks[*flock], zone, wall(), language);
    parts.push_back(head + ": " + (calls.empty() ? say(language, "quiet") : list_of(calls, ", ")));
    std::string gases = gases_text(*rules_, house, day_, language, Humidity::beside_gases);
    if (!gases.empty()) gases.pop_back();  // the list sets the stops
    full.push_back(parts.back() + (gases.empty() ? "" : ". " + gases));
    brief.push_back(head + ": " + (calls.empty() ? say(language, "quiet") : say_count(language, "alarms", calls.size())));
  }
  const auto open = std::count_if(alarms_.begin(), alarms_.end(), [](const auto& entry) { return entry.second.life.stands(); });
  const auto farm_wide = std::count_if(night_.begin(), night_.end(), [](const Night& entry) { return entry.house.empty(); });
  std::string tail = say(language, "open_now", {{"alarms", open == 0 ? say(language, "none") : std::to_string(open)}});
  if (const std::string drills = drills_text(language); !drills.empty()) tail += " " + say(language, "drill_line", {{"drills", drills}});
  if (farm_wide > 0) tail = say_count(language, "farm_troubles", static_cast<std::size_t>(farm_wide)) + " " + tail;
  const auto all = [&](const std::vector<std::string>& list) {
    std::string text = say(language, "morning", {{"time", clock_time(zone, wall())}}) + " ";
    for (const std::string& part : list) text += part + ". ";
    return text + tail;
  };
  return fit({all(full), all(parts), all(brief)});
}

/// At most five lines: alarms, air with its gases and humidity, water and feed, weight and dead birds, what is due.
std::vector<std::string> Watch::house_lines(std::size_t house, const Language& language) {
  const Zone& zone = rules_->farm.zone;
  const std::string& name = rules_->houses[house].name;
  std::vector<std::string> lines;
  const std::vector<std::string> calls = calls_from(name, language);
  const auto flock = rules_->flock_in(house, wall());
  lines.push_back(house_in_short(name) + (flock ? " " + day_of(rules_->flocks[*flock], zone, wall(), language) : "") + ": " +
                  (calls.empty() ? say(language, "quiet") : list_of(calls, ", ")));
  if (!flock) return lines;
  std::vector<std::string> used, weights, dead, due;
  for (const auto& [measure, probes] : rules_->houses[house].probes) {
    const Measure& kind = rules_->measures[measure];
    double sum = 0, grown = 0;
    std::size_t count = 0;
    for (const std::size_t probe : probes) {
      const Series& series = engine_->series(probe);
      const auto day = day_.find(rules_->full_name(probe));
      if (kind.kind == MeasureKind::round && !series.usable(now_) && asked_for(*engine_, probe, wall())) due.push_back(measure_in_words(language, kind.name));
      if (kind.kind == MeasureKind::tally && series.ever_good()) dead.push_back(measure_in_words(language, kind.name) + " " + tally_text(probe, language));
      if (day == day_.end()) continue;
      grown += std::max(0.0, day->second.highest - day->second.first);
      sum += day->second.sum;
      count += day->second.count;
    }
    if (kind.kind == MeasureKind::counter && count > 0) used.push_back(fmt::format("{} {}", measure_in_words(language, kind.name), with_unit(kind.unit.to_canonical(grown), shown(kind.unit))));
    if (kind.kind == MeasureKind::sample && count > 0) {
      weights.push_back(say(language, "weighings", {{"measure", measure_in_words(language, kind.name)},
                                                  {"value", with_unit(kind.unit.to_canonical(sum / static_cast<double>(count)), shown(kind.unit))},
                                                  {"weighings", std::to_string(count)}}));
    }
  }
  const std::string gases = gases_text(*rules_, house, day_, language, Humidity::always);
  const std::string since = clock_time(zone, summary_from_ + engine_->wall_ahead());
  if (const auto air = span_of(*rules_, house, day_, "air_temperature")) {
    const Unit& unit = rules_->measures[*rules_->find_measure("air_temperature")].unit;
    const auto tenth = [&](double value) { return fmt::format("{:.1f}", *convert(value, unit, shown(unit))); };
    lines.push_back("  " + say(language, "air_line", {{"low", tenth(air->first)}, {"high", tenth(air->second)}, {"unit", to_gsm(shown(unit).text)}, {"time", since}}) + (gases.empty() ? "" : " " + gases));
  } else if (!gases.empty()) {
    lines.push_back("  " + gases);
  }
  if (!used.empty()) lines.push_back("  " + say(language, "used_line", {{"time", since}, {"used", list_of(used, ", ")}}));
  weights.insert(weights.end(), dead.begin(), dead.end());
  if (!weights.empty()) lines.push_back("  " + list_of(weights, "; ") + ".");
  if (!due.empty()) lines.push_back("  " + say(language, "rounds_due", {{"rounds", list_of(due, ", ")}}));
  lines.resize(std::min(lines.size(), kLinesMax));
  return lines;
}

std::string Watch::summary_in_full(const Language& language) {
  std::string text = say(language, "morning_of", {{"time", clock_time(rules_->farm.zone, wall())}, {"farm", rules_->farm.name}}) + "\n";
  for (std::size_t house = 0; house < rules_->houses.size(); ++house) {
    for (const std::string& line : house_lines(house, language)) text += line + "\n";
  }
  std::vector<std::string> open, farm;
  for (const auto& [id, alarm] : alarms_) {
    if (alarm.life.stands()) open.push_back(head(alarm, language) + " (" + alarm.code + ")");
  }
  for (const Night& entry : night_) {
    if (entry.house.empty()) farm.push_back(said_in(entry.what, entry.whats, language));
  }
  if (!farm.empty()) text += say(language, "farm_list", {{"alarms", list_of(farm, "; ")}}) + "\n";
  if (const std::string drills = drills_text(language); !drills.empty()) text += say(language, "drills_line", {{"drills", drills}}) + "\n";
  return text + say(language, "open_now", {{"alarms", open.empty() ? say(language, "none") : list_of(open, ", ")}});
}

// --- ready for the night ------------------------------------------------------------------------------------

void Watch::find_house_faults(std::size_t house, std::vector<std::string>& faults, const Language& language) {
  const std::string short_name = house_in_short(rules_->houses[house].name);
  std::size_t silent = 0;
  std::string first;
  for (const auto& [measure, probes] : rules_->houses[house].probes) {
    const MeasureKind kind = rules_->measures[measure].kind;
    if (kind == MeasureKind::tally || kind == MeasureKind::round || kind == MeasureKind::sample) continue;
    for (const std::size_t probe : probes) {
      if (engine_->series(probe).usable(now_) || rules_->waits_for(probe, wall())) continue;
      if (silent++ > 0) continue;
      first = say(language, "one_silent", {{"house", short_name}, {"measure", measure_in_words(language, rules_->measures[measure].name)}, {"probe", rules_->probes[probe].name}});
    }
  }
  if (silent > 0) faults.push_back(first + (silent > 1 ? " " + say_count(language, "and_more", silent - 1) : ""));
  std::size_t blind = 0, in_force = 0;
  for (std::size_t rule = 0; rule < rules_->rules.size(); ++rule) {
    if (rules_->rules[rule].house != house) continue;
    blind += engine_->state(rule).blind;
    in_force += engine_->state(rule).in_force;
  }
  if (blind > 0) faults.push_back(say_count(language, "cannot_tell", blind, {{"house", short_name}}));
  const auto work = works_.find(rules_->houses[house].name);
  if (work != works_.end()) {
    faults.push_back(say(language, "work_until", {{"house", short_name}, {"time", clock_time(rules_->farm.zone, work->second.until + engine_->wall_ahead())}}));
  } else if (in_force == 0) {
    faults.push_back(say(language, "no_rule", {{"house", short_name}}));
  }
  find_fuel_faults(house, faults, language);
}

/// Gas and fuel until morning, at the rate of the last hours.
void Watch::find_fuel_faults(std::size_t house, std::vector<std::string>& faults, const Language& language) const {
  for (const auto& [measure, probes] : rules_->houses[house].probes) {
    if (!is_tank(rules_->measures[measure])) continue;
    for (const std::size_t probe : probes) {
      const double held = engine_->series(probe).held(now_);
      if (!known(held)) continue;  // said already
      const Instant morning = summary_due_ != kNever ? std::min(summary_due_, now_ + 24h) : now_ + kNight;
      double left = held;
      const auto levels = levels_.find(rules_->full_name(probe));
      if (levels != levels_.end() && levels->second.size() > 1) {
        // From the highest on: somebody may have filled it up.
        const auto& [begin, level] = *std::max_element(levels->second.begin(), levels->second.end(),
                                                       [](const auto& a, const auto& b) { return a.second < b.second; });
        if (level > held && now_ > begin) left -= (level - held) / hours_of(now_ - begin) * hours_of(morning - now_);
      }
      if (left >= kLevelLeft_percent) continue;
      const std::string tank = rules_->measures[measure].name == "gas_level" ? say(language, "gas") : say(language, "fuel");
      faults.push_back(say(language, held >= kLevelLeft_percent ? TextKey("tank_ends") : TextKey("tank_low"),
                           {{"house", house_in_short(rules_->houses[house].name)}, {"tank", tank}, {"percent", fmt::format("{:.0f}", held)}}));
    }
  }
}

/// Paths that were not proven for a day, hours without duty, and people who did not answer their last drill.
void Watch::find_people_faults(std::vector<std::string>& faults, const Language& language) const {
  const Zone& zone = rules_->farm.zone;
  for (const PathStatus& path : paths()) {
    if (path.state == PathState::down) continue;  // said with the plugins
    if (path.state == PathState::suspect) faults.push_back(say(language, "path_failed", {{"path", path.name}}));
    const auto last = std::max(path.sent, path.proven);
    if (!last && path.tested && path.state == PathState::untested) faults.push_back(say(language, "path_untested", {{"path", path.name}}));
    if (last && now_ - *last > kProvenWithin) {
      faults.push_back(say(language, "path_old", {{"path", path.name}, {"span", to_words(std::chrono::floor<std::chrono::hours>(now_ - *last))}}));
    }
  }
  std::vector<std::string> on_call;
  std::optional<Instant> bare;
  for (Duration ahead = Duration::zero(); ahead < kNight; ahead += kDutyEvery) {
    const auto who = on_duty(rules_->farm, wall() + ahead, swaps_);
    if (!who && !bare) bare = wall() + ahead;
    if (who && std::find(on_call.begin(), on_call.end(), *who) == on_call.end()) on_call.push_back(*who);
  }
  if (rules_->farm.heartbeat && !heard_lately() &&
      std::none_of(alarms_.begin(), alarms_.end(), [](const auto& entry) { return entry.second.rule == "heartbeat-unanswered"; })) {
    faults.push_back(say(language, "heartbeat_missed"));
  }
  if (bare) faults.push_back(say(language, "nobody_at", {{"time", clock_time(zone, *bare)}}));
  for (const std::string& who : on_call) {
    const auto drilled = drilled_.find(who);
    if (drilled != drilled_.end() && !drilled->second.answered_after) faults.push_back(say(language, "drill_missed", {{"who", who}}));
  }
}

std::string Watch::evening_text(std::vector<std::string>* faults_out, const Language& language) {
  std::vector<std::string> faults, houses;
  for (std::size_t house = 0; house < rules_->houses.size(); ++house) {
    if (!occupied(house)) continue;
    find_house_faults(house, faults, language);
    const auto flock = rules_->flock_in(house, wall());
    if (!flock) continue;
    const Flock& birds = rules_->flocks[*flock];
    houses.push_back(house_in_short(rules_->houses[house].name) + " " +
                     (wall() < birds.placed ? say(language, "chicks_at", {{"time", clock_time(rules_->farm.zone, birds.placed)}})
                                             : day_of(birds, rules_->farm.zone, wall(), language)));
  }
  for (const auto& [id, alarm] : alarms_) {
    if (alarm.life.stands() && alarm.priority != Priority::note && !is_drill(alarm)) faults.push_back(head(alarm, language));
  }
  for (const auto& [name, plugin] : plugins_) {
    if (!plugin.up) faults.push_back(say(language, "is_down", {{"plugin", name}}));
  }
  find_people_faults(faults, language);
  if (faults_out) *faults_out = faults;
  if (!faults.empty()) {
    std::vector<std::string> variants{say(language, "not_ready", {{"faults", list_of(faults, "; ")}})};
    for (std::size_t count = faults.size() - 1; count > 0; --count) {
      const std::vector<std::string> some(faults.begin(), faults.begin() + static_cast<std::ptrdiff_t>(count));
      variants.push_back(say(language, "not_ready", {{"faults", list_of(some, "; ") + "; " + say_count(language, "and_more", faults.size() - count)}}));
    }
    return fit(variants);
  }
  std::string outside;
  if (const auto measure = rules_->find_measure("outside_temperature")) {
    for (std::size_t probe = 0; probe < rules_->probes.size() && outside.empty(); ++probe) {
      const double held = engine_->series(probe).held(now_);
      if (rules_->probes[probe].measure == *measure && known(held)) outside = " " + say(language, "outside", {{"value", with_unit(rules_->measures[*measure].unit.to_canonical(held), shown(rules_->measures[*measure].unit))}});
    }
  }
  const std::string ready = say(language, "ready", {{"houses", houses.empty() ? say(language, "no_flock") : list_of(houses, ", ")}});
  const std::string duty = " " + say(language, "on_duty", {{"who", on_duty(rules_->farm, wall(), swaps_).value_or(say(language, "everyone"))}});
  const std::string heard = rules_->farm.heartbeat ? " " + say(language, "heartbeat_heard") : "";
  return fit({ready + outside + heard + duty, ready + outside + duty, ready + duty, ready});
}

}  // namespace underwing
