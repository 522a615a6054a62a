// Expressions: each is refused in its place, or watched by an engine that takes readings and never stumbles.
#include <cstdint>
#include <string>

#include "rules/engine/engine.hpp"
#include "rules/files/load.hpp"

namespace {

using namespace underwing;

constexpr const char* kFarm = R"(format: 1
farm: F
time_zone: UTC
houses:
  h1: {probes: {air_temperature: [a, b, c], relative_humidity: [a], water: [m], mains: [m], bird_weight: [s], dead_birds: [b]}}
plugins: {p: {run: print}}
people: {w: {text: "+44 7700 900101"}}
call_out:
  urgent: [{after: 0 min, tell: w, by: text}]
  soon: [{after: 0 min, tell: w, by: text}]
  note: {daily: "06:30", tell: w, by: text}
)";

/// As a single-quoted YAML scalar, so that any text reaches the expression parser.
std::string quoted(std::string_view text) {
  std::string out = "'";
  for (const char c : text) out += c == '\'' ? "''" : std::string(1, c);
  return out + "'";
}

}  // namespace

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
  const std::string_view text(reinterpret_cast<const char*>(data), size);
  FarmFiles files;
  files.farm_path = "farm.yaml";
  files.farm_text = kFarm;
  files.flocks["flock.yaml"] = "format: 1\nflock: f\nhouse: h1\nplaced: 2026-03-02 09:30\nbirds: 10\nchick_weight: 42 g\npacks: [p]\nlights: {0 d: 18 h}\n";
  files.packs["pack.yaml"] = "format: 1\npack: p\ncurves:\n  c: {unit: °C, points: {0 d: 33, 7 d: 28}}\nrules:\n  r:\n    about: x\n    when: " +
                             quoted(text) + "\n    priority: note\n  s:\n    about: x\n    watch: " + quoted(text) +
                             "\n    low: " + quoted(text) + "\n    priority: note\n";
  const auto zones = [](const std::string&) { return std::optional<Zone>(Zone{}); };
  Loaded loaded = load_farm(files, zones);
  if (!loaded.ok()) {
    // What reads well as a condition is no number: the rule beside it goes, and the other is watched.
    const std::size_t second = files.packs["pack.yaml"].find("  s:\n");
    files.packs["pack.yaml"].resize(second);
    loaded = load_farm(files, zones);
    if (!loaded.ok()) return 0;
  }
  Engine engine(loaded.rules);
  Instant now{std::chrono::hours(492'000)};
  for (int minute = 0; minute < 30; ++minute, now += std::chrono::seconds(47)) {
    const auto probe = static_cast<std::size_t>(minute) % loaded.rules->probes.size();
    engine.take(probe, now, minute % 7 == 0 ? 0.0 : 30.0 + minute);
  }
  engine.finish();
  return 0;
}
