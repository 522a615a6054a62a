#include "daemon/clock.hpp"

#include <algorithm>
#include <ctime>

#include <sys/timex.h>

namespace underwing {
namespace {

constexpr Duration kAskEvery = std::chrono::milliseconds(100);

Duration read_clock(clockid_t id) {
  timespec time{};
  ::clock_gettime(id, &time);
  return std::chrono::floor<Duration>(std::chrono::seconds(time.tv_sec) + std::chrono::nanoseconds(time.tv_nsec));
}

}  // namespace

Instant SystemClock::wall() { return Instant(read_clock(CLOCK_REALTIME)); }
Duration SystemClock::monotonic() { return read_clock(CLOCK_BOOTTIME); }

bool SystemClock::trusted() {
  if (always_trusted_) return true;
  // A system call that is not worth its time at every reading.
  const Duration now = monotonic();
  if (asked_ != Duration::min() && now - asked_ < kAskEvery) return trusted_;
  asked_ = now;
  timex state{};
  const int kernel_state = ::adjtimex(&state);
  // Where the kernel may not be asked (-1), nothing vouches for the clock.
  trusted_ = kernel_state >= 0 && kernel_state != TIME_ERROR && (state.status & STA_UNSYNC) == 0;
  return trusted_;
}

EngineClock::EngineClock(ClockSource& source, std::optional<Instant> not_before)
    : source_(source), engine_(source.wall()), monotonic_(source.monotonic()) {
  if (not_before) engine_ = std::max(engine_, *not_before);
}

EngineClock::Reading EngineClock::read() {
  const Duration monotonic = source_.monotonic();
  const Duration passed = std::max(monotonic - monotonic_, Duration::zero());
  monotonic_ = std::max(monotonic, monotonic_);
  engine_ += passed;

  Reading reading;
  reading.trusted = source_.trusted();
  Duration ahead = source_.wall() - engine_;
  const bool near = ahead <= kJump && ahead >= -kJump;
  slew_credit_ = std::min<Duration>(slew_credit_ + passed, std::chrono::minutes(1));
  if (reading.trusted && near) {
    // At least 999 ms of each second that passed are left, so engine time goes on.
    const Duration most = slew_credit_ / 1000;
    const Duration step = std::clamp(ahead, -std::min(most, passed), most);
    slew_credit_ -= 1000 * (step < Duration::zero() ? -step : step);
    engine_ += step;
    ahead -= step;
  }
  reading.engine = engine_;
  reading.wall_ahead = ahead;
  const Duration moved = ahead - told_ahead_;
  if (moved > kJump || moved < -kJump) reading.jumped = ahead;
  return reading;
}

}  // namespace underwing
