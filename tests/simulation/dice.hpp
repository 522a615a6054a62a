#pragma once

#include <cstdint>

#include "rules/base/time.hpp"

namespace underwing {

/// Random numbers from one seed, the same on every machine: SplitMix64 (Steele, Lea and Flood, "Fast
/// Splittable Pseudorandom Number Generators", 2014).
class SimulationDice {
 public:
  explicit SimulationDice(std::uint64_t seed) : state_(seed * 0x9e3779b97f4a7c15ULL + 1) {}

  /// From 0 up to but not including 1.
  double unit() { return static_cast<double>(next() >> 11U) * 0x1p-53; }
  bool chance(double probability) { return unit() < probability; }
  double between(double low, double high) { return low + (high - low) * unit(); }
  Duration span(Duration low, Duration high) {
    return Duration(static_cast<std::int64_t>(
        between(static_cast<double>(low.count()), static_cast<double>(high.count()))));
  }

 private:
  std::uint64_t next() {
    std::uint64_t bits = state_ += 0x9e3779b97f4a7c15ULL;
    bits = (bits ^ (bits >> 30U)) * 0xbf58476d1ce4e5b9ULL;
    bits = (bits ^ (bits >> 27U)) * 0x94d049bb133111ebULL;
    return bits ^ (bits >> 31U);
  }
  std::uint64_t state_;
};

}  // namespace underwing
