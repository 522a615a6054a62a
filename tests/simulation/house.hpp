#pragma once

#include <string>
#include <vector>

#include "tests/simulation/dice.hpp"

namespace underwing {

/// One probe of a made-up house: air that the heater holds at 33 °C, falls when the heater fails, and is
/// heard through a probe that falls silent and jumps. Faults are drawn for a whole night at once.
class SimulatedProbe {
 public:
  SimulatedProbe(std::string name, Instant begin, Instant end, SimulationDice& dice);

  struct Said {
    Instant time{};
    double value = 0;
  };
  /// What it says in (its last moment, `now`].
  [[nodiscard]] std::vector<Said> speak(Instant now, SimulationDice& dice);
  [[nodiscard]] const std::string& name() const { return name_; }

 private:
  struct Span {
    Instant begin, end;
  };
  std::string name_;
  std::vector<Span> cold_, silent_;
  Instant next_;
  double level_ = 33;
};

}  // namespace underwing
