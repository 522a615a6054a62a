#pragma once

#include <optional>

#include "rules/base/time.hpp"

namespace underwing {

/// The gateway's clocks; a fake in tests.
class ClockSource {
 public:
  virtual ~ClockSource() = default;
  [[nodiscard]] virtual Instant wall() = 0;
  /// Time since some fixed moment; goes on while the gateway sleeps, and never steps.
  [[nodiscard]] virtual Duration monotonic() = 0;
  /// The wall clock is set by a time server, or by a clock that people vouch for.
  [[nodiscard]] virtual bool trusted() = 0;
};

/// CLOCK_REALTIME, CLOCK_BOOTTIME, and the kernel's word on whether the clock is synchronised.
class SystemClock : public ClockSource {
 public:
  /// `always_trusted`: for a gateway whose clock is right though no time server sets it.
  explicit SystemClock(bool always_trusted) : always_trusted_(always_trusted) {}
  [[nodiscard]] Instant wall() override;
  [[nodiscard]] Duration monotonic() override;
  [[nodiscard]] bool trusted() override;

 private:
  bool always_trusted_;
  bool trusted_ = false;              ///< as the kernel last said
  Duration asked_{Duration::min()};   ///< when it was asked, in monotonic time
};

/// Engine time: wall time at the start plus monotonic time since. It never stops and never runs back, whatever
/// the wall clock does. While the wall clock is trusted and less than two minutes away, engine time is drawn
/// towards it by at most 1 ms a second, so that a year's drift does not add up.
class EngineClock {
 public:
  static constexpr Duration kJump = std::chrono::minutes(2);

  struct Reading {
    Instant engine{};
    Duration wall_ahead{};             ///< wall time minus engine time
    bool trusted = false;
    /// Set where wall time has moved by more than two minutes against engine time since the last told(): the new
    /// `wall_ahead`. It stays set until told(), so that no reader of the clock can swallow a jump.
    std::optional<Duration> jumped;
    /// Readings bear times of a clock that cannot be believed: stamp them with engine time.
    [[nodiscard]] bool stamp_readings() const { return !trusted || wall_ahead > kJump || wall_ahead < -kJump; }
  };

  /// `source` must outlive the clock. `not_before`: engine time begins no earlier, so that it does not run back
  /// over a restart.
  explicit EngineClock(ClockSource& source, std::optional<Instant> not_before = std::nullopt);

  [[nodiscard]] Reading read();
  /// The watch knows of this distance between wall time and engine time.
  void told(Duration wall_ahead) { told_ahead_ = wall_ahead; }

 private:
  ClockSource& source_;
  Instant engine_;
  Duration monotonic_;
  Duration told_ahead_{};
  Duration slew_credit_{};   ///< time that has passed without being slewed: short steps add up to a millisecond
};

}  // namespace underwing
