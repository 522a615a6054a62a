#pragma once

#include <cmath>
#include <cstdint>
#include <numbers>

namespace underwing {

/// A small seeded generator (the splitmix64 sequence). The standard library's distributions may differ
/// between systems; this gives the same numbers everywhere, so a seed is a story.
class Random {
 public:
  explicit Random(std::uint64_t seed) : state_(seed) {}

  /// In [0, 1).
  double uniform() {
    state_ += 0x9e3779b97f4a7c15U;
    std::uint64_t z = state_;
    z = (z ^ (z >> 30U)) * 0xbf58476d1ce4e5b9U;
    z = (z ^ (z >> 27U)) * 0x94d049bb133111ebU;
    z ^= z >> 31U;
    return static_cast<double>(z >> 11U) * 0x1.0p-53;
  }

  /// Normally distributed, mean 0, standard deviation 1 (Box and Muller 1958).
  double normal() {
    const double radius = std::sqrt(-2.0 * std::log(1.0 - uniform()));
    return radius * std::cos(2.0 * std::numbers::pi * uniform());
  }

 private:
  std::uint64_t state_;
};

}  // namespace underwing
