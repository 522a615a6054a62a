#pragma once

#include <cstdint>
#include <optional>
#include <string>
#include <string_view>

#include "plugins/model-house/house_model.hpp"

/// What can go wrong in a model house, and when.
namespace underwing {

/// One entry of the schedule.
struct Fault {
  enum class What : std::uint8_t {
    heater_fails,
    heater_repaired,
    fan_fails,
    fan_repaired,
    mains_lost,
    mains_back,
    generator_fails,
    heater_sticks_on,
    gas_runs_out,
    inlets_jam,
    voltage_low,
    controller_hangs,
    water_shut,
    water_bursts,
    feed_stops,
    doors_open,
    readings_lost,    ///< nothing of the house is heard
    humidity_sticks,  ///< at 99 %
    brooder_fails,    ///< the end at `probe` walks `by_k` away within an hour
    probe_sticks,
    probe_silent,
    probe_jumps,
  };
  double at_s = 0;                ///< seconds since 1970
  std::optional<double> until_s;  ///< ends by itself
  What what = What::heater_fails;
  std::string house;
  std::string probe;  ///< of the last four
  double by_k = 10;   ///< how far `probe_jumps` jumps, or the end of `brooder_fails` walks
};

/// A kind of fault: its name in settings, what it breaks, and what somebody in the house would see.
struct FaultKind {
  std::string_view name;
  Fault::What what;
  bool Broken::*part;  ///< null: an instrument or one end of the house
  bool breaks;         ///< false: it mends that part
  const char* begins;  ///< {0} the house, {1} the probe, {2} the kelvins
  const char* ends;
};

[[nodiscard]] const FaultKind& kind_of(Fault::What what);
/// "heater_fails" …; nullopt: no such fault.
[[nodiscard]] std::optional<Fault::What> parse_fault(std::string_view text);
/// All names, for messages.
[[nodiscard]] std::string known_faults();
/// True where a fault concerns one probe, which it must name.
[[nodiscard]] bool names_a_probe(Fault::What what);
/// What is seen when it begins or ends.
[[nodiscard]] std::string sentence(const Fault& fault, bool begins);

}  // namespace underwing
