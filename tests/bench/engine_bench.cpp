// The engine alone: readings per second on one core against all shipped packs, whether that depends on the
// number of houses or the length of windows, and the memory of a series. Takes readings that were made before.
#include <benchmark/benchmark.h>
#include <fmt/format.h>
#include <malloc.h>

#include "rules/engine/engine.hpp"
#include "tests/bench/made_up_farm.hpp"

namespace underwing {
namespace {

constexpr std::int64_t kReadings = 3'628'800;  // of one house in a week

std::size_t play(Engine& engine, const std::vector<BenchReading>& readings) {
  std::size_t events = 0;
  for (const BenchReading& reading : readings) {
    engine.take(reading.probe, reading.time, reading.value);
    if (engine.events().empty()) continue;
    events += engine.events().size();
    engine.clear_events();
  }
  return events;
}

/// Memory in use on the heap.
std::size_t heap_bytes() {
  const auto info = mallinfo2();
  return info.uordblks + info.hblkhd;
}

/// Runs the readings through a fresh engine each time; counts what it found and what it holds at the end.
void run(benchmark::State& state, const std::shared_ptr<const RuleSet>& rules, Duration span, Duration before = {}) {
  const std::vector<BenchReading> all = made_up_readings(*rules, before + span);
  const auto middle = std::partition_point(all.begin(), all.end(), [&](const BenchReading& reading) { return reading.time < kReadingsBegin + before; });
  const std::vector<BenchReading> filling(all.begin(), middle), timed(middle, all.end());
  std::size_t events = 0;
  for (auto _ : state) {
    state.PauseTiming();
    const std::size_t heap = heap_bytes();
    auto engine = std::make_unique<Engine>(rules);
    engine->begin(kReadingsBegin);
    play(*engine, filling);
    state.ResumeTiming();
    events = play(*engine, timed);
    state.PauseTiming();
    std::size_t kept = 0;
    for (std::size_t i = 0; i < rules->probes.size(); ++i) kept += engine->series(i).readings_kept();
    const auto held = static_cast<double>(heap_bytes() - heap);
    state.counters["kB_a_series"] = held / 1000 / static_cast<double>(rules->probes.size());
    state.counters["kept_a_series"] = static_cast<double>(kept) / static_cast<double>(rules->probes.size());
    engine.reset();
    state.ResumeTiming();
  }
  state.SetItemsProcessed(state.iterations() * static_cast<std::int64_t>(timed.size()));
  state.counters["events"] = static_cast<double>(events);
  state.counters["rules"] = static_cast<double>(rules->rules.size());
}

/// The number of houses is the argument; the number of readings is the same for all. Twenty minutes of readings
/// come first, so that what only grows in the beginning is not measured.
void shipped_packs(benchmark::State& state) {
  const auto houses = static_cast<std::size_t>(state.range(0));
  const auto rules = multiplied(*load_or_exit(made_up_farm(1, kFlockPacks)), houses);
  run(state, rules, kReadingEvery * (kReadings / static_cast<std::int64_t>(rules->probes.size())),
      std::chrono::minutes(20));
}
BENCHMARK(shipped_packs)->Arg(1)->Arg(10)->Arg(100)->Arg(1000)->Unit(benchmark::kMillisecond)->Iterations(1);

/// The same ten minutes after the same twenty, for each number of houses; fewer are played again from the beginning until as many
/// readings are taken. So that only the number of houses differs, and not how full windows are or what the weather does.
void same_half_hour(benchmark::State& state) {
  const auto rules = multiplied(*load_or_exit(made_up_farm(1, kFlockPacks)), static_cast<std::size_t>(state.range(0)));
  run(state, rules, std::chrono::minutes(10), std::chrono::minutes(20));
}
BENCHMARK(same_half_hour)->Arg(1)->Unit(benchmark::kMillisecond)->Iterations(1000);
BENCHMARK(same_half_hour)->Arg(10)->Unit(benchmark::kMillisecond)->Iterations(100);
BENCHMARK(same_half_hour)->Arg(100)->Unit(benchmark::kMillisecond)->Iterations(10);
BENCHMARK(same_half_hour)->Arg(1000)->Unit(benchmark::kMillisecond)->Iterations(1);

/// The length of every window is the argument, in minutes. Two days of readings fill them first.
void windows_of_minutes(benchmark::State& state) {
  std::string pack = "format: 1\npack: windows\nrules:\n";
  const auto add = [&](const char* name, const char* watch, const char* low) {
    pack += fmt::format("  {}:\n    about: Measured\n    watch: {}\n    low: {}\n    priority: note\n", name,
                        fmt::format(fmt::runtime(watch), state.range(0)), low);
  };
  add("mean", "median(mean(air_temperature over {} min))", "10 °C");
  add("lowest", "lowest(lowest(air_temperature over {} min))", "10 °C");
  add("spread", "highest(spread(floor_temperature over {} min))", "-1 K");
  add("change", "lowest(change(litter_temperature over {} min))", "-30 K");
  add("total", "total(water over {} min)", "0 L");
  const auto rules = load_or_exit(made_up_farm(1, "windows", {{"rules/windows.yaml", pack}}));
  run(state, rules, std::chrono::hours(24), std::chrono::hours(48));
}
BENCHMARK(windows_of_minutes)->Arg(10)->Arg(60)->Arg(1440)->Unit(benchmark::kMillisecond)->Iterations(3);

}  // namespace
}  // namespace underwing

BENCHMARK_MAIN();
