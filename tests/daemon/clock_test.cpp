// Goal: engine time goes on steadily whatever the wall clock does. Method: a fake clock that drifts and steps.

#include "daemon/clock.hpp"

#include <gtest/gtest.h>

namespace underwing {
namespace {

using namespace std::chrono_literals;

class FakeClock : public ClockSource {
 public:
  [[nodiscard]] Instant wall() override { return wall_time; }
  [[nodiscard]] Duration monotonic() override { return since_boot; }
  [[nodiscard]] bool trusted() override { return is_trusted; }
  void pass(Duration span) {
    wall_time += span;
    since_boot += span;
  }
  Instant wall_time{Duration(1'772'443'800'000)};
  Duration since_boot = 100s;
  bool is_trusted = true;
};

constexpr Instant kStart{Duration(1'772'443'800'000)};

TEST(EngineClock, GoesWithTheWallClockWhileThatIsSteady) {
  FakeClock fake;
  EngineClock clock(fake);
  fake.pass(5s);
  const auto reading = clock.read();
  EXPECT_EQ(reading.engine, kStart + 5s);
  EXPECT_EQ(reading.wall_ahead, 0ms);
  EXPECT_FALSE(reading.jumped);
  EXPECT_FALSE(reading.stamp_readings());
}

TEST(EngineClock, AJumpOfTheWallClockIsSaidOnceAndEngineTimeGoesOn) {
  for (const Duration jump : {Duration(-1h), Duration(10h), Duration(-121s), Duration(121s)}) {
    FakeClock fake;
    EngineClock clock(fake);
    fake.pass(1s);
    fake.wall_time += jump;
    auto reading = clock.read();
    EXPECT_EQ(reading.engine, kStart + 1s);
    EXPECT_EQ(reading.jumped, jump);
    EXPECT_TRUE(reading.stamp_readings());
    // Whoever reads the clock meanwhile does not swallow the jump.
    EXPECT_EQ(clock.read().jumped, jump);
    clock.told(jump);
    fake.pass(1s);
    reading = clock.read();
    EXPECT_EQ(reading.engine, kStart + 2s);
    EXPECT_FALSE(reading.jumped);
    EXPECT_TRUE(reading.stamp_readings());
    // And back again.
    fake.wall_time -= jump;
    reading = clock.read();
    EXPECT_EQ(reading.jumped, 0ms);
    EXPECT_FALSE(reading.stamp_readings());
  }
}

TEST(EngineClock, ASmallStepIsDrawnInSlowlyAndNeverBackwards) {
  for (const Duration step : {Duration(90s), Duration(-90s)}) {
    FakeClock fake;
    EngineClock clock(fake);
    fake.wall_time += step;
    Instant before = kStart;
    Duration ahead = step;
    for (int i = 0; i < 30 * 3600; ++i) {
      fake.pass(1s);
      const auto reading = clock.read();
      EXPECT_FALSE(reading.jumped);
      EXPECT_GE(reading.engine - before, 999ms);
      EXPECT_LE(reading.engine - before, 1001ms);
      before = reading.engine;
      ahead = reading.wall_ahead;
    }
    EXPECT_EQ(ahead, 0ms);
  }
}

TEST(EngineClock, ReadOftenItStillDrawsIn) {
  FakeClock fake;
  EngineClock clock(fake);
  fake.wall_time += 1s;
  Instant before = kStart;
  for (int i = 0; i < 2'000'000 && clock.read().wall_ahead > 0ms; ++i) {
    fake.pass(1ms);
    const auto reading = clock.read();
    EXPECT_GE(reading.engine, before);
    before = reading.engine;
  }
  EXPECT_EQ(clock.read().wall_ahead, 0ms);
}

TEST(EngineClock, AClockThatIsNotTrustedIsNotFollowed) {
  FakeClock fake;
  fake.is_trusted = false;
  EngineClock clock(fake);
  fake.wall_time += 30s;
  fake.pass(10'000s);
  auto reading = clock.read();
  EXPECT_EQ(reading.engine, kStart + 10'000s);
  EXPECT_EQ(reading.wall_ahead, 30s);
  EXPECT_TRUE(reading.stamp_readings());
  fake.is_trusted = true;
  EXPECT_FALSE(clock.read().stamp_readings());
}

TEST(EngineClock, DoesNotRunBackOverARestart) {
  FakeClock fake;
  EngineClock clock(fake, kStart + 1h);
  fake.pass(1s);
  const auto reading = clock.read();
  EXPECT_EQ(reading.engine, kStart + 1h + 1s);
  EXPECT_EQ(reading.jumped, Duration(-1h));
}

TEST(SystemClock, GoesOn) {
  SystemClock clock(true);
  EXPECT_TRUE(clock.trusted());
  const auto since = clock.monotonic();
  EXPECT_GT(clock.wall(), Instant(Duration(1'700'000'000'000)));
  EXPECT_GE(clock.monotonic(), since);
}

}  // namespace
}  // namespace underwing
