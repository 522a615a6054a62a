#include "tests/night-benchmark/flock_week.hpp"

#include <fmt/format.h>

#include <array>
#include <cmath>
#include <filesystem>
#include <fstream>
#include <span>
#include <sstream>
#include <stdexcept>

#include "rules/engine/engine.hpp"
#include "rules/files/load.hpp"

namespace underwing {
namespace {

using namespace std::chrono_literals;

constexpr Duration kFaultLasts = 3h;
constexpr Duration kOneWakeUp = 30min;  // what comes within this time of a wake-up wakes nobody again
constexpr std::array<const char*, 8> kProbes = {"a", "b", "c", "d", "e", "f", "g", "h"};

double seconds_of(Instant time) {
  return std::chrono::duration<double>(time.time_since_epoch()).count();
}
Instant instant_of(double seconds) {
  return Instant(std::chrono::duration_cast<Duration>(std::chrono::duration<double>(seconds)));
}

std::string farm_text() {
  std::string probes;
  for (const char* probe : kProbes) probes += fmt::format("{}{}", probes.empty() ? "" : ", ", probe);
  return fmt::format(R"(format: 1
farm: Made Up
time_zone: UTC
houses:
  house-1:
    probes:
      air_temperature: [{}]
      relative_humidity: [centre]
      carbon_dioxide: [centre]
      ammonia: [centre]
      water: [main]
      feed: [auger]
      bird_weight: [scale]
      mains: [supply]
      heat_asked: [computer]
      heater_running: [heater]
      fan_running: [timer]
plugins: {{paper: {{run: print}}}}
people: {{wren: {{text: "+44 7700 900101"}}}}
duty: [{{who: wren}}]
call_out:
  urgent: [{{after: 0 min, tell: on-duty, by: text}}]
  soon: [{{after: 0 min, tell: on-duty, by: text}}]
  note: {{daily: "06:30", tell: on-duty, by: text}}
)",
                     probes);
}

std::string flock_text(const FlockWeek& week, const std::string& packs) {
  const std::string placed = to_rfc3339(week.placed);
  return fmt::format(
      "format: 1\nflock: flock-1\nhouse: house-1\nplaced: {} {}\nbirds: {:.0f}\nchick_weight: 42 g\n"
      "lights: {{0 d: 23 h, 7 d: 18 h}}\nlights_on: \"05:00\"\npacks: [{}]\n",
      placed.substr(0, 10), placed.substr(11, 5), week.house.parameters.birds, packs);
}

std::shared_ptr<const RuleSet> load(FarmFiles files) {
  const Loaded loaded = load_farm(files, [](const std::string&) { return std::optional(Zone{}); });
  if (loaded.ok()) return loaded.rules;
  std::string text;
  for (const Issue& issue : loaded.issues)
    text += fmt::format("{}:{}: {}\n", issue.file, issue.line, issue.text);
  throw std::logic_error(text);
}

/// One set of rules at work on the week.
class Judge {
 public:
  Judge(std::shared_ptr<const RuleSet> rules, const FlockWeek& week)
      : engine_(std::move(rules)), week_(week) {
    engine_.begin(week.begin);
  }

  void take(const ModelReading& reading) {
    const auto probe =
        engine_.rules().find_probe(fmt::format("{}/{}/{}", reading.house, reading.measure, reading.probe));
    if (probe) engine_.take(*probe, instant_of(reading.time_s), reading.value);
    note();
  }

  WeekResult result() const { return result_; }

 private:
  void note() {
    for (const Event& event : engine_.events()) {
      const bool wakes = event.kind == Event::Kind::raised || event.kind == Event::Kind::worsened ||
                         event.kind == Event::Kind::blind;
      if (!wakes || event.priority != Priority::urgent) continue;
      const bool behind = fault_at_ && event.time >= *fault_at_ && event.time < *fault_at_ + 2 * kFaultLasts;
      if (behind) {
        if (!result_.call_min)
          result_.call_min = std::chrono::duration<double, std::ratio<60>>(event.time - *fault_at_).count();
        continue;
      }
      if (last_wake_ && event.time - *last_wake_ < kOneWakeUp) continue;
      last_wake_ = event.time;
      ++result_.needless;
      result_.needless_rules.push_back(fmt::format(
          "{} {} {}, value {:.1f}, limit {:.1f}", to_rfc3339(event.time).substr(5, 11), to_string(event.kind),
          engine_.rules().rules[*event.rule].name, event.value.value_or(0), event.limit.value_or(0)));
    }
    engine_.clear_events();
  }

  Engine engine_;
  const FlockWeek& week_;
  std::optional<Instant> fault_at_ =
      week_.fault ? std::optional(instant_of(week_.fault->at_s)) : std::nullopt;
  std::optional<Instant> last_wake_;
  WeekResult result_;
};

/// Air at which chicks come to harm, as cold-harm and hot-harm have it.
bool harmful(const HouseModel& house, int week) {
  const double over = house.air_c() - house.target_c();
  return (week < 2 && over < -6) || (over > 5 && house.air_c() > 32);
}

/// A week of weather by the hour: a sine over the day, and fronts that come and go within a day or two.
Outside weather(Random& random, Instant begin) {
  Outside outside;
  outside.mean_c = -5 + 20 * random.uniform();
  outside.swing_k = 2 + 4 * random.uniform();
  outside.humidity_percent = 70 + 25 * random.uniform();
  const Outside calm = outside;
  outside.hours_from_s = seconds_of(begin);
  // Each hour keeps 0.97 of the front of the last one: a spread of 2 K that is forgotten in a day or so.
  double front_k = 0;
  for (int hour = 0; hour <= 168; ++hour) {
    front_k = 0.97 * front_k + 0.5 * random.normal();
    outside.air_by_hour.emplace_back(hour, calm.air_c(seconds_of(begin) + hour * 3600) + front_k);
  }
  return outside;
}

/// What holds a house at this age when it is -15 °C outside: heaters are bought for the coldest night, and
/// lit as many as the age asks for.
double coldest_load_kw(const HouseParameters& house, double age_d) {
  const double target_c = look_up(default_target_c(), age_d);
  const double weight_kg = table_weight_g(age_d) / 1000;
  const double air_m3_h =
      house.birds * minimum_air_m3_h(weight_kg) * std::max(1.0, house.minimum_air_factor - age_d / 14) +
      house.leak_changes_h * house.volume_m3;
  const double loss_w_k = house.u_value_w_m2k * house.envelope_area_m2 + air_m3_h / 3600 * 1.2 * 1006;
  const double needed_w =
      loss_w_k * (target_c + 15) - house.birds * bird_heat(weight_kg, target_c).sensible_w;
  return std::max(60.0, needed_w / 1000);
}

constexpr std::array kFaults = {
    Fault::What::heater_fails,     Fault::What::heater_fails, Fault::What::fan_fails,
    Fault::What::fan_fails,        Fault::What::mains_lost,   Fault::What::mains_lost,
    Fault::What::gas_runs_out,     Fault::What::inlets_jam,   Fault::What::heater_sticks_on,
    Fault::What::controller_hangs,
};

Fault some_fault(Random& random, Instant begin, std::span<const Fault::What> kinds) {
  Fault fault;
  fault.what = kinds[static_cast<std::size_t>(random.uniform() * static_cast<double>(kinds.size()))];
  fault.house = "house-1";
  fault.at_s = std::floor(seconds_of(begin + 24h) + random.uniform() * 5 * 86400);
  return fault;
}

Fault some_sensor_fault(Random& random, Instant begin) {
  constexpr std::array kinds = {Fault::What::probe_sticks, Fault::What::probe_silent,
                                Fault::What::probe_jumps, Fault::What::humidity_sticks};
  Fault fault = some_fault(random, begin, kinds);
  fault.probe = kProbes[static_cast<std::size_t>(random.uniform() * 8)];
  fault.by_k = random.uniform() < 0.5 ? 52 : -155;  // to about 85 and -127 °C
  fault.until_s = fault.at_s + 3600 * (1 + 10 * random.uniform());
  return fault;
}

}  // namespace

FlockWeek flock_week(std::uint64_t seed) {
  Random random(seed);
  FlockWeek it;
  it.seed = seed;
  it.week = static_cast<int>(random.uniform() * 5);
  it.begin = std::chrono::sys_days(std::chrono::year(2026) / 3 / 2) + 9h;
  it.placed = it.begin - it.week * 168h;
  it.end = it.begin + 168h;
  it.outside = weather(random, it.begin);
  HouseParameters& house = it.house.parameters;
  it.house.name = "house-1";
  house.placed_s = seconds_of(it.placed);
  house.birds = 15000 + std::floor(8000 * random.uniform());
  house.heater_hysteresis_k = 0.5 + 2 * random.uniform();
  house.u_value_w_m2k = 0.35 + 0.4 * random.uniform();
  house.minimum_air_factor = 1.8 + 1.2 * random.uniform();
  house.heater_kw = (1.2 + 0.8 * random.uniform()) * coldest_load_kw(house, 7.0 * it.week);
  house.most_fans_m3_h = 12 * house.birds;  // about 5 m³ an hour and kg in week 5; common practice
  InstrumentParameters& instruments = it.house.instruments;
  instruments.noise_k = 0.05 + 0.15 * random.uniform();
  instruments.air_probes.clear();
  for (const char* probe : kProbes) instruments.air_probes.push_back({probe, 0.6 * random.normal()});
  if (random.uniform() < 0.6) {
    it.fault = some_fault(random, it.begin, kFaults);
    it.fault->until_s = it.fault->at_s + std::chrono::duration<double>(kFaultLasts).count();
  }
  for (int i = static_cast<int>(random.uniform() * 3); i > 0; --i)
    it.sensor_faults.push_back(some_sensor_fault(random, it.begin));
  return it;
}

std::shared_ptr<const RuleSet> shipped_rules(const FlockWeek& week) {
  FarmFiles files{"farm.yaml", farm_text() + "packs: [power]\n", {}, {}, {}};
  files.flocks["flocks/flock-1.yaml"] =
      flock_text(week, "air, heat, air-quality, humidity, water, feed, growth");
  for (const auto& entry :
       std::filesystem::directory_iterator(std::string(UNDERWING_SOURCE_DIR) + "/rules/packs")) {
    std::ifstream file(entry.path());
    std::stringstream text;
    text << file.rdbuf();
    files.shipped[entry.path().filename().string()] = text.str();
  }
  return load(files);
}

namespace {

/// Two limits on the mean, with a delay in minutes; `low` and `high` are expressions.
std::shared_ptr<const RuleSet> plain_rules(const FlockWeek& week, const std::string& low,
                                           const std::string& high, int delay_min,
                                           const std::string& more = "") {
  FarmFiles files{"farm.yaml", farm_text(), {}, {}, {}};
  files.flocks["flocks/flock-1.yaml"] = flock_text(week, "plain");
  const auto rule = [&](const char* name, const std::string& limit) {
    return fmt::format(
        "  {}: {{watch: mean(air_temperature), {}, deadband: 0.5 K, on_delay: {} min, off_delay: 10 min, "
        "priority: urgent, respond_within: 40 min, do: Look at the chicks.}}\n",
        name, limit, delay_min);
  };
  files.packs["rules/plain.yaml"] = "format: 1\npack: plain\n" + more + "rules:\n" +
                                    rule("too-cold", "low: " + low) + rule("too-hot", "high: " + high);
  return load(files);
}

}  // namespace

std::shared_ptr<const RuleSet> daily_rules(const FlockWeek& week) {
  std::string points;
  for (int day = 7 * week.week; day <= 7 * week.week + 7; ++day)
    points +=
        fmt::format("{}{} d: {:.2f}", points.empty() ? "" : ", ", day, look_up(default_target_c(), day));
  return plain_rules(week, "target - 2.5 K", "target + 3 K", 5,
                     fmt::format("curves:\n  target: {{unit: °C, points: {{{}}}, source: own}}\n", points));
}

std::shared_ptr<const RuleSet> fixed_rules(const FlockWeek& week) {
  const double first = look_up(default_target_c(), 7.0 * week.week);
  const double last = look_up(default_target_c(), 7.0 * week.week + 7);
  return plain_rules(week, fmt::format("{:.1f} °C", last - 3), fmt::format("{:.1f} °C", first + 4), 10);
}

std::vector<WeekResult> play(const FlockWeek& week,
                             const std::vector<std::shared_ptr<const RuleSet>>& rules) {
  Setup setup;
  setup.houses = {week.house};
  setup.outside = week.outside;
  setup.faults = week.sensor_faults;
  if (week.fault) setup.faults.push_back(*week.fault);
  setup.seed = week.seed;
  FarmModel model(setup, seconds_of(week.begin));
  std::vector<Judge> judges;
  judges.reserve(rules.size());
  for (const auto& set : rules) judges.emplace_back(set, week);
  std::optional<double> harm_min;
  std::vector<ModelReading> readings;
  for (Instant minute = week.begin; minute < week.end; minute += 1min) {
    readings.clear();
    model.advance(seconds_of(minute), readings);
    for (Judge& judge : judges) {
      for (const ModelReading& reading : readings) judge.take(reading);
    }
    if (!week.fault || harm_min) continue;
    const double since_s = seconds_of(minute) - week.fault->at_s;
    if (since_s > 0 && since_s < std::chrono::duration<double>(kFaultLasts).count() &&
        harmful(model.house(0), week.week))
      harm_min = since_s / 60;
  }
  std::vector<WeekResult> results;
  for (const Judge& judge : judges) {
    results.push_back(judge.result());
    results.back().harm_min = harm_min;
  }
  return results;
}

}  // namespace underwing
