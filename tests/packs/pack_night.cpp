#include "tests/packs/pack_night.hpp"

#include <fmt/format.h>

#include <cmath>
#include <filesystem>
#include <fstream>
#include <sstream>

#include "rules/files/built_in.hpp"

namespace underwing {
namespace {

using namespace std::chrono_literals;

constexpr const char* kFarm = R"(format: 1
farm: Sandpiper Hollow
time_zone: Europe/London
houses:
  house-1:
    probes:
      air_temperature: [north, centre, south]
      relative_humidity: [centre]
      carbon_dioxide: [centre]
      ammonia: [centre]
      water: [main]
      feed: [auger]
      bird_weight: [scale]
      outside_temperature: [yard]
      mains: [supply]
      generator: [set]
      heat_asked: [computer]
      heater_running: [heater]
      fan_running: [timer]
plugins:
  climate: {run: mqtt, settings: {broker: "mqtt://127.0.0.1:1883"}}
  modem: {run: print}
people:
  ines:  {text: "+44 7700 900101", away: 10 min}
  tomas: {text: "+44 7700 900102", away: 25 min}
duty:
  - {who: ines}
call_out:
  urgent:
    - {after: 0 min, tell: on-duty, by: text}
    - {after: 6 min, tell: everyone, by: text, then_every: 5 min}
  soon:
    hours: 05:30-21:30
    steps:
      - {after: 0 min, tell: on-duty, by: text}
  note: {daily: "06:30", tell: on-duty, by: text}
packs: [power]
)";

}  // namespace

std::map<std::string, std::string> shipped_packs() {
  std::map<std::string, std::string> packs;
  for (const auto& entry :
       std::filesystem::directory_iterator(std::string(UNDERWING_SOURCE_DIR) + "/rules/packs")) {
    std::ifstream file(entry.path());
    std::stringstream text;
    text << file.rdbuf();
    packs["rules/packs/" + entry.path().filename().string()] = text.str();
  }
  return packs;
}

FarmFiles PackFarm::files() const {
  const std::string flock = fmt::format(
      "format: 1\nflock: spring-1\nhouse: house-1\nplaced: {}\nbirds: 17000\nchick_weight: 42 g\ngoal_day_7: "
      "190 g\n"
      "lights: {{0 d: 23 h, 7 d: 18 h}}\nlights_on: \"05:00\"\npacks: [{}]\n{}",
      placed, packs, more);
  std::string farm = kFarm;
  farm.insert(farm.find("plugins:"), probes);
  return {"farm.yaml", farm, {{"flocks/spring-1.yaml", flock}}, {}, shipped_packs()};
}

FarmFiles whole_farm(const std::string& more) {
  PackFarm farm;
  farm.packs = "air, heat, air-quality, humidity, water, feed, lights, growth, mortality, rounds, ready";
  farm.more = more;
  FarmFiles files = farm.files();
  const std::size_t begin = files.farm_text.find("      air_temperature:");
  const std::size_t end = files.farm_text.find("plugins:");
  std::string probes = "      ready_list: [round]\n";
  for (const Measure& measure : built_in_measures()) probes += fmt::format("      {}: [one]\n", measure.name);
  files.farm_text.replace(begin, end - begin, probes);
  files.farm_text += "heartbeat: {over: climate, to: underwing/heartbeat}\n";
  return files;
}

std::shared_ptr<const RuleSet> PackFarm::load() const {
  return load_or_throw(files());
}

// The bench reads at whole minutes only, so that nothing is read before a test has set it.
PackNight::PackNight(const PackFarm& farm, Instant begin, double air_c)
    : bench_(farm.load(), begin - 30s), at_(begin - 1min), air_c_(air_c) {
  for (const char* on : {"mains/supply", "fan_running/timer"}) set(on, 1);
  for (const char* off : {"generator/set", "heat_asked/computer", "heater_running/heater"}) set(off, 0);
  set("carbon_dioxide/centre", 1500);
  set("ammonia/centre", 5);
  set("outside_temperature/yard", 8);
  set("water/main", 0);
  set("feed/auger", 0);
  silence("bird_weight/scale");
}

void PackNight::read_air(Instant time) {
  const double minute = minutes_of(time);
  set("air_temperature/north", air_c_ - 0.1 + 0.03 * std::sin(minute));
  set("air_temperature/centre", air_c_ + 0.03 * std::sin(minute + 2));
  set("air_temperature/south", air_c_ + 0.1 + 0.03 * std::sin(minute + 4));
  set("relative_humidity/centre", 60 + 0.5 * std::sin(minute));
}

void PackNight::run_to(Instant until, const std::function<void(Instant)>& before) {
  while (at_ < until) {
    at_ += 1min;
    read_air(at_);
    if (before) before(at_);
    bench_.run_to(at_);
  }
}

void PackNight::run_model(FarmModel& model, Instant until) {
  while (at_ < until) {
    at_ += 1min;
    std::vector<ModelReading> readings;
    model.advance(seconds_of(at_), readings);
    for (const std::string& name : heard_) bench_.silence(name);
    heard_.clear();
    for (const ModelReading& reading : readings) {
      const std::string name = fmt::format("{}/{}/{}", reading.house, reading.measure, reading.probe);
      if (!bench_.watch().rules().find_probe(name)) continue;
      bench_.set(name, reading.value);
      heard_.insert(name);
    }
    bench_.run_to(at_);
  }
}

void PackNight::enter(const std::string& probe, double value) {
  set(probe, value);
  run_to(at_ + 1min);
  silence(probe);
}

std::vector<Told> PackNight::told() {
  std::vector<Told> told;
  for (const auto& effects = bench_.effects(); effects_seen_ < effects.size(); ++effects_seen_) {
    const Effect& effect = effects[effects_seen_];
    if (effect.kind != Effect::Kind::delivery || effect.delivery->outcome != Delivery::Outcome::open)
      continue;
    const Delivery& it = *effect.delivery;
    told.push_back({it.queued, it.who, it.priority, it.step, it.text});
  }
  return told;
}

Told PackNight::first_call() {
  for (const Told& it : told()) {
    if (it.priority == Priority::urgent) return it;
  }
  Told none;
  none.time = kNever;
  return none;
}

double seconds_of(Instant time) {
  return std::chrono::duration<double>(time.time_since_epoch()).count();
}

double minutes_of(Instant time) {
  return seconds_of(time) / 60;
}

Fault fault(Fault::What what, Instant at, Instant until, const std::string& probe, double by_k) {
  Fault it;
  it.what = what;
  it.at_s = seconds_of(at);
  if (until != Instant{}) it.until_s = seconds_of(until);
  it.house = "house-1";
  it.probe = probe;
  it.by_k = by_k;
  return it;
}

FarmModel model_of(Instant placed, Instant begin, const Outside& outside, std::vector<Fault> faults,
                   HouseParameters parameters) {
  HouseSetup house;
  house.name = "house-1";
  house.parameters = std::move(parameters);
  house.parameters.placed_s = seconds_of(placed);
  Setup setup;
  setup.houses = {house};
  setup.outside = outside;
  setup.faults = std::move(faults);
  setup.seed = 3;
  // A model that begins at the placement has warm litter and birds that have been there all along.
  return FarmModel(setup, seconds_of(begin));
}

}  // namespace underwing
