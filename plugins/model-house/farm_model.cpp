#include "plugins/model-house/farm_model.hpp"

#include <algorithm>
#include <cmath>
#include <utility>

namespace underwing {
namespace {

using What = Fault::What;

// How fast an end of a house loses its brooder's warmth: nine tenths within 40 min. Our estimate.
constexpr double kEndConstant_s = 1000;
constexpr double kStuckHumidity_percent = 99;

double rounded(double value, double steps_per_unit) {
  return std::round(value * steps_per_unit) / steps_per_unit;
}

}  // namespace

FarmModel::FarmModel(Setup setup, double start_s)
    : setup_(std::move(setup)), start_s_(start_s), time_s_(start_s) {
  std::uint64_t seed = setup_.seed;
  for (const HouseSetup& house : setup_.houses) {
    houses_.push_back(
        {house, HouseModel(house.parameters, setup_.outside, start_s), Random(seed++ * 1'000'003), {}});
  }
  for (std::size_t i = 0; i < setup_.faults.size(); ++i) {
    turns_.push_back({setup_.faults[i].at_s, i, true});
    if (setup_.faults[i].until_s) turns_.push_back({*setup_.faults[i].until_s, i, false});
  }
  std::stable_sort(turns_.begin(), turns_.end(),
                   [](const Turn& a, const Turn& b) { return a.at_s < b.at_s; });
}

void FarmModel::advance(double time_s, std::vector<ModelReading>& readings) {
  while (true) {
    const double next = (std::floor(time_s_ / setup_.every_s) + 1) * setup_.every_s;
    if (next > time_s) return;
    for (double t = time_s_; t < next;) {
      t = std::min(next, (std::floor(t / HouseModel::kStep_s) + 1) * HouseModel::kStep_s);
      take_turns(t);
      for (House& house : houses_) house.model.advance(t);
    }
    time_s_ = next;
    const auto before = static_cast<std::ptrdiff_t>(readings.size());
    for (House& house : houses_) {
      weigh(house, readings);
      read_house(house, readings);
    }
    std::stable_sort(readings.begin() + before, readings.end(),
                     [](const ModelReading& a, const ModelReading& b) { return a.time_s < b.time_s; });
  }
}

/// Faults that begin or end before `time_s` act from the step that ends there.
void FarmModel::take_turns(double time_s) {
  for (; next_turn_ < turns_.size() && turns_[next_turn_].at_s < time_s; ++next_turn_) {
    const Turn& now = turns_[next_turn_];
    turn(setup_.faults[now.fault], now.begins, now.at_s);
  }
}

void FarmModel::turn(const Fault& fault, bool begins, double time_s) {
  for (House& house : houses_) {
    if (house.setup.name != fault.house) continue;
    const FaultKind& kind = kind_of(fault.what);
    if (kind.part != nullptr) {
      Broken broken = house.model.broken();
      broken.*kind.part = begins && kind.breaks;
      house.model.set_broken(broken);
    } else {
      turn_instrument(house, fault, begins);
    }
    story_.push_back({time_s, sentence(fault, begins)});
  }
}

void FarmModel::turn_instrument(House& house, const Fault& fault, bool begins) {
  if (fault.what == What::readings_lost) house.lost = begins;
  if (fault.what == What::humidity_sticks) house.humidity_stuck = begins;
  if (!names_a_probe(fault.what)) return;
  ProbeState& probe = house.probes[fault.probe];
  if (fault.what == What::brooder_fails) probe.goes_away_k = begins ? fault.by_k : 0;
  if (fault.what == What::probe_silent) probe.silent = begins;
  if (fault.what == What::probe_jumps) probe.jump_k = begins ? fault.by_k : 0;
  if (fault.what == What::probe_sticks) {
    probe.stuck = begins;
    probe.stuck_at = probe.last;
  }
}

void FarmModel::read_air(House& house, std::vector<ModelReading>& readings) {
  const InstrumentParameters& instruments = house.setup.instruments;
  for (const ProbeParameters& probe : instruments.air_probes) {
    ProbeState& state = house.probes[probe.name];
    state.away_k += (state.goes_away_k - state.away_k) * (1 - std::exp(-setup_.every_s / kEndConstant_s));
    // The noise is drawn also where nothing is reported, so that a fault changes nothing else.
    const double noise = house.random.normal() * instruments.noise_k;
    const double here_c = house.model.air_c() + probe.offset_k + state.away_k;
    const double seen = rounded(here_c + noise + state.jump_k, 100);
    if (!state.stuck) state.last = seen;
    if (state.silent || house.lost) continue;
    readings.push_back({house.setup.name, "air_temperature", probe.name, "Cel",
                        state.stuck ? state.stuck_at : seen, time_s_});
  }
}

void FarmModel::read_house(House& house, std::vector<ModelReading>& readings) {
  read_air(house, readings);
  const HouseModel& model = house.model;
  auto add = [&](const char* measure, std::string probe, const char* unit, double value) {
    readings.push_back({house.setup.name, measure, std::move(probe), unit, value, time_s_});
  };
  const InstrumentParameters& instruments = house.setup.instruments;
  const double humid = model.humidity_percent() + house.random.normal() * instruments.noise_percent;
  if (house.lost) return;
  add("relative_humidity", instruments.humidity_probe, "%RH",
      house.humidity_stuck ? kStuckHumidity_percent : rounded(std::clamp(humid, 0.0, 100.0), 10));
  // Once a minute is enough for what moves slowly.
  if (std::fmod(time_s_, 60) != 0) return;
  add("carbon_dioxide", instruments.humidity_probe, "ppm", std::round(model.carbon_dioxide_ppm()));
  add("ammonia", instruments.humidity_probe, "ppm", rounded(model.ammonia_ppm(), 10));
  add("water", "main", "l", model.water_l());
  add("feed", "auger", "kg", model.feed_kg());
  add("outside_temperature", "yard", "Cel", rounded(model.outside_c(), 10));
  add("mains", "supply", "", model.broken().mains ? 0 : 1);
  add("heat_asked", "computer", "", model.heat_asked() ? 1 : 0);
  add("heater_running", "heater", "", model.heater_running() ? 1 : 0);
  add("fan_running", "timer", "", model.fans_running() ? 1 : 0);
  const HouseParameters& parameters = house.setup.parameters;
  if (parameters.generator) add("generator", "set", "", model.generator_running() ? 1 : 0);
  if (parameters.gas_tank_kg > 0) add("gas_level", "tank", "%", rounded(model.gas_level_percent(), 10));
}

/// Single birds that stepped on the scale since the last readings.
void FarmModel::weigh(House& house, std::vector<ModelReading>& readings) {
  const double chance = house.setup.instruments.weighings_h / 3600;
  const double from = std::max(start_s_, time_s_ - setup_.every_s);
  for (double t = from; t < time_s_; t += 1) {
    const bool comes = house.random.uniform() < chance;
    if (!comes) continue;
    const double mean = house.model.bird_weight_g();
    const double weight = mean * (1 + house.setup.instruments.weight_spread * house.random.normal());
    if (!house.model.birds_in() || !house.model.light() || house.lost) continue;
    readings.push_back(
        {house.setup.name, "bird_weight", "scale", "g", std::max(10.0, std::round(weight)), t});
  }
}

std::vector<StoryLine> FarmModel::take_story() {
  return std::exchange(story_, {});
}

}  // namespace underwing
