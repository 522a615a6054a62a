#pragma once

#include <cstdint>
#include <memory>
#include <string>
#include <string_view>
#include <vector>

#include "rules/files/load.hpp"
#include "tests/reference/brute_force.hpp"

/// Farms, packs and tapes made up from a seed, to hold the engine against the brute-force evaluator. They are
/// mean on purpose: values meet their limits exactly, readings come late, twice or not at all, probes stick,
/// counters restart, and readings fall on the very instants at which delays end.
namespace underwing {

/// Random choices from one seed; the same on every machine.
class Dice {
 public:
  explicit Dice(std::uint64_t seed) : state_(mixed(seed)) {}

  /// A whole number from `low` to `high`, both included.
  int from(int low, int high);
  bool chance(int percent) { return from(1, 100) <= percent; }

  template <typename Item>
  const Item& pick(const std::vector<Item>& items) {
    return items[static_cast<std::size_t>(from(0, static_cast<int>(items.size()) - 1))];
  }
  std::string_view word(std::initializer_list<std::string_view> words) {
    return words.begin()[from(0, static_cast<int>(words.size()) - 1)];
  }

 private:
  /// So that the stream of one seed is not that of the next, one step on.
  static std::uint64_t mixed(std::uint64_t bits);

  std::uint64_t state_;
};

struct RandomFarm {
  FarmFiles files;
  Instant tape_begin{};
  Duration tape_span{};
};

/// Texts of a farm of one or two houses, each with a flock. They load without errors.
[[nodiscard]] RandomFarm random_farm(Dice& dice);

/// A pack `made-up` for flocks that have the age `age_begin` where the tape begins, and a pack `yard` that
/// uses no ages.
[[nodiscard]] std::string random_flock_pack(Dice& dice, Duration age_begin, Duration span);
[[nodiscard]] std::string random_farm_pack(Dice& dice);

/// Knows the one zone that the random farms name; its clocks change within some tapes.
[[nodiscard]] std::optional<Zone> random_farm_zone(const std::string& name);

/// What the probes of the farm say in the span of its tape, with clock lines in between, in the order of
/// arrival.
[[nodiscard]] std::vector<ReferenceInput> random_tape(const RuleSet& rules, const RandomFarm& farm,
                                                      Dice& dice);

}  // namespace underwing
