#include "tests/simulation/promises.hpp"

#include <fmt/format.h>

#include <nlohmann/json.hpp>

namespace underwing {

namespace {

using namespace std::chrono_literals;

constexpr Duration kToTell = 10s;
constexpr Duration kGathered = 20s;
/// The last step repeats after 5 min at most; a try waits 60 s for its receipt and 20 s to be gathered before
/// it fails.
constexpr Duration kQuietMax = 5min + 60s + kGathered + kToTell;
constexpr Duration kMayBeLost = 15s;
constexpr Duration kSecond = 1s;
/// The last step repeats; the farm's plans have three and two.
int last_step(Priority priority) {
  return priority == Priority::urgent ? 3 : 2;
}
constexpr double kPlausibleLow = -20, kPlausibleHigh = 60;

std::string name_of(const Alarm& alarm) {
  return fmt::format("{} {} ({})", alarm.house, alarm.rule, alarm.code);
}

}  // namespace

void Promises::heard(const std::string& house, Instant time, double value, Instant now) {
  Cold& cold = cold_[house];
  if (time <= cold.newest) return;
  cold.newest = time;
  if (value < kPlausibleLow || value > kPlausibleHigh) return;
  if (value >= low_)
    cold = Cold{time};
  else if (cold.since == kNever)
    cold.since = now;
}

void Promises::power_cut(Instant now) {
  ++counts_.cuts;
  // Readings of the last seconds may be lost: where the cold began in them, it begins with the next one.
  for (auto& [house, cold] : cold_) {
    if (cold.since != kNever && cold.since >= now - kMayBeLost) cold = Cold{cold.newest};
  }
  handed_in_.clear();
}

void Promises::second(Watch& watch) {
  now_ = watch.now();
  for (auto& [house, cold] : cold_) {
    if (cold.since == kNever || cold.judged || now_ <= cold.since + on_delay_) continue;
    cold.overdue += kSecond;
    if (cold.overdue <= kToTell + kGathered) continue;
    cold.judged = true;
    ++counts_.attempts_judged;
    bool told = false;
    for (const auto& [id, known] : known_) {
      told = told || (known.alarm.house == house && known.alarm.rule == "cold-air" &&
                      known.alarm.subject == Alarm::Subject::condition &&
                      (known.attempted || !known.alarm.life.wants_answer()));
    }
    if (!told)
      break_promise(fmt::format("{}: {} is cold since {} and nobody was told", to_rfc3339(now_), house,
                                to_rfc3339(cold.since)));
  }
  for (const auto& [id, alarm] : watch.alarms()) {
    const auto found = known_.find(id);
    if (found == known_.end()) {
      break_promise(fmt::format("{}: {} was never written", to_rfc3339(now_), name_of(alarm)));
      continue;
    }
    Known& known = found->second;
    if (alarm.priority != Priority::urgent || !alarm.life.wants_answer()) {
      known.quiet = Duration::zero();
      continue;
    }
    if (!alarm.calling.running || alarm.calling.due == kNever) {
      break_promise(
          fmt::format("{}: {} stands unanswered and calls nobody", to_rfc3339(now_), name_of(alarm)));
    }
    known.quiet += kSecond;
    if (known.quiet == kQuietMax)
      break_promise(fmt::format("{}: {} has been quiet for too long", to_rfc3339(now_), name_of(alarm)));
  }
  for (const auto& [id, known] : known_) {
    if (known.alarm.life.stands() && !watch.alarms().contains(id)) {
      break_promise(fmt::format("{}: {} has vanished", to_rfc3339(now_), name_of(known.alarm)));
    }
  }
}

void Promises::written(const std::vector<Effect>& effects) {
  std::set<std::string> ended;
  for (const Effect& effect : effects) {
    if (effect.kind != Effect::Kind::event) continue;
    const auto event = nlohmann::json::parse(effect.json);
    const std::string kind = event.at("event");
    if (kind == "raised") ++counts_.raised;
    if (kind == "returned" || kind == "sees") ended.insert(event.at("house").get<std::string>());
  }
  for (const Effect& effect : effects) {
    if (effect.kind != Effect::Kind::alarm) continue;
    const Alarm& alarm = *effect.alarm;
    const auto [place, fresh] = known_.try_emplace(alarm.id);
    Known& known = place->second;
    if (!fresh) {
      const Alarm& before = known.alarm;
      if (before.life.condition() && !alarm.life.condition() && alarm.subject != Alarm::Subject::built_in &&
          !ended.contains(alarm.house)) {
        break_promise(fmt::format("{}: no event ended {}", to_rfc3339(effect.time), name_of(alarm)));
      }
      if (before.life.wants_answer() != alarm.life.wants_answer() || before.priority != alarm.priority ||
          before.reason != alarm.reason)
        ++known.epoch;
    }
    known.alarm = alarm;
  }
}

void Promises::handed(const Delivery& delivery) {
  ++counts_.handed;
  if (++handed_in_[delivery.id] > 1)
    break_promise(fmt::format("{} was handed over twice without a power cut", delivery.id));
  if (++handed_[delivery.id] > 1) return;  // the one that was on its way
  for (const auto& [id, serial] : delivery.steps) {
    const auto found = known_.find(id);
    if (found == known_.end()) {
      break_promise(fmt::format("{} speaks of an alarm that was never written", delivery.id));
      continue;
    }
    found->second.attempted = true;
    found->second.quiet = Duration::zero();
    if (delivery.step >= last_step(found->second.alarm.priority) || delivery.steps.size() > 1) continue;
    const auto [told, first] =
        steps_.try_emplace({id, delivery.step, delivery.who, delivery.way, found->second.epoch}, delivery.id);
    if (!first) {
      break_promise(fmt::format("{}: {} tells {} of step {} of {} again, after {}",
                                to_rfc3339(delivery.queued), delivery.id, delivery.who, delivery.step,
                                name_of(found->second.alarm), told->second));
    }
  }
}

}  // namespace underwing
