#include "plugins/model-house/farm_model.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <cmath>
#include <utility>

namespace underwing {
namespace {

using What = Fault::What;

constexpr std::array<std::pair<std::string_view, What>, 9> kFaults = {{
    {"heater_fails", What::heater_fails},
    {"heater_repaired", What::heater_repaired},
    {"fan_fails", What::fan_fails},
    {"fan_repaired", What::fan_repaired},
    {"mains_lost", What::mains_lost},
    {"mains_back", What::mains_back},
    {"probe_sticks", What::probe_sticks},
    {"probe_silent", What::probe_silent},
    {"probe_jumps", What::probe_jumps},
}};

double rounded(double value, double steps_per_unit) {
  return std::round(value * steps_per_unit) / steps_per_unit;
}

/// What a fault's beginning and its end look like to somebody in the house.
struct Words {
  const char* begins;
  const char* ends;
};

Words words_of(What what) {
  switch (what) {
    case What::heater_fails:
      return {"The heater in {0} goes out.", "The heater in {0} burns again."};
    case What::heater_repaired:
      return {"The heater in {0} burns again.", "The heater in {0} burns again."};
    case What::fan_fails:
      return {"The fans in {0} stop.", "The fans in {0} run again."};
    case What::fan_repaired:
      return {"The fans in {0} run again.", "The fans in {0} run again."};
    case What::mains_lost:
      return {"{0} loses its mains.", "{0} has its mains back."};
    case What::mains_back:
      return {"{0} has its mains back.", "{0} has its mains back."};
    case What::probe_sticks:
      return {"The air probe {1} in {0} sticks.", "The air probe {1} in {0} moves again."};
    case What::probe_silent:
      return {"The air probe {1} in {0} falls silent.", "The air probe {1} in {0} reports again."};
    case What::probe_jumps:
      return {"The air probe {1} in {0} reads {2} K wrong.", "The air probe {1} in {0} reads right again."};
  }
  return {"", ""};
}

std::string sentence(const Fault& fault, bool begins) {
  const Words words = words_of(fault.what);
  return fmt::format(fmt::runtime(begins ? words.begins : words.ends), fault.house, fault.probe, fault.by_k);
}

}  // namespace

std::optional<What> parse_fault(std::string_view text) {
  for (const auto& [name, what] : kFaults) {
    if (name == text) return what;
  }
  return std::nullopt;
}

std::string known_faults() {
  std::string text;
  for (const auto& [name, what] : kFaults) text += fmt::format("{}{}", text.empty() ? "" : ", ", name);
  return text;
}

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
    Broken broken = house.model.broken();
    const What what = fault.what;
    if (what == What::heater_fails || what == What::heater_repaired) {
      broken.heater = begins && what == What::heater_fails;
    } else if (what == What::fan_fails || what == What::fan_repaired) {
      broken.fans = begins && what == What::fan_fails;
    } else if (what == What::mains_lost || what == What::mains_back) {
      broken.mains = begins && what == What::mains_lost;
    } else {
      turn_probe(house, fault, begins);
    }
    house.model.set_broken(broken);
    story_.push_back({time_s, sentence(fault, begins)});
  }
}

void FarmModel::turn_probe(House& house, const Fault& fault, bool begins) {
  ProbeState& probe = house.probes[fault.probe];
  if (fault.what == What::probe_silent) probe.silent = begins;
  if (fault.what == What::probe_jumps) probe.jump_k = begins ? fault.by_k : 0;
  if (fault.what == What::probe_sticks) {
    probe.stuck = begins;
    probe.stuck_at = probe.last;
  }
}

void FarmModel::read_house(House& house, std::vector<ModelReading>& readings) {
  const HouseModel& model = house.model;
  auto add = [&](const char* measure, std::string probe, const char* unit, double value) {
    readings.push_back({house.setup.name, measure, std::move(probe), unit, value, time_s_});
  };
  const InstrumentParameters& instruments = house.setup.instruments;
  for (const ProbeParameters& probe : instruments.air_probes) {
    ProbeState& state = house.probes[probe.name];
    // The noise is drawn also where nothing is reported, so that a fault changes nothing else.
    const double noise = house.random.normal() * instruments.noise_k;
    const double seen = rounded(model.air_c() + probe.offset_k + noise + state.jump_k, 100);
    if (!state.stuck) state.last = seen;
    if (!state.silent) add("air_temperature", probe.name, "Cel", state.stuck ? state.stuck_at : seen);
  }
  const double humid = model.humidity_percent() + house.random.normal() * instruments.noise_percent;
  add("relative_humidity", instruments.humidity_probe, "%RH", rounded(std::clamp(humid, 0.0, 100.0), 10));
  // Once a minute is enough for what moves slowly.
  if (std::fmod(time_s_, 60) != 0) return;
  add("carbon_dioxide", instruments.humidity_probe, "ppm", std::round(model.carbon_dioxide_ppm()));
  add("ammonia", instruments.humidity_probe, "ppm", rounded(model.ammonia_ppm(), 10));
  add("water", "main", "l", model.water_l());
  add("feed", "auger", "kg", model.feed_kg());
  add("outside_temperature", "yard", "Cel", rounded(setup_.outside.air_c(time_s_), 10));
  add("mains", "supply", "", model.broken().mains ? 0 : 1);
  add("heat_asked", "computer", "", model.heat_asked() ? 1 : 0);
  add("heater_running", "heater", "", model.heater_running() ? 1 : 0);
  add("fan_running", "timer", "", model.fans_running() ? 1 : 0);
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
    if (!house.model.birds_in() || !house.model.light()) continue;
    readings.push_back(
        {house.setup.name, "bird_weight", "scale", "g", std::max(10.0, std::round(weight)), t});
  }
}

std::vector<StoryLine> FarmModel::take_story() {
  return std::exchange(story_, {});
}

}  // namespace underwing
