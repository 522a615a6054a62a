// Goal: what the engine leaves unjudged for minutes is judged at the very moment at which it matters, and people hear
// values of now. Method: tapes made by hand, with the events that follow from the rules of order. Every value is
// invented.

#include <gtest/gtest.h>

#include "rules/engine/engine.hpp"
#include "tests/reference/small_farm.hpp"

namespace underwing {
namespace {

using std::chrono::minutes;
using std::chrono::seconds;

constexpr Instant kBegin{std::chrono::sys_days{std::chrono::year{2026} / 3 / 2} + std::chrono::hours(10)};

constexpr const char* kProbes = R"(      air_temperature: [a, b, c]
      water: [w]
)";

constexpr const char* kMeter = R"(format: 1
pack: small
rules:
  r:
    about: Made up
    watch: total(water over 30 min)
    high: 340 L
    priority: note
)";

constexpr const char* kAir = R"(format: 1
pack: small
measures:
  air_temperature: {stale_after: 5 min}
rules:
  r:
    about: Made up
    watch: lowest(air_temperature)
    high: 29 °C
    priority: note
)";

std::shared_ptr<const RuleSet> rules(const char* pack) {
  const Loaded loaded = load_farm(small_farm(kProbes, pack), [](const std::string& name) {
    Zone zone;
    zone.name = name;
    return std::optional(zone);
  });
  EXPECT_TRUE(loaded.ok());
  return loaded.rules;
}

struct House {
  explicit House(const char* pack) : set(rules(pack)), engine(set) {}
  std::shared_ptr<const RuleSet> set;
  Engine engine;

  void say(const std::string& probe, Duration after, double value) { engine.take(set->find_probe("h/" + probe).value(), kBegin + after, value); }
  /// Every ten seconds b and c, the first calm, the second to and fro across 29 °C; a, the lowest, until it falls silent.
  void speak(Duration from, Duration to, bool with_a) {
    for (Duration at = from; at <= to; at += seconds(10)) {
      const bool even = at % seconds(20) == Duration::zero();
      if (with_a) say("air_temperature/a", at, even ? 25 : 25.1);
      say("air_temperature/b", at, even ? 32 : 32.1);
      say("air_temperature/c", at, even ? 28.2 : 29.8);
    }
  }
};

TEST(Outlook, EndsWhenAProbeFallsSilentBeforeWhatElseIsReadThen) {
  House house(kAir);
  house.engine.begin(kBegin);
  house.speak(seconds(0), minutes(30), true);
  ASSERT_TRUE(house.engine.events().empty());
  house.speak(minutes(30) + seconds(10), minutes(35) - seconds(10), false);
  ASSERT_TRUE(house.engine.events().empty());

  // At 10:35 a is stale; b is read before c has come back below the limit, and there is no on_delay.
  house.speak(minutes(35), minutes(35), false);
  house.engine.advance(kBegin + minutes(35) + seconds(1));
  ASSERT_EQ(house.engine.events().size(), 2U);
  const Event& raised = house.engine.events().front();
  EXPECT_EQ(raised.kind, Event::Kind::raised);
  EXPECT_EQ(raised.time, kBegin + minutes(35));
  EXPECT_EQ(raised.value, 29.8);
  EXPECT_EQ(house.engine.events().back().kind, Event::Kind::returned);
  EXPECT_EQ(house.engine.events().back().time, kBegin + minutes(35));
}

TEST(Outlook, ExpectsOfAMeterThatItGoesOnFromWhereItIs) {
  House house(kMeter);
  house.engine.begin(kBegin);
  double count = 10'000;
  Duration at{0};
  for (; at <= minutes(60); at += seconds(10)) house.say("water/w", at, count += 1);
  ASSERT_TRUE(house.engine.events().empty());

  // To and fro by 40 litres: never further than it was expected to get, but each way up is growth. 180 litres of half an
  // hour lose one at each reading; 340 are passed with the fifth way up, eight readings after the first.
  double expected = 180;
  std::optional<Instant> passed;
  for (int i = 0; i < 30; ++i, at += seconds(10)) {
    count += i % 2 == 0 ? 40 : -40;
    expected += (i % 2 == 0 ? 40 : 0) - 1;
    if (!passed && expected > 340) passed = kBegin + at;
    house.say("water/w", at, count);
  }
  ASSERT_TRUE(passed);
  ASSERT_FALSE(house.engine.events().empty());
  std::vector<Event> raised;
  for (const Event& event : house.engine.events()) {
    if (event.kind == Event::Kind::raised) raised.push_back(event);
  }
  ASSERT_EQ(raised.size(), 1U);
  EXPECT_EQ(raised.front().time, *passed);
}

TEST(Outlook, GivesTheLatestValueOfARuleThatNobodyJudged) {
  House house(kAir);
  house.engine.begin(kBegin);
  house.speak(seconds(0), minutes(20), true);
  for (Duration at = minutes(20) + seconds(10); at < minutes(26); at += seconds(10)) {
    house.speak(at, at, true);
    const double lowest = at % seconds(20) == Duration::zero() ? 25 : 25.1;
    ASSERT_EQ(house.engine.latest(0), lowest) << at.count();
  }
  house.speak(minutes(26), minutes(40), false);
  EXPECT_EQ(house.engine.latest(0), 28.2) << "without a";
}

}  // namespace
}  // namespace underwing
