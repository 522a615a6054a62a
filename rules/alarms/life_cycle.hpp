#pragma once

#include <cstdint>
#include <optional>
#include <string>

#include "rules/base/time.hpp"

namespace underwing {

/// The alarm states of ANSI/ISA-18.2-2016 (IEC 62682:2022), clause 5.
enum class AlarmState : std::uint8_t {
  normal,
  unacknowledged,
  acknowledged,
  returned_unacknowledged,
  latched_unacknowledged,
  latched_acknowledged,
  shelved,
  suppressed_by_design,
  out_of_service
};

[[nodiscard]] const char* to_string(AlarmState state);  // "returned to normal unacknowledged" …

/// Where one alarm stands in its life. The condition comes from the engine and goes on being judged in every
/// state; the rest is what people and design have done about it. Three states cover the others: out of
/// service over suppressed by design over shelved. Leaving one of them never lands in acknowledged.
class LifeCycle {
 public:
  LifeCycle() = default;
  explicit LifeCycle(bool latching) : latching_(latching) {}

  [[nodiscard]] AlarmState state() const;
  /// The condition is there (of a latched alarm: was there and nobody has reset it).
  [[nodiscard]] bool stands() const { return condition_ || latched_; }
  [[nodiscard]] bool condition() const { return condition_; }
  /// Somebody should be called: it stands, nobody has answered, and nothing holds it back.
  [[nodiscard]] bool wants_answer() const { return state() == AlarmState::unacknowledged || state() == AlarmState::latched_unacknowledged; }

  void raise();
  /// It became worse: an answer to the lesser thing does not count any more.
  void worsen() { acknowledged_ = false; }
  /// The condition has ended. A latching alarm stays until it is reset.
  void back();
  /// True if that changed anything.
  bool acknowledge();
  /// On the spot, of a latched alarm whose condition has ended. True if that changed anything.
  bool reset();

  void shelve(bool on) { set(shelved_, on); }
  void suppress(bool on) { set(suppressed_, on); }
  void take_out_of_service(bool on) { set(out_of_service_, on); }

  /// As bits, for keeping over a restart.
  [[nodiscard]] unsigned to_bits() const;
  static LifeCycle from_bits(unsigned bits);

 private:
  void set(bool& flag, bool on);

  bool latching_ = false;
  bool condition_ = false;
  bool latched_ = false;
  bool acknowledged_ = true;  ///< nothing to answer yet
  bool shelved_ = false;
  bool suppressed_ = false;
  bool out_of_service_ = false;
};

}  // namespace underwing
