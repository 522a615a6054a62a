#include "rules/files/built_in.hpp"

#include <algorithm>

namespace underwing {
namespace {

struct Row {
  const char* name;
  const char* unit;
  MeasureKind kind;
  double low;
  double high;
};

// Plausible ranges are wide on purpose: they catch broken instruments, not bad air. Common practice.
constexpr Row kRows[] = {
    {"air_temperature", "°C", MeasureKind::gauge, -20, 60},
    {"floor_temperature", "°C", MeasureKind::gauge, -20, 60},
    {"litter_temperature", "°C", MeasureKind::gauge, -20, 60},
    {"set_temperature", "°C", MeasureKind::gauge, -20, 60},
    {"outside_temperature", "°C", MeasureKind::gauge, -50, 60},
    {"water_temperature", "°C", MeasureKind::gauge, -5, 60},
    {"relative_humidity", "%", MeasureKind::gauge, 0, 100},
    {"outside_humidity", "%", MeasureKind::gauge, 0, 100},
    {"carbon_dioxide", "ppm", MeasureKind::gauge, 0, 20000},
    {"ammonia", "ppm", MeasureKind::gauge, 0, 200},
    {"carbon_monoxide", "ppm", MeasureKind::gauge, 0, 1000},
    {"static_pressure", "Pa", MeasureKind::gauge, -200, 200},
    {"air_speed", "m/s", MeasureKind::gauge, 0, 15},
    {"light", "lx", MeasureKind::gauge, 0, 5000},
    {"water", "L", MeasureKind::counter, 0, 1e9},
    {"feed", "kg", MeasureKind::counter, 0, 1e9},
    {"water_pressure", "Pa", MeasureKind::gauge, 0, 1e6},
    {"feed_in_bin", "kg", MeasureKind::gauge, 0, 1e5},
    {"gas_level", "%", MeasureKind::gauge, 0, 100},
    {"fuel_level", "%", MeasureKind::gauge, 0, 100},
    {"battery", "%", MeasureKind::gauge, 0, 100},
    {"mains", "", MeasureKind::state, 0, 1},
    {"generator", "", MeasureKind::state, 0, 1},
    {"heat_asked", "", MeasureKind::state, 0, 1},
    {"heater_running", "", MeasureKind::state, 0, 1},
    {"fan_running", "", MeasureKind::state, 0, 1},
    {"door_open", "", MeasureKind::state, 0, 1},
    {"bird_weight", "g", MeasureKind::sample, 10, 6000},
    {"dead_birds", "", MeasureKind::tally, 0, 1e6},
    {"culled_birds", "", MeasureKind::tally, 0, 1e6},
    {"crop_fill", "%", MeasureKind::round, 0, 100},
    {"navels_healed", "%", MeasureKind::round, 0, 100},
    {"wing_feathers", "%", MeasureKind::round, 0, 100},
    {"cups_wet", "%", MeasureKind::round, 0, 100},
    {"feed_cover", "%", MeasureKind::round, 0, 100},
    {"drinkers_at_height", "%", MeasureKind::round, 0, 100},
    {"feeders_at_height", "%", MeasureKind::round, 0, 100},
    {"main_feeders", "%", MeasureKind::round, 0, 100},
    {"floor_by_hand", "°C", MeasureKind::round, 0, 50},
    {"vent_temperature", "°C", MeasureKind::round, 30, 45},
    {"chick_spread", "", MeasureKind::round, 0, 5},
    {"litter_score", "", MeasureKind::round, 0, 5},
};

}  // namespace

Duration default_stale_after(MeasureKind kind) {
  switch (kind) {
    case MeasureKind::gauge:
      return std::chrono::minutes(5);
    case MeasureKind::counter:
      return std::chrono::hours(2);
    case MeasureKind::round:
      return std::chrono::hours(36);
    default:
      return std::chrono::hours(24);
  }
}

const std::vector<std::string>& bundled_plugins() {
  static const std::vector<std::string> names = {"mqtt", "modbus",      "sms",  "mail", "web-hook",
                                                 "web",  "model-house", "tape", "print"};
  return names;
}

std::vector<Measure> built_in_measures() {
  std::vector<Measure> all;
  for (const Row& row : kRows) {
    Measure measure;
    measure.name = row.name;
    measure.unit = parse_unit(row.unit).value_or(Unit{});
    measure.kind = row.kind;
    measure.plausible_low = row.low;
    measure.plausible_high = row.high;
    measure.stale_after = default_stale_after(row.kind);
    all.push_back(std::move(measure));
  }
  std::sort(all.begin(), all.end(), [](const Measure& a, const Measure& b) { return a.name < b.name; });
  return all;
}

}  // namespace underwing
