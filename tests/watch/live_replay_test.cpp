// Goal: replay of a tape and the live run that recorded it find the same events at the same times, and twice
// the same tape gives byte for byte the same. Method: farms and readings made up from a seed; readings arrive
// late by random delays, time moves on between them, the wall clock jumps, people work in the houses, and
// receipts and replies come when they like. UNDERWING_SEED runs one seed, UNDERWING_SEEDS another number of
// them.

#include <gtest/gtest.h>

#include <algorithm>
#include <cstdlib>
#include <nlohmann/json.hpp>

#include "daemon/recorder.hpp"
#include "daemon/tape_player.hpp"
#include "tests/reference/random_farm.hpp"

namespace underwing {
namespace {

using namespace std::chrono_literals;

struct Arrival {
  Instant at{};
  std::size_t probe = 0;
  Instant time{};
  double value = 0;
};

/// What the engine found, a line each; what people did and were told is the live run's own.
std::string found(const std::vector<Effect>& effects) {
  std::string lines;
  for (const Effect& effect : effects) {
    if (effect.kind != Effect::Kind::event) continue;
    const std::string kind = nlohmann::json::parse(effect.json).at("event");
    if (kind == "told" || kind == "acknowledged" || kind == "trouble") continue;
    lines += effect.json + '\n';
  }
  return lines;
}

std::vector<Arrival> delayed(const std::vector<ReferenceInput>& inputs, Dice& dice) {
  std::vector<Arrival> arrivals;
  Instant at{};
  for (const ReferenceInput& input : inputs) {
    if (input.kind != ReferenceInput::Kind::reading) continue;  // the live run has clock and work of its own
    at = std::max(at, input.reading.time);
    Instant arrives = at + Duration(dice.from(0, 1500));
    if (dice.chance(10)) arrives += std::chrono::seconds(dice.from(1, 400));
    if (dice.chance(5)) arrives = at - std::chrono::seconds(dice.from(1, 100));  // a clock that is ahead
    arrivals.push_back({arrives, input.reading.probe, input.reading.time, input.reading.value});
  }
  std::stable_sort(arrivals.begin(), arrivals.end(),
                   [](const Arrival& a, const Arrival& b) { return a.at < b.at; });
  return arrivals;
}

class Live {
 public:
  Live(std::shared_ptr<const RuleSet> rules, Dice& dice)
      : dice_(dice),
        rules_(std::move(rules)),
        watch_(rules_),
        recorder_(watch_, [this](std::string_view line, Instant) { tape.emplace_back(line); }) {}

  void run(Instant begin, const std::vector<Arrival>& arrivals) {
    recorder_.begin(
        begin, dice_.chance(20) ? Duration(std::chrono::minutes(dice_.from(-300, 300))) : Duration::zero());
    settle();
    for (const Arrival& arrival : arrivals) {
      // In service the engine follows the clock by a second, in steps of any length.
      while (dice_.chance(60)) {
        const Duration gap = arrival.at - 1s - watch_.now();
        if (gap <= Duration::zero()) break;
        recorder_.advance(watch_.now() + gap * dice_.from(1, 4) / 4);
        settle();
      }
      if (dice_.chance(1) && dice_.chance(40)) disturb();
      recorder_.reading(arrival.probe, arrival.time, arrival.value);
      settle();
    }
    recorder_.mark_time();
    watch_.finish();
    settle();
  }

  std::vector<std::string> tape;
  std::vector<Effect> effects;

 private:
  void disturb() {
    switch (dice_.from(0, 3)) {
      case 0:
        recorder_.clock(Duration(dice_.from(-20'000'000, 20'000'000)));
        break;
      case 1:
        watch_.work_by(0, std::chrono::seconds(dice_.from(1, 4'000)), dice_.chance(50) ? "ines" : "");
        break;
      case 2:
        watch_.work_by(0, Duration::zero(), "");
        break;
      default:
        watch_.plugin("paper", dice_.chance(50), "made up");
        break;
    }
    settle();
  }

  void settle() {
    for (auto more = watch_.take_effects(); !more.empty(); more = watch_.take_effects()) {
      for (const Effect& effect : more) {
        if (effect.kind == Effect::Kind::entry) recorder_.entry(*effect.entry);
        if (effect.kind != Effect::Kind::delivery || effect.delivery->outcome != Delivery::Outcome::open)
          continue;
        if (dice_.chance(70))
          watch_.receipt(effect.delivery->id,
                         dice_.chance(80) ? Delivery::Outcome::sent : Delivery::Outcome::failed, "");
        if (dice_.chance(30)) watch_.reply("+44 7700 900101", "text", dice_.chance(50) ? "OK" : "PASS");
      }
      effects.insert(effects.end(), std::make_move_iterator(more.begin()),
                     std::make_move_iterator(more.end()));
    }
  }

  Dice& dice_;
  std::shared_ptr<const RuleSet> rules_;
  Watch watch_;
  Recorder recorder_;
};

std::vector<Effect> replayed(const std::shared_ptr<const RuleSet>& rules,
                             const std::vector<std::string>& tape) {
  Watch watch(rules);
  TapePlayer player(watch, *rules);
  for (const std::string& line : tape) EXPECT_TRUE(player.play(line)) << line;
  EXPECT_TRUE(player.intake().strangers().empty());
  watch.finish();
  return watch.take_effects();
}

std::string everything(const std::vector<Effect>& effects) {
  std::string lines;
  for (const Effect& effect : effects) {
    lines += to_rfc3339(effect.time) + " " + effect.json;
    if (effect.delivery) lines += effect.delivery->id + " " + effect.delivery->text;
    if (effect.alarm) lines += effect.alarm->code + " " + to_string(effect.alarm->life.state());
    lines += '\n';
  }
  return lines;
}

/// The first line that differs, with its neighbour, so that a failure can be read.
std::string difference(const std::string& live, const std::string& replay) {
  const auto place = static_cast<std::size_t>(
      std::mismatch(live.begin(),
                    live.begin() + static_cast<std::ptrdiff_t>(std::min(live.size(), replay.size())),
                    replay.begin())
          .first -
      live.begin());
  const std::size_t begin = place == 0 ? 0 : live.rfind('\n', place - 1) + 1;
  return "live:   " + live.substr(begin, live.find('\n', place) - begin) +
         "\nreplay: " + replay.substr(begin, replay.find('\n', place) - begin);
}

TEST(LiveReplay, FindsTheSameByteForByte) {
  const char* one = std::getenv("UNDERWING_SEED");
  const char* many = std::getenv("UNDERWING_SEEDS");
  const std::uint64_t first = one ? std::strtoull(one, nullptr, 10) : 1;
  const std::uint64_t count = one ? 1 : many ? std::strtoull(many, nullptr, 10) : 150;
  std::size_t events = 0;
  for (std::uint64_t seed = first; seed < first + count; ++seed) {
    Dice dice(seed);
    const RandomFarm farm = random_farm(dice);
    const Loaded loaded = load_farm(farm.files, random_farm_zone);
    ASSERT_TRUE(loaded.ok()) << "seed " << seed;
    const std::vector<Arrival> arrivals = delayed(random_tape(*loaded.rules, farm, dice), dice);
    Live live(loaded.rules, dice);
    live.run(farm.tape_begin, arrivals);
    const std::vector<Effect> once = replayed(loaded.rules, live.tape);
    const std::string wanted = found(live.effects), got = found(once);
    ASSERT_TRUE(wanted == got) << "UNDERWING_SEED=" << seed << '\n' << difference(wanted, got);
    ASSERT_TRUE(everything(once) == everything(replayed(loaded.rules, live.tape)))
        << "twice the same tape, UNDERWING_SEED=" << seed;
    events += static_cast<std::size_t>(std::count(wanted.begin(), wanted.end(), '\n'));
  }
  if (!one && !many) {
    EXPECT_GT(events, 2'000U);  // the farms are worth the while
  }
}

}  // namespace
}  // namespace underwing
