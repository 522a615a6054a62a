// Goal: the watch keeps its promises through made-up nights with power cuts between any two of its acts.
// Method: the real watch and the real journal in one thread, everything else made up from one seed.
// UNDERWING_SEED runs one seed, UNDERWING_SEEDS another number of them from 1 on; without either, as many as
// fit into a quarter of a minute.

#include <gtest/gtest.h>

#include <chrono>
#include <cstdlib>
#include <filesystem>

#include "tests/simulation/night.hpp"

namespace underwing {
namespace {

using namespace std::chrono_literals;

constexpr auto kTimeForAll = 15s;
constexpr std::uint64_t kSeedsMin = 3;

TEST(Simulation, KeepsItsPromisesThroughTheNight) {
  const char* one = std::getenv("UNDERWING_SEED");
  const char* many = std::getenv("UNDERWING_SEEDS");
  const std::uint64_t first = one ? std::strtoull(one, nullptr, 10) : 1;
  const std::uint64_t last = one ? first : many ? std::strtoull(many, nullptr, 10) : 1'000'000;
  const auto begun = std::chrono::steady_clock::now();
  // Power cuts are made up here, not the disk's: memory will do, and a thousand nights need not wear a disk.
  if (std::filesystem::is_directory("/dev/shm")) ::setenv("TMPDIR", "/dev/shm", 1);
  Promises::Counts all;
  std::uint64_t seed = first;
  for (; seed <= last; ++seed) {
    const bool enough =
        !one && !many && seed > kSeedsMin && std::chrono::steady_clock::now() - begun > kTimeForAll;
    if (enough) break;
    const NightResult night = simulate_night(seed);
    all.raised += night.counts.raised;
    all.handed += night.counts.handed;
    all.cuts += night.counts.cuts;
    all.attempts_judged += night.counts.attempts_judged;
    std::string broken;
    for (const std::string& promise : night.broken) broken += promise + '\n';
    ASSERT_TRUE(broken.empty()) << "run again with UNDERWING_SEED=" << seed << '\n'
                                << broken.substr(0, 4'000);
  }
  std::printf("%llu nights: %zu alarms, %zu deliveries, %zu power cuts, %zu times cold was judged\n",
              static_cast<unsigned long long>(seed - first), all.raised, all.handed, all.cuts,
              all.attempts_judged);
  if (one) return;
  EXPECT_GT(all.raised, seed);
  EXPECT_GT(all.cuts, seed);
  EXPECT_GT(all.attempts_judged, seed / 2);
}

}  // namespace
}  // namespace underwing
