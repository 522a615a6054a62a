#include "tests/simulation/house.hpp"

#include <algorithm>
#include <cmath>

namespace underwing {

using namespace std::chrono_literals;

namespace {

constexpr Duration kEvery = 20s;

template <typename Spans>
bool within(const Spans& spans, Instant time) {
  return std::any_of(spans.begin(), spans.end(),
                     [&](const auto& span) { return span.begin <= time && time < span.end; });
}

}  // namespace

SimulatedProbe::SimulatedProbe(std::string name, Instant begin, Instant end, SimulationDice& dice)
    : name_(std::move(name)), next_(begin + dice.span(0s, kEvery)) {
  const auto draw = [&](std::vector<Span>& spans, Duration between_max, Duration shortest, Duration longest) {
    for (Instant at = begin + dice.span(0s, between_max); at < end; at += dice.span(10min, between_max)) {
      const Instant over = at + dice.span(shortest, longest);
      spans.push_back({at, over});
      at = over;
    }
  };
  draw(cold_, 5h, 5min, 90min);
  draw(silent_, 8h, 1min, 40min);
}

std::vector<SimulatedProbe::Said> SimulatedProbe::speak(Instant now, SimulationDice& dice) {
  std::vector<Said> said;
  for (; next_ <= now; next_ += kEvery) {
    const double towards = within(cold_, next_) ? 24 : 33;
    level_ += std::clamp(towards - level_, -0.25, 0.15) + dice.between(-0.05, 0.05);
    if (within(silent_, next_)) continue;
    const double jump = dice.chance(0.002) ? dice.between(-40, 40) : 0;
    said.push_back({next_, std::round((level_ + jump) * 10) / 10});
  }
  return said;
}

}  // namespace underwing
