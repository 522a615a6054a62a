// Twenty threshold rules over the probes of one house, by Underwing's engine, by the brute-force evaluator of the tests,
// and by two rule engines for any purpose. All take the same readings; what they say is compared before anything is
// printed, and a difference ends the program.
//   peers_bench [FOLDER]   FOLDER holds node_modules with json-rules-engine
#include <fmt/format.h>

#include <algorithm>

#include "rules/engine/engine.hpp"
#include "tests/bench/peer_rules.hpp"
#include "tests/reference/brute_force.hpp"

namespace underwing {
namespace {

constexpr auto kSpan = std::chrono::hours(20);          // 432,000 readings; two cold spells
constexpr auto kSpanForBruteForce = std::chrono::minutes(165);  // it costs more with every reading that it keeps

std::vector<BenchReading> before(const std::vector<BenchReading>& readings, Duration span) {
  return {readings.begin(), std::partition_point(readings.begin(), readings.end(), [&](const BenchReading& reading) {
            return reading.time < kReadingsBegin + span;
          })};
}

Peer run_underwing(const std::shared_ptr<const RuleSet>& rules, const std::vector<BenchReading>& readings) {
  Peer peer;
  peer.count = readings.size();
  Engine engine(rules);
  engine.begin(kReadingsBegin);
  const double begin = cpu_seconds();
  for (std::size_t i = 0; i < readings.size(); ++i) {
    engine.take(readings[i].probe, readings[i].time, readings[i].value);
    for (const Event& event : engine.events()) {
      const bool raised = event.kind == Event::Kind::raised;
      if (!raised && event.kind != Event::Kind::returned) continue;
      peer.verdicts.push_back(verdict(i, rules->rules[*event.rule].name, raised));
    }
    engine.clear_events();
  }
  peer.seconds = cpu_seconds() - begin;
  return peer;
}

Peer run_brute_force(const RuleSet& rules, const std::vector<BenchReading>& readings) {
  std::vector<ReferenceInput> inputs;
  for (const BenchReading& reading : readings) {
    inputs.push_back({ReferenceInput::Kind::reading, {reading.probe, reading.time, reading.value}, {}});
  }
  Peer peer;
  peer.count = readings.size();
  const double begin = cpu_seconds();
  const std::vector<ReferenceEvent> events = run_reference(rules, inputs);
  peer.seconds = cpu_seconds() - begin;
  for (const ReferenceEvent& event : events) {
    if (event.event != "raised" && event.event != "returned") continue;
    // It gives no number of the reading, but no two readings share a time.
    const auto reading = std::lower_bound(readings.begin(), readings.end(), event.time,
                                          [](const BenchReading& r, Instant time) { return r.time < time; });
    peer.verdicts.push_back(
        verdict(static_cast<std::size_t>(reading - readings.begin()), event.rule, event.event == "raised"));
  }
  return peer;
}

/// The verdicts of the first `count` readings.
Verdicts up_to(const Verdicts& verdicts, std::size_t count) {
  Verdicts result;
  for (const std::string& line : verdicts) {
    if (std::stoul(line) < count) result.push_back(line);
  }
  return result;
}

bool print(const char* name, const Peer& peer, const Peer& ours) {
  if (!peer.skipped.empty()) {
    fmt::print("{:24} left out: {}\n", name, peer.skipped);
    return true;
  }
  const Verdicts expected = up_to(ours.verdicts, peer.count);
  if (peer.verdicts != expected) {
    const auto [left, right] = std::mismatch(peer.verdicts.begin(), peer.verdicts.end(), expected.begin(), expected.end());
    fmt::print("{:24} says otherwise: '{}' where Underwing says '{}'\n", name,
               left == peer.verdicts.end() ? "nothing more" : *left, right == expected.end() ? "nothing more" : *right);
    return false;
  }
  fmt::print("{:24} {:>10} {:>9} {:>13.0f} {:>9.2f}\n", name, peer.count, peer.verdicts.size(),
             static_cast<double>(peer.count) / peer.seconds, peer.seconds * 1e6 / static_cast<double>(peer.count));
  return true;
}

int run(const std::string& folder) {
  const auto rules = load_or_exit(made_up_farm(1, "peers", {{"rules/peers.yaml", peer_pack()}}));
  const std::vector<BenchReading> readings = made_up_readings(*rules, kSpan);
  const Peer ours = run_underwing(rules, readings);
  fmt::print("{:24} {:>10} {:>9} {:>13} {:>9}\n", "20 rules, 60 probes", "readings", "verdicts", "a CPU second", "us each");
  bool same = print("Underwing", ours, ours);
  same = print("brute force", run_brute_force(*rules, before(readings, kSpanForBruteForce)), ours) && same;
#ifdef UNDERWING_BENCH_CLIPS
  same = print("CLIPS", run_clips(*rules, readings), ours) && same;
#else
  fmt::print("{:24} left out: libclips-dev was not there when this was built\n", "CLIPS");
#endif
  same = print("json-rules-engine", run_json_rules_engine(*rules, readings, folder), ours) && same;
  return same ? 0 : 1;
}

}  // namespace
}  // namespace underwing

int main(int argc, char** argv) { return underwing::run(argc > 1 ? argv[1] : "."); }
