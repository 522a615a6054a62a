#include "plugins/model-house/model_settings.hpp"

#include <fmt/format.h>
#include <yaml-cpp/yaml.h>

#include <algorithm>
#include <cmath>

#include "plugins/shared/clock.hpp"

namespace underwing {
namespace {

constexpr double kMost = 1e9;

double moment(Settings& map, const char* key, double otherwise) {
  if (!map.has(key)) return otherwise;
  const auto found = read_moment(map.text(key));
  if (!found) map.refuse(key, fmt::format("'{}' is no time; it looks like 2026-03-02 09:30", map.text(key)));
  return *found;
}

/// A moment, or a span since the start.
double moment_or_span(Settings& map, const char* key, double start_s) {
  if (const auto span = read_span(map.text(key))) return start_s + *span;
  return moment(map, key, start_s);
}

/// A list of pairs [[0, 33], [7, 30]].
Table table(Settings& map, const char* key, Table otherwise) {
  const nlohmann::json* list = map.raw(key);
  if (list == nullptr) return otherwise;
  Table result;
  for (const auto& pair : *list) {
    const bool fits = pair.is_array() && pair.size() == 2 && pair[0].is_number() && pair[1].is_number();
    if (!fits) map.refuse(key, "must be a list of pairs, such as [[0, 33], [7, 30]]");
    result.emplace_back(pair[0].get<double>(), pair[1].get<double>());
    if (result.size() > 1 && result[result.size() - 2].first >= result.back().first) {
      map.refuse(key, "must have rising ages");
    }
  }
  if (result.empty()) map.refuse(key, "must not be empty");
  return result;
}

HouseParameters read_parameters(Settings& map, double start_s) {
  constexpr double kSmallest = 1e-6;
  HouseParameters house;
  auto positive = [&](const char* key, double& value) { value = map.number(key, value, kSmallest, kMost); };
  auto not_negative = [&](const char* key, double& value) { value = map.number(key, value, 0, kMost); };
  house.placed_s = moment(map, "placed", start_s - 12 * 3600);
  not_negative("birds", house.birds);
  positive("chick_weight_g", house.chick_weight_g);
  positive("floor_area_m2", house.floor_area_m2);
  positive("volume_m3", house.volume_m3);
  positive("envelope_area_m2", house.envelope_area_m2);
  not_negative("u_value_w_m2k", house.u_value_w_m2k);
  not_negative("floor_loss_w_m2k", house.floor_loss_w_m2k);
  house.ground_c = map.number("ground_c", house.ground_c, -20, 40);
  not_negative("fittings_kj_per_k", house.fittings_kj_per_k);
  positive("litter_kg_m2", house.litter_kg_m2);
  positive("litter_kj_kg_k", house.litter_kj_kg_k);
  // More than this would outrun the model's step of 10 s.
  house.litter_exchange_w_m2k = map.number("litter_exchange_w_m2k", house.litter_exchange_w_m2k, 0, 50);
  not_negative("heater_kw", house.heater_kw);
  house.heater_vented = map.flag("heater_vented", house.heater_vented);
  positive("heater_hysteresis_k", house.heater_hysteresis_k);
  positive("minimum_fans_m3_h", house.minimum_fans_m3_h);
  not_negative("minimum_air_factor", house.minimum_air_factor);
  positive("timer_s", house.timer_s);
  positive("most_fans_m3_h", house.most_fans_m3_h);
  positive("fans_from_k", house.fans_from_k);
  positive("fans_all_k", house.fans_all_k);
  if (house.fans_all_k <= house.fans_from_k) map.refuse("fans_all_k", "must be above fans_from_k");
  not_negative("leak_changes_h", house.leak_changes_h);
  // More than this would empty the house within a step.
  house.doors_m3_h = map.number("doors_m3_h", house.doors_m3_h, 0, house.volume_m3 * 60);
  house.generator = map.flag("generator", house.generator);
  not_negative("generator_starts_s", house.generator_starts_s);
  not_negative("gas_tank_kg", house.gas_tank_kg);
  house.gas_at_start_percent = map.number("gas_at_start_percent", house.gas_at_start_percent, 0, 100);
  not_negative("ammonia_factor", house.ammonia_factor);
  house.target_c = table(map, "target_c", house.target_c);
  house.light_h = table(map, "light_h", house.light_h);
  house.lights_on_h = map.number("lights_on_h", house.lights_on_h, 0, 24);
  positive("water_pulse_l", house.water_pulse_l);
  not_negative("water_meter_start_l_min", house.water_meter_start_l_min);
  not_negative("burst_l_min", house.burst_l_min);
  positive("feed_pulse_kg", house.feed_pulse_kg);
  return house;
}

InstrumentParameters read_instruments(Settings& map) {
  InstrumentParameters instruments;
  if (map.has("air_probes")) instruments.air_probes.clear();
  for (Settings& probe : map.list("air_probes")) {
    instruments.air_probes.push_back({probe.text("name"), probe.number("offset_k", 0, -20, 20)});
    probe.finish();
  }
  instruments.humidity_probe = map.text("humidity_probe", instruments.humidity_probe);
  instruments.noise_k = map.number("noise_k", instruments.noise_k, 0, 10);
  instruments.noise_percent = map.number("noise_percent", instruments.noise_percent, 0, 20);
  instruments.weighings_h = map.number("weighings_h", instruments.weighings_h, 0, 3600);
  instruments.weight_spread = map.number("weight_spread", instruments.weight_spread, 0, 0.5);
  return instruments;
}

Fault read_fault(Settings& map, const Setup& setup, double start_s) {
  Fault fault;
  const std::string what = map.text("what");
  const auto known = parse_fault(what);
  if (!known) map.refuse("what", fmt::format("'{}' is not known; known are {}", what, known_faults()));
  fault.what = *known;
  fault.at_s = moment_or_span(map, "at", start_s);
  if (map.has("until")) fault.until_s = moment_or_span(map, "until", start_s);
  if (fault.until_s && *fault.until_s <= fault.at_s) map.refuse("until", "must come after 'at'");
  fault.house = map.text("house");
  const auto house = std::find_if(setup.houses.begin(), setup.houses.end(),
                                  [&](const HouseSetup& h) { return h.name == fault.house; });
  if (house == setup.houses.end())
    map.refuse("house", fmt::format("'{}' is none of the houses", fault.house));
  if (names_a_probe(fault.what)) {
    fault.probe = map.text("probe");
    const auto& probes = house->instruments.air_probes;
    if (std::none_of(probes.begin(), probes.end(), [&](auto& p) { return p.name == fault.probe; })) {
      map.refuse("probe", fmt::format("'{}' is no air probe of {}", fault.probe, fault.house));
    }
  }
  fault.by_k = map.number("by_k", fault.what == Fault::What::brooder_fails ? -4 : fault.by_k, -200, 200);
  map.finish();
  return fault;
}

nlohmann::json to_json(const YAML::Node& node) {
  switch (node.Type()) {
    case YAML::NodeType::Map: {
      nlohmann::json map = nlohmann::json::object();
      for (const auto& pair : node) map[pair.first.Scalar()] = to_json(pair.second);
      return map;
    }
    case YAML::NodeType::Sequence: {
      nlohmann::json list = nlohmann::json::array();
      for (const auto& entry : node) list.push_back(to_json(entry));
      return list;
    }
    case YAML::NodeType::Scalar: {
      // A quoted scalar has the tag "!", a plain one "?".
      auto value =
          node.Tag() == "?" ? nlohmann::json::parse(node.Scalar(), nullptr, false) : nlohmann::json();
      if (value.is_number() || value.is_boolean()) return value;
      return node.Scalar();
    }
    default:
      return nullptr;
  }
}

}  // namespace

Setup read_setup(Settings& settings, double start_s) {
  Setup setup;
  setup.seed = static_cast<std::uint64_t>(settings.number("seed", 1, 0, kMost));
  setup.every_s = settings.span("every", 60);
  if (setup.every_s < 1 || std::fmod(60, setup.every_s) != 0)
    settings.refuse("every", "must divide a minute, such as 10 s");
  if (auto outside = settings.map("outside")) {
    setup.outside.mean_c = outside->number("mean_c", setup.outside.mean_c, -50, 50);
    setup.outside.swing_k = outside->number("swing_k", setup.outside.swing_k, 0, 30);
    setup.outside.coldest_h = outside->number("coldest_h", setup.outside.coldest_h, 0, 24);
    setup.outside.humidity_percent =
        outside->number("humidity_percent", setup.outside.humidity_percent, 0, 100);
    setup.outside.hours_from_s = start_s;
    setup.outside.air_by_hour = table(*outside, "air_by_hour", {});
    setup.outside.humidity_by_hour = table(*outside, "humidity_by_hour", {});
    outside->finish();
  }
  for (Settings& map : settings.list("houses")) {
    setup.houses.push_back({map.text("house"), read_parameters(map, start_s), read_instruments(map)});
    map.finish();
  }
  if (setup.houses.empty()) settings.refuse("houses", "must name at least one house");
  for (Settings& map : settings.list("faults")) setup.faults.push_back(read_fault(map, setup, start_s));
  return setup;
}

nlohmann::json read_yaml_file(const std::string& path) {
  try {
    return to_json(YAML::LoadFile(path));
  } catch (const YAML::Exception& failure) {
    throw SettingsError(fmt::format("{}: {}", path, failure.what()));
  }
}

std::optional<double> read_moment(const std::string& text) {
  for (const char* tail : {"", "Z", ":00Z"}) {
    if (const auto time = read_rfc3339(text + tail)) return time;
  }
  return std::nullopt;
}

}  // namespace underwing
