#pragma once

#include <cstddef>

#include "rules/engine/engine.hpp"

namespace underwing {

/// A house's air as the rules in force on its level see it (felt, where one asks for that), and the nearest limits of
/// any priority that readings do not move. Canonical; NaN: not known, or no such limit. Where no rule is in force, or
/// none can tell: the middle of the probes.
struct AirView {
  double value = kUnknown, low = kUnknown, high = kUnknown;
  bool felt = false;
  bool blind = false;  ///< rules are in force, and none of them can tell
};
[[nodiscard]] AirView air_view(Engine& engine, std::size_t house);

}  // namespace underwing
