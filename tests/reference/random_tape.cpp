#include <algorithm>
#include <cmath>

#include "tests/reference/random_farm.hpp"

namespace underwing {
namespace {

using std::chrono::minutes;
using std::chrono::seconds;

/// An input and the instant at which it reaches the watch.
struct Arrival {
  Instant at{};
  int shuffle = 0;  ///< order of what arrives at one instant
  ReferenceInput input;
};

/// How a tape behaves. Calm ones give the engine reason to expect what comes, speak often, and surprise it
/// now and then; still ones do so seldom enough that it has not looked for minutes.
enum class Mood : std::uint8_t { mean, calm, still };

/// One probe that wanders, sticks, falls silent, lies and repeats itself.
class RandomProbe {
 public:
  RandomProbe(const RuleSet& rules, std::size_t probe, Mood mood, Dice& dice)
      : dice_(dice), calm_(mood != Mood::mean), still_(mood == Mood::still), probe_(probe), kind_(rules.probes[probe].quality.kind) {
    const std::string& measure = rules.probes[probe].quality.name;
    level_ = measure == "air_temperature"                               ? 31
             : measure == "relative_humidity" || measure == "crop_fill" ? 60
                                                                        : 0;
    centre_ = level_;
    step_ = measure == "feed" ? 0.5 : 1;
    grid_ = dice.chance(60) ? 0.25 : 0.01;
    period_ = calm_ ? seconds(dice.from(5, 25)) : seconds(dice.from(1, 12) * 10);
    if (kind_ == MeasureKind::tally) period_ = minutes(dice.from(10, 60));
    whole_seconds_ = dice.chance(70);
    trembles_ = kind_ == MeasureKind::counter && dice.chance(25);
  }

  std::vector<Arrival> speak(Instant begin, Instant end) {
    std::vector<Arrival> said;
    Instant time = begin + seconds(dice_.from(0, 12) * 10);
    if (dice_.chance(15)) time += minutes(dice_.from(1, 60));
    for (; time < end; time += pause()) {
      const Instant at = time + (whole_seconds_ ? Duration(0) : Duration(dice_.from(0, 999)));
      say(said, at, next_value());
    }
    return said;
  }

 private:
  Duration pause() {
    if (surprises(still_ ? 5 : 1)) return minutes(dice_.from(2, 40));
    if (dice_.chance(3)) return seconds(dice_.from(1, 2));
    if (dice_.chance(10)) return period_ + seconds(dice_.from(-5, 30));
    return period_;
  }

  void say(std::vector<Arrival>& said, Instant time, double value) {
    ReferenceInput input;
    input.kind = ReferenceInput::Kind::reading;
    input.reading = {probe_, time, value};
    const Instant at = surprises(4) ? time + seconds(dice_.from(1, 400)) : time;
    said.push_back({at, dice_.from(0, 1000), input});
    if (!surprises(2)) return;
    // The same reading once more, or another value for the same instant.
    if (dice_.chance(50)) input.reading.value += 1;
    said.push_back({at + seconds(dice_.from(0, 60)), dice_.from(0, 1000), input});
  }

  double next_value() {
    switch (kind_) {
      case MeasureKind::state:
        if (surprises(6)) level_ = dice_.chance(90) ? 1 - std::round(level_) : 0.5;
        return level_;
      case MeasureKind::counter:
        return next_count();
      case MeasureKind::sample:
        return 40 + dice_.from(0, 40) * 0.25;
      case MeasureKind::tally:
        return dice_.from(0, 3);
      default:
        break;
    }
    if (surprises(1)) return dice_.chance(50) ? 150 : -60;  // Outside of what is plausible.
    if (surprises(2)) return rounded(level_ + dice_.from(-20, 20) * 0.25);
    if (surprises(2)) stuck_ = dice_.from(4, 30);
    if (stuck_ > 0) {
      --stuck_;
      return rounded(level_);
    }
    if (dice_.chance(2)) drift_ = dice_.from(-4, 4) * 0.05;
    level_ += (drift_ + dice_.from(-4, 4) * 0.05) * (calm_ ? 0.3 : 1.0) - (level_ - centre_) * 0.02;
    return rounded(level_);
  }

  double next_count() {
    if (surprises(2)) {
      level_ = dice_.chance(60) ? dice_.from(0, 2) : level_ * (dice_.chance(50) ? 0.5 : 0.75);
    } else if (trembles_ && dice_.chance(30)) {
      level_ = std::max(0.0, level_ - dice_.from(0, 3) * step_ * 0.5);
    } else if (dice_.chance(70)) {
      level_ += dice_.from(0, 4) * step_ * 0.5;
    }
    return level_;
  }

  /// Of a calm probe, one tenth as often; of a still one, one hundredth.
  bool surprises(int percent) { return dice_.chance(percent) && (!calm_ || dice_.chance(10)) && (!still_ || dice_.chance(10)); }

  [[nodiscard]] double rounded(double value) const { return std::round(value / grid_) * grid_; }

  Dice& dice_;
  bool calm_, still_;
  std::size_t probe_;
  MeasureKind kind_;
  double level_ = 0;
  double centre_ = 0;
  double step_ = 1;
  double grid_ = 0.01;
  double drift_ = 0;
  int stuck_ = 0;
  Duration period_{};
  bool whole_seconds_ = true;
  bool trembles_ = false;  ///< of a counter: runs back a little now and then
};

void add_clock_lines(std::vector<Arrival>& arrivals, Instant begin, Instant end, Dice& dice) {
  const int span_s = static_cast<int>(std::chrono::duration_cast<seconds>(end - begin).count());
  for (int i = 0; i < dice.from(0, 40); ++i) {
    ReferenceInput clock;
    clock.time = begin + seconds(dice.from(0, span_s));
    if (dice.chance(50)) clock.time = floor_minute(clock.time);
    arrivals.push_back({clock.time, dice.from(0, 1000), clock});
  }
}

/// People announce work, some more than once, and end it early.
void add_work(std::vector<Arrival>& arrivals, std::size_t houses, Instant begin, Instant end, Dice& dice) {
  const int span_s = static_cast<int>(std::chrono::duration_cast<seconds>(end - begin).count());
  for (int i = 0; i < dice.from(1, 4); ++i) {
    ReferenceInput work;
    work.kind = ReferenceInput::Kind::work;
    work.time = begin + seconds(dice.from(0, span_s));
    if (dice.chance(50)) work.time = floor_minute(work.time);
    work.time = std::max(work.time, begin);
    work.house = static_cast<std::size_t>(dice.from(0, static_cast<int>(houses) - 1));
    work.until = work.time + seconds(dice.from(-60, 3600));
    arrivals.push_back({work.time, dice.from(0, 1000), work});
  }
}

}  // namespace

std::vector<ReferenceInput> random_tape(const RuleSet& rules, const RandomFarm& farm, Dice& dice) {
  const Instant end = farm.tape_begin + farm.tape_span;
  std::vector<Arrival> arrivals;
  const Mood mood = dice.chance(40) ? Mood::mean : dice.chance(50) ? Mood::calm : Mood::still;
  for (std::size_t probe = 0; probe < rules.probes.size(); ++probe) {
    if (dice.chance(5)) continue;  // Never heard.
    const std::vector<Arrival> said = RandomProbe(rules, probe, mood, dice).speak(farm.tape_begin, end);
    arrivals.insert(arrivals.end(), said.begin(), said.end());
  }
  add_clock_lines(arrivals, farm.tape_begin, end, dice);
  if (dice.chance(25)) add_work(arrivals, rules.houses.size(), farm.tape_begin, end, dice);
  // A silence of everything.
  if (dice.chance(25)) {
    const Instant from = farm.tape_begin + farm.tape_span * dice.from(10, 80) / 100;
    const Instant to = from + minutes(dice.from(3, 45));
    std::erase_if(arrivals, [&](const Arrival& it) { return it.at > from && it.at < to; });
  }
  std::stable_sort(arrivals.begin(), arrivals.end(), [](const Arrival& left, const Arrival& right) {
    return std::pair(left.at, left.shuffle) < std::pair(right.at, right.shuffle);
  });
  std::vector<ReferenceInput> tape;
  for (const Arrival& arrival : arrivals) tape.push_back(arrival.input);
  return tape;
}

}  // namespace underwing
