#include "tests/simulation/night.hpp"

#include <map>
#include <stdexcept>

#include "rules/files/load.hpp"
#include "tests/daemon/temporary_folder.hpp"
#include "tests/simulation/house.hpp"

namespace underwing {

namespace {

using namespace std::chrono_literals;

constexpr double kLow = 30;
constexpr Duration kOnDelay = 3min;
constexpr Duration kBehind = 1s;  // the watch follows the clock by this much

constexpr const char* kFarm = R"(format: 1
farm: Made Up
time_zone: UTC
houses:
  house-1: {probes: {air_temperature: [middle], relative_humidity: [middle]}}
  house-2: {probes: {air_temperature: [middle], relative_humidity: [middle]}}
plugins:
  paper: {run: print}
people:
  ines:  {text: "+44 7700 900101", call: "+44 7700 900101", away: 10 min}
  tomas: {text: "+44 7700 900102", away: 25 min}
  maud:  {text: "+44 7700 900103"}
duty:
  - {who: ines, from: "20:00", to: "08:00"}
  - {who: tomas}
call_out:
  urgent:
    - {after: 0 min, tell: on-duty, by: [text, call]}
    - {after: 3 min, tell: [ines, tomas], by: text}
    - {after: 6 min, tell: everyone, by: text, then_every: 5 min}
  soon:
    hours: 05:30-21:30
    steps:
      - {after: 0 min, tell: on-duty, by: text}
      - {after: 60 min, tell: everyone, by: text, then_every: 2 h}
  note: {daily: "06:30", tell: on-duty, by: text}
evening_check: "21:00"
packs: [made-up]
)";

constexpr const char* kPack = R"(format: 1
pack: made-up
rules:
  cold-air:
    watch: air_temperature
    low: 30 °C
    deadband: 0.5 K
    on_delay: 3 min
    off_delay: 4 min
    priority: urgent
    respond_within: 20 min
    blind_after: 4 min
    do: Look at the chicks.
  cooling:
    watch: mean(air_temperature over 10 min)
    limits:
      - {low: 31 °C, priority: note}
      - {low: 29 °C, priority: soon}
      - {low: 26 °C, priority: urgent}
    off_delay: 2 min
    respond_within: 30 min
    do: Look at the heater.
)";

/// `changed`: somebody has written other words, and a longer delay for the end of a lesser rule.
std::shared_ptr<const RuleSet> load(bool changed) {
  std::string pack = kPack;
  const std::string before = "off_delay: 2 min\n    respond_within: 30 min\n    do: Look at the heater.";
  if (changed) pack.replace(pack.find(before), before.size(), "off_delay: 3 min\n    respond_within: 20 min\n    do: Look at the heater first.");
  const FarmFiles files{"farm.yaml", kFarm, {}, {{"rules/made-up.yaml", pack}}, {}};
  Loaded loaded = load_farm(files, [](const std::string&) { return std::optional(Zone{}); });
  if (!loaded.ok()) throw std::logic_error(loaded.issues.front().text);
  return loaded.rules;
}

/// Hears of what the watch does on its behalf, and lets the world answer.
class World : public Promises {
 public:
  explicit World(SimulationDice& dice)
      : Promises(kLow, kOnDelay), dice_(dice), failing_(dice.chance(0.3) ? 0.5 : 0.1) {}

  void handed(const Delivery& delivery) override {
    Promises::handed(delivery);
    const double luck = dice_.unit();
    if (luck < failing_) {
      if (luck < failing_ / 2)
        receipts.emplace(time + dice_.span(0s, 5s), std::pair(delivery.id, Delivery::Outcome::failed));
      return;
    }
    receipts.emplace(time + dice_.span(0s, 10s), std::pair(delivery.id, Delivery::Outcome::sent));
    if (dice_.chance(0.3))
      receipts.emplace(time + dice_.span(10s, 90s), std::pair(delivery.id, Delivery::Outcome::delivered));
    if (delivery.codes.empty() || !dice_.chance(0.15)) return;
    replies.emplace(time + dice_.span(10s, 15min), std::pair(delivery.to, words(delivery)));
  }

  Instant time{};  ///< by the world's own clock
  std::multimap<Instant, std::pair<std::string, Delivery::Outcome>> receipts;
  std::multimap<Instant, std::pair<std::string, std::string>> replies;

 private:
  std::string words(const Delivery& delivery) {
    const double luck = dice_.unit();
    if (luck < 0.4) return "OK " + delivery.codes.front();
    if (luck < 0.6) return "ok";
    if (luck < 0.7) return "HERE";
    if (luck < 0.8) return "PASS " + delivery.codes.front();
    return luck < 0.9 ? "OK Z0" : "who is this";
  }

  SimulationDice& dice_;
  double failing_;
};

struct Arrival {
  std::string probe;
  SimulatedProbe::Said said;
};

class Night {
 public:
  explicit Night(std::uint64_t seed)
      : dice_(seed),
        world_(dice_),
        begin_(std::chrono::sys_days(std::chrono::year(2026) / 3 / 3) + 19h),
        end_(begin_ + 11h),
        service_(load(false), folder_.path() / "journal.db", dice_,
                 dice_.chance(0.2) ? 0.0 : dice_.between(0.001, 0.02), world_) {
    for (const char* house : {"house-1", "house-2"})
      probes_.emplace_back(std::string(house) + "/air_temperature/middle", begin_, end_, dice_);
  }

  NightResult run() {
    world_.time = begin_;
    service_.begin(begin_);
    while (world_.time < end_) {
      world_.time += 1s;
      speak();
      if (!up()) continue;
      answer();
      if (service_.up() && dice_.chance(0.00005)) service_.clock(dice_.span(-3h, 3h));
      if (service_.up() && dice_.chance(0.0001)) service_.reload(load(changed_ = !changed_));
      if (service_.up()) service_.advance(world_.time - kBehind);
      if (service_.up()) world_.second(service_.watch());
    }
    return {world_.broken(), world_.counts()};
  }

 private:
  /// Whether the service runs; one that does not comes back after a while.
  bool up() {
    if (service_.up()) return true;
    if (back_ == kNever) {
      world_.power_cut(world_.time);
      back_ = world_.time + (dice_.chance(0.2) ? dice_.span(1min, 25min) : dice_.span(3s, 30s));
    }
    if (world_.time < back_) return false;
    back_ = kNever;
    service_.start_again(world_.time);
    return service_.up();
  }

  void speak() {
    for (SimulatedProbe& probe : probes_) {
      for (const SimulatedProbe::Said& said : probe.speak(world_.time, dice_)) {
        const Instant at = said.time + (dice_.chance(0.05) ? dice_.span(0s, 90s) : Duration::zero());
        arrivals_.emplace(at, Arrival{probe.name(), said});
      }
    }
    for (; !arrivals_.empty() && arrivals_.begin()->first <= world_.time;
         arrivals_.erase(arrivals_.begin())) {
      if (!service_.up()) continue;
      const Arrival arrival = arrivals_.begin()->second;
      const std::string house = arrival.probe.substr(0, arrival.probe.find('/'));
      world_.heard(house, arrival.said.time, arrival.said.value,
                   std::max(arrival.said.time, service_.watch().now()));
      service_.reading(arrival.probe, arrival.said.time, arrival.said.value);
    }
  }

  void answer() {
    while (service_.up() && !world_.receipts.empty() && world_.receipts.begin()->first <= world_.time) {
      const auto [delivery, outcome] = world_.receipts.begin()->second;
      world_.receipts.erase(world_.receipts.begin());
      service_.receipt(delivery, outcome);
    }
    while (service_.up() && !world_.replies.empty() && world_.replies.begin()->first <= world_.time) {
      const auto [from, text] = world_.replies.begin()->second;
      world_.replies.erase(world_.replies.begin());
      service_.reply(from, text);
    }
  }

  SimulationDice dice_;
  World world_;
  TemporaryFolder folder_;
  Instant begin_, end_;
  SimulatedService service_;
  std::vector<SimulatedProbe> probes_;
  std::multimap<Instant, Arrival> arrivals_;
  Instant back_ = kNever;
  bool changed_ = false;  ///< the rules
};

}  // namespace

NightResult simulate_night(std::uint64_t seed) {
  return Night(seed).run();
}

}  // namespace underwing
