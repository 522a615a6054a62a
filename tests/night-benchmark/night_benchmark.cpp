// Plays flock-weeks of the model house, made up from seeds, under the shipped packs and under two sets of
// plain limits, and says how many faults each found, how soon, with how much time left before harm, and how
// often it woke people for nothing. Weeks do not touch one another: the figures are the same for any number
// of --jobs.

#include <fmt/format.h>

#include <CLI/CLI.hpp>
#include <algorithm>
#include <array>
#include <atomic>
#include <map>
#include <thread>

#include "tests/night-benchmark/flock_week.hpp"

namespace underwing {
namespace {

constexpr std::array<const char*, 3> kNames = {"shipped packs", "daily limits", "fixed limits"};

struct Options {
  int weeks = 200;
  std::uint64_t seed = 1;
  int jobs = 1;
  bool goals = false;
};

struct Played {
  FlockWeek week;
  std::vector<WeekResult> results;  ///< in the order of kNames
};

bool in_time(const WeekResult& it) {
  return it.call_min && (!it.harm_min || *it.call_min < *it.harm_min);
}

bool before(const WeekResult& one, const WeekResult& other) {
  return one.call_min && (!other.call_min || *one.call_min < *other.call_min);
}

struct Sum {
  int faults = 0, found = 0, killing = 0, killing_found = 0, needless = 0;
  std::array<int, 3> before{};  ///< killing faults called in time and before the others
  std::vector<double> call_min, left_min;
};

void add(Sum& sum, const Played& played, std::size_t own) {
  const WeekResult& it = played.results[own];
  sum.needless += it.needless;
  if (!played.week.fault) return;
  ++sum.faults;
  if (it.call_min) {
    ++sum.found;
    sum.call_min.push_back(*it.call_min);
  }
  if (!it.harm_min) return;
  ++sum.killing;
  if (!in_time(it)) return;
  ++sum.killing_found;
  sum.left_min.push_back(*it.harm_min - *it.call_min);
  for (std::size_t other = 0; other < kNames.size(); ++other) {
    if (before(it, played.results[other])) ++sum.before[other];
  }
}

/// "10 (1 to 18)": the middle, the least and the most.
std::string middle(std::vector<double> values) {
  if (values.empty()) return "-";
  std::sort(values.begin(), values.end());
  return fmt::format("{:.0f} ({:.0f} to {:.0f})", values[values.size() / 2], values.front(), values.back());
}

void print(std::size_t own, const Sum& sum, int weeks) {
  fmt::print("{}\n  faults called {} of {}; killing ones before harm {} of {}", kNames[own], sum.found,
             sum.faults, sum.killing_found, sum.killing);
  if (own == 0) {
    fmt::print(", of those {} before daily limits, {} before fixed limits", sum.before[1], sum.before[2]);
  }
  fmt::print("\n  minutes from fault to call {}; minutes left before harm {}\n", middle(sum.call_min),
             middle(sum.left_min));
  fmt::print("  wake-ups without a fault behind them {} in {} weeks, {:.3f} a house and week\n", sum.needless,
             weeks, static_cast<double>(sum.needless) / weeks);
}

void print_one(const Played& played) {
  const WeekResult& it = played.results[0];
  // Of a week that wakes people again and again the first one tells enough.
  if (!it.needless_rules.empty())
    fmt::print("  seed {}, week {}: {} needless, the first {}\n", played.week.seed, played.week.week + 1,
               it.needless, it.needless_rules.front());
  if (!played.week.fault) return;
  const std::string_view fault = kind_of(played.week.fault->what).name;
  if (it.harm_min && !in_time(it)) {
    fmt::print("  seed {}, week {}: {} does harm after {:.0f} min, not called by then\n", played.week.seed,
               played.week.week + 1, fault, *it.harm_min);
  } else if (!it.call_min) {
    fmt::print("  seed {}, week {}: {} does no harm in its time and is not called\n", played.week.seed,
               played.week.week + 1, fault);
  }
}

/// The packs by kind of fault.
void print_kinds(const std::vector<Played>& all) {
  std::map<std::string_view, Sum> kinds;
  for (const Played& played : all) {
    if (played.week.fault) add(kinds[kind_of(played.week.fault->what).name], played, 0);
  }
  fmt::print("shipped packs by fault\n");
  for (const auto& [name, sum] : kinds) {
    fmt::print("  {:<17} called {} of {}, killing {} of {} ({} before daily limits), minutes to call {}\n",
               name, sum.found, sum.faults, sum.killing_found, sum.killing, sum.before[1],
               middle(sum.call_min));
  }
}

std::vector<Played> play_all(const Options& options) {
  std::vector<Played> all(static_cast<std::size_t>(options.weeks));
  std::atomic<std::size_t> next = 0;
  const auto work = [&] {
    for (std::size_t i = next++; i < all.size(); i = next++) {
      const FlockWeek week = flock_week(options.seed + i);
      all[i] = {week, play(week, {shipped_rules(week), daily_rules(week), fixed_rules(week)})};
    }
  };
  std::vector<std::jthread> others;
  for (int job = 1; job < options.jobs; ++job) others.emplace_back(work);
  work();
  others.clear();
  return all;
}

int run(const Options& options) {
  const std::vector<Played> all = play_all(options);
  std::array<Sum, 3> sums;
  for (const Played& played : all) {
    print_one(played);
    for (std::size_t own = 0; own < sums.size(); ++own) add(sums[own], played, own);
  }
  for (std::size_t own = 0; own < sums.size(); ++own) print(own, sums[own], options.weeks);
  print_kinds(all);
  const Sum& own = sums[0];
  const bool met = own.killing_found == own.killing && 2 * own.before[1] >= own.killing &&
                   2 * own.before[2] >= own.killing && own.needless * 10 <= options.weeks;
  return options.goals && !met ? 1 : 0;
}

}  // namespace
}  // namespace underwing

int main(int argc, char** argv) {
  underwing::Options options;
  CLI::App app("How the shipped packs judge weeks of a model house, beside plain limits.", "night_benchmark");
  app.add_option("--weeks", options.weeks, "How many flock-weeks (200)")->check(CLI::Range(1, 100000));
  app.add_option("--seed", options.seed, "The first week's seed (1); the next week has the next one");
  app.add_option("--jobs", options.jobs, "How many weeks are played at a time (1)")->check(CLI::Range(1, 64));
  app.add_flag(
      "--goals", options.goals,
      "Exit status 1 unless every killing fault is called before harm, half of them before each set of plain "
      "limits, with at most one needless wake-up per house in ten weeks");
  CLI11_PARSE(app, argc, argv);
  return underwing::run(options);
}
