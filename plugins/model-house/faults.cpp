#include "plugins/model-house/faults.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <cstdlib>

namespace underwing {
namespace {

using What = Fault::What;

constexpr const char* kBurns = "The heater in {0} burns again.";
constexpr const char* kFansRun = "The fans in {0} run again.";
constexpr const char* kMainsBack = "{0} has its mains back.";

constexpr std::array<FaultKind, 22> kFaults = {{
    {"heater_fails", What::heater_fails, &Broken::heater, true, "The heater in {0} goes out.", kBurns},
    {"heater_repaired", What::heater_repaired, &Broken::heater, false, kBurns, kBurns},
    {"fan_fails", What::fan_fails, &Broken::fans, true, "The fans in {0} stop.", kFansRun},
    {"fan_repaired", What::fan_repaired, &Broken::fans, false, kFansRun, kFansRun},
    {"mains_lost", What::mains_lost, &Broken::mains, true, "{0} loses its mains.", kMainsBack},
    {"mains_back", What::mains_back, &Broken::mains, false, kMainsBack, kMainsBack},
    {"generator_fails", What::generator_fails, &Broken::generator, true,
     "The generator of {0} would not run.", "The generator of {0} would run again."},
    {"heater_sticks_on", What::heater_sticks_on, &Broken::heater_stuck, true,
     "The heater in {0} burns and does not stop.", "The heater in {0} obeys again."},
    {"gas_runs_out", What::gas_runs_out, &Broken::gas, true, "{0} runs out of gas.", "{0} has gas again."},
    {"inlets_jam", What::inlets_jam, &Broken::inlets, true, "The inlets of {0} jam shut.",
     "The inlets of {0} open again."},
    {"voltage_low", What::voltage_low, &Broken::low_voltage, true, "The fans in {0} turn slowly.",
     "The fans in {0} turn as they should."},
    {"controller_hangs", What::controller_hangs, &Broken::controller, true,
     "The house computer of {0} hangs.", "The house computer of {0} works again."},
    {"water_shut", What::water_shut, &Broken::water_shut, true, "The water of {0} is shut off.",
     "The water of {0} runs again."},
    {"water_bursts", What::water_bursts, &Broken::water_burst, true, "A water line in {0} bursts.",
     "The water line in {0} is mended."},
    {"feed_stops", What::feed_stops, &Broken::feed, true, "The feed in {0} stops.",
     "The feed in {0} comes again."},
    {"doors_open", What::doors_open, &Broken::doors, true, "The doors of {0} are opened.",
     "The doors of {0} are shut."},
    {"readings_lost", What::readings_lost, nullptr, true, "Nothing more is heard of {0}.",
     "{0} is heard again."},
    {"humidity_sticks", What::humidity_sticks, nullptr, true, "The humidity probe in {0} sticks at 99 %.",
     "The humidity probe in {0} moves again."},
    {"brooder_fails", What::brooder_fails, nullptr, true, "The brooder at {1} in {0} goes out.",
     "The brooder at {1} in {0} burns again."},
    {"probe_sticks", What::probe_sticks, nullptr, true, "The air probe {1} in {0} sticks.",
     "The air probe {1} in {0} moves again."},
    {"probe_silent", What::probe_silent, nullptr, true, "The air probe {1} in {0} falls silent.",
     "The air probe {1} in {0} reports again."},
    {"probe_jumps", What::probe_jumps, nullptr, true, "The air probe {1} in {0} reads {2} K wrong.",
     "The air probe {1} in {0} reads right again."},
}};

}  // namespace

const FaultKind& kind_of(What what) {
  const auto* const found =
      std::find_if(kFaults.begin(), kFaults.end(), [&](const FaultKind& kind) { return kind.what == what; });
  if (found == kFaults.end()) std::abort();  // Every fault has its line above.
  return *found;
}

std::optional<What> parse_fault(std::string_view text) {
  for (const FaultKind& kind : kFaults) {
    if (kind.name == text) return kind.what;
  }
  return std::nullopt;
}

std::string known_faults() {
  std::string text;
  for (const FaultKind& kind : kFaults) text += fmt::format("{}{}", text.empty() ? "" : ", ", kind.name);
  return text;
}

bool names_a_probe(What what) {
  return what >= What::brooder_fails;
}

std::string sentence(const Fault& fault, bool begins) {
  const FaultKind& kind = kind_of(fault.what);
  return fmt::format(fmt::runtime(begins ? kind.begins : kind.ends), fault.house, fault.probe, fault.by_k);
}

}  // namespace underwing
