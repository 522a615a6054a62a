#pragma once

#include <array>
#include <string>
#include <string_view>
#include <vector>

#include "tests/bench/made_up_farm.hpp"

/// Twenty threshold rules, one value against one limit for every probe of a measure, that any rule engine can hold;
/// and what the engines say of them.
namespace underwing {

struct PeerRule {
  const char* name;
  const char* measure;
  bool low;            ///< broken below `limit`; else above
  double limit;
  const char* unit;
};

inline constexpr std::array<PeerRule, 20> kPeerRules = {{
    {"air-cold", "air_temperature", true, 26.5, "°C"},
    {"air-hot", "air_temperature", false, 35, "°C"},
    {"air-fast", "air_speed", false, 0.5, "m/s"},
    {"ammonia", "ammonia", false, 20, "ppm"},
    {"carbon-dioxide", "carbon_dioxide", false, 3000, "ppm"},
    {"carbon-monoxide", "carbon_monoxide", false, 30, "ppm"},
    {"bin-low", "feed_in_bin", true, 500, "kg"},
    {"floor-cold", "floor_temperature", true, 20, "°C"},
    {"floor-hot", "floor_temperature", false, 36, "°C"},
    {"gas-low", "gas_level", true, 15, "%"},
    {"dark", "light", true, 5, "lx"},
    {"litter-cold", "litter_temperature", true, 20, "°C"},
    {"litter-hot", "litter_temperature", false, 36, "°C"},
    {"outside-frost", "outside_temperature", true, -5, "°C"},
    {"outside-hot", "outside_temperature", false, 30, "°C"},
    {"dry", "relative_humidity", true, 35, "%"},
    {"damp", "relative_humidity", false, 75, "%"},
    {"pressure-low", "static_pressure", true, 5, "Pa"},
    {"pressure-high", "static_pressure", false, 60, "Pa"},
    {"water-pressure-low", "water_pressure", true, 5000, "Pa"},
}};

/// The rules as a pack of the language, `each: probe`, without delays.
[[nodiscard]] std::string peer_pack();

/// What an engine found: a line a change, "number of the reading, rule, + or -".
using Verdicts = std::vector<std::string>;
[[nodiscard]] std::string verdict(std::size_t reading, std::string_view rule, bool raised);

struct Peer {
  std::size_t count = 0;             ///< readings that were timed
  double seconds = 0;                ///< of CPU, so that a busy machine says the same
  Verdicts verdicts;                 ///< of all readings from the first one of the tape on
  std::string skipped;               ///< why it did not run; empty: it ran
};

/// CPU time of this process so far, in seconds.
[[nodiscard]] double cpu_seconds();

[[nodiscard]] Peer run_clips(const RuleSet& rules, const std::vector<BenchReading>& readings);
[[nodiscard]] Peer run_json_rules_engine(const RuleSet& rules, const std::vector<BenchReading>& readings,
                                         const std::string& folder);

}  // namespace underwing
