// Plays flock-weeks of the model house, made up from seeds, under the shipped packs and under plain fixed
// limits, and says how many faults each found, how soon, with how much time left before harm, and how often
// it woke people for nothing. --weeks N: how many (200). --seed S: where to begin (1). --goals: exit status 1
// where the packs miss theirs.

#include <fmt/format.h>

#include <algorithm>
#include <cstdlib>
#include <string_view>

#include "tests/night-benchmark/flock_week.hpp"

namespace underwing {
namespace {

struct Sum {
  int faults = 0, found = 0, killing = 0, killing_found = 0, earlier = 0, needless = 0;
  std::vector<double> call_min, left_min;
};

std::string middle(std::vector<double> values) {
  if (values.empty()) return "-";
  std::sort(values.begin(), values.end());
  return fmt::format("{:.0f} ({:.0f} to {:.0f})", values[values.size() / 2], values.front(), values.back());
}

void add(Sum& sum, const FlockWeek& week, const WeekResult& own, const WeekResult& other) {
  sum.needless += own.needless;
  if (!week.fault) return;
  ++sum.faults;
  if (own.call_min) {
    ++sum.found;
    sum.call_min.push_back(*own.call_min);
  }
  if (!own.harm_min) return;
  ++sum.killing;
  if (!own.call_min || *own.call_min >= *own.harm_min) return;
  ++sum.killing_found;
  sum.left_min.push_back(*own.harm_min - *own.call_min);
  if (!other.call_min || *own.call_min < *other.call_min) ++sum.earlier;
}

void print(const char* name, const Sum& sum, int weeks) {
  fmt::print("{:<14} faults found {} of {}; killing ones in time {} of {}, first {}\n", name, sum.found,
             sum.faults, sum.killing_found, sum.killing, sum.earlier);
  fmt::print("{:<14} minutes from fault to call {}; minutes left before harm {}\n", "", middle(sum.call_min),
             middle(sum.left_min));
  fmt::print("{:<14} needless wake-ups {}, {:.3f} a house and week\n", "", sum.needless,
             static_cast<double>(sum.needless) / weeks);
}

int run(int weeks, std::uint64_t seed, bool goals) {
  Sum shipped, plain;
  for (int i = 0; i < weeks; ++i) {
    const FlockWeek week = flock_week(seed + static_cast<std::uint64_t>(i));
    const auto results = play(week, {shipped_rules(week), plain_rules(week)});
    add(shipped, week, results[0], results[1]);
    add(plain, week, results[1], results[0]);
    for (const std::string& rule : results[0].needless_rules)
      fmt::print("  seed {}, week {}: needless, {}\n", week.seed, week.week + 1, rule);
    const bool missed =
        results[0].harm_min && (!results[0].call_min || *results[0].call_min >= *results[0].harm_min);
    if (missed)
      fmt::print("  seed {}, week {}: harm after {:.0f} min, not called by then\n", week.seed, week.week + 1,
                 *results[0].harm_min);
  }
  print("shipped packs", shipped, weeks);
  print("plain limits", plain, weeks);
  const bool met = shipped.killing_found == shipped.killing && 2 * shipped.earlier >= shipped.killing &&
                   shipped.needless * 10 <= weeks;
  return goals && !met ? 1 : 0;
}

}  // namespace
}  // namespace underwing

int main(int count, char** words) {
  int weeks = 200;
  std::uint64_t seed = 1;
  bool goals = false;
  for (int i = 1; i < count; ++i) {
    const std::string_view word = words[i];
    if (word == "--goals") {
      goals = true;
    } else if (word == "--weeks" && i + 1 < count) {
      weeks = std::max(1, std::atoi(words[++i]));
    } else if (word == "--seed" && i + 1 < count) {
      seed = std::strtoull(words[++i], nullptr, 10);
    } else {
      fmt::print(stderr, "usage: night_benchmark [--weeks N] [--seed S] [--goals]\n");
      return 2;
    }
  }
  return underwing::run(weeks, seed, goals);
}
