#include "rules/alarms/life_cycle.hpp"

namespace underwing {

const char* to_string(AlarmState state) {
  switch (state) {
    case AlarmState::normal: return "normal";
    case AlarmState::unacknowledged: return "unacknowledged";
    case AlarmState::acknowledged: return "acknowledged";
    case AlarmState::returned_unacknowledged: return "returned to normal unacknowledged";
    case AlarmState::latched_unacknowledged: return "latched unacknowledged";
    case AlarmState::latched_acknowledged: return "latched acknowledged";
    case AlarmState::shelved: return "shelved";
    case AlarmState::suppressed_by_design: return "suppressed by design";
    case AlarmState::out_of_service: return "out of service";
  }
  return "";
}

AlarmState LifeCycle::state() const {
  if (out_of_service_) return AlarmState::out_of_service;
  if (suppressed_) return AlarmState::suppressed_by_design;
  if (shelved_) return AlarmState::shelved;
  if (condition_) return acknowledged_ ? AlarmState::acknowledged : AlarmState::unacknowledged;
  if (latched_) return acknowledged_ ? AlarmState::latched_acknowledged : AlarmState::latched_unacknowledged;
  return acknowledged_ ? AlarmState::normal : AlarmState::returned_unacknowledged;
}

void LifeCycle::raise() {
  condition_ = true;
  latched_ = latching_;
  acknowledged_ = false;
}

void LifeCycle::back() { condition_ = false; }

bool LifeCycle::acknowledge() {
  if (acknowledged_) return false;
  acknowledged_ = true;
  return true;
}

bool LifeCycle::reset() {
  if (condition_ || !latched_) return false;
  latched_ = false;
  acknowledged_ = true;
  return true;
}

void LifeCycle::set(bool& flag, bool on) {
  if (flag && !on && stands()) acknowledged_ = false;
  flag = on;
}

unsigned LifeCycle::to_bits() const {
  unsigned bits = 0;
  for (const bool flag : {latching_, condition_, latched_, acknowledged_, shelved_, suppressed_, out_of_service_}) {
    bits = bits << 1U | (flag ? 1U : 0U);
  }
  return bits;
}

LifeCycle LifeCycle::from_bits(unsigned bits) {
  LifeCycle life;
  for (bool* flag : {&life.out_of_service_, &life.suppressed_, &life.shelved_, &life.acknowledged_, &life.latched_,
                     &life.condition_, &life.latching_}) {
    *flag = (bits & 1U) != 0;
    bits >>= 1U;
  }
  return life;
}

}  // namespace underwing
