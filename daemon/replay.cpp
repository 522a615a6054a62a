#include "daemon/replay.hpp"

#include <algorithm>
#include <map>
#include <set>
#include <string>

#include "daemon/duty.hpp"
#include "daemon/tape_order.hpp"
#include "daemon/tape_player.hpp"
#include "daemon/tapes_ahead.hpp"

namespace underwing {

namespace {

constexpr Duration kLateAsUsual = std::chrono::minutes(1);  // a probe's reading takes its time to arrive: no tapes overlap for that

/// Answers in place of the world: deliveries arrive at once, and if wanted a person says OK after a while, and HERE after
/// the way to the house.
class World {
 public:
  World(Watch& watch, const ReplayOptions& options, const std::function<void(const Effect&)>& sink)
      : watch_(watch), options_(options), sink_(sink) {}

  void settle() {
    for (std::vector<Effect> effects = watch_.take_effects(); !effects.empty(); effects = watch_.take_effects()) {
      for (const Effect& effect : effects) take(effect);
    }
  }

  /// Answers that are due before `time` come first.
  void answer_before(Instant time) {
    while (!answers_.empty() && answers_.begin()->first < time) {
      const auto [when, answer] = *answers_.begin();
      answers_.erase(answers_.begin());
      watch_.advance(when);
      settle();
      if (answer.there) {
        if (stands(answer.code)) say(answer, "HERE ");
        continue;
      }
      asked_.erase(answer.code);
      if (!wants_answer(answer.code)) continue;
      say(answer, "OK ");
      const Person* person = find_person(watch_.rules().farm, answer.who);
      if (person && person->away) answers_.emplace(when + *person->away, Answer{answer.who, answer.from, answer.code, true});
    }
  }
  [[nodiscard]] bool waits() const { return !answers_.empty(); }

 private:
  struct Answer {
    std::string who, from, code;
    bool there = false;  ///< HERE, else OK
  };

  [[nodiscard]] const Alarm* find(const std::string& code) const {
    const auto& alarms = watch_.alarms();
    const auto found = std::find_if(alarms.begin(), alarms.end(), [&](const auto& entry) { return entry.second.code == code; });
    return found == alarms.end() ? nullptr : &found->second;
  }
  [[nodiscard]] bool stands(const std::string& code) const {
    const Alarm* alarm = find(code);
    return alarm && alarm->life.stands();
  }
  [[nodiscard]] bool wants_answer(const std::string& code) const {
    const Alarm* alarm = find(code);
    return alarm && alarm->life.wants_answer();
  }

  void say(const Answer& answer, const char* word) {
    watch_.reply(answer.from, "text", word + answer.code);
    settle();
  }

  void take(const Effect& effect) {
    sink_(effect);
    if (effect.kind == Effect::Kind::heartbeat) watch_.heartbeat(effect.time, true, "");
    if (effect.kind != Effect::Kind::delivery || effect.delivery->outcome != Delivery::Outcome::open) return;
    watch_.receipt(effect.delivery->id, Delivery::Outcome::sent, "");
    if (!options_.answer_after) return;
    for (const std::string& code : effect.delivery->codes) {
      if (!wants_answer(code) || !asked_.insert(code).second) continue;
      answers_.emplace(effect.time + *options_.answer_after, Answer{effect.delivery->who, effect.delivery->to, code});
    }
  }

  Watch& watch_;
  const ReplayOptions& options_;
  const std::function<void(const Effect&)>& sink_;
  std::multimap<Instant, Answer> answers_;
  std::set<std::string> asked_;  ///< of alarms, that will be answered
};

void count_strangers(const Intake& intake, Replayed& replayed) {
  for (const auto& [name, stranger] : intake.strangers()) {
    replayed.unknown += stranger.count;
    if (replayed.unknown_example.empty()) replayed.unknown_example = name + ": " + stranger.text;
  }
  replayed.unknown_names = intake.strangers().size();
}

std::vector<std::filesystem::path> paths_of(const std::vector<OrderedTape>& tapes) {
  std::vector<std::filesystem::path> paths;
  for (const OrderedTape& tape : tapes) paths.push_back(tape.path);
  return paths;
}

void note_overlap(Replayed& replayed, const OrderedTape& earlier, const OrderedTape& later, Instant end) {
  if (!later.begin || end - *later.begin <= kLateAsUsual) return;
  replayed.overlaps.push_back({earlier.path.string(), later.path.string(), *later.begin, end});
}

}  // namespace

Result<Replayed> replay(std::shared_ptr<const RuleSet> rules, const std::vector<std::filesystem::path>& tapes,
                        const ReplayOptions& options, const std::function<void(const Effect&)>& sink) {
  Watch watch(rules);
  TapePlayer player(watch, *rules);
  World world(watch, options, sink);
  Replayed replayed;
  bool first = true;
  std::uint64_t line_count = 0;
  const std::vector<OrderedTape> ordered = in_order_of_time(tapes);
  TapesAhead lines(paths_of(ordered));
  std::size_t tape = 0;
  while (const TapeLine* line = lines.next()) {
    if (lines.tape() != tape) note_overlap(replayed, ordered[tape], ordered[lines.tape()], watch.now());
    tape = lines.tape();
    if (world.waits()) world.answer_before(player.time_of(*line));
    ++line_count;
    if (!player.play(*line) && replayed.not_understood_first == 0) replayed.not_understood_first = line_count;
    if (first && watch.now() != Instant{}) {
      replayed.begin = watch.now();
      first = false;
    }
    world.settle();
  }
  if (lines.failure()) return *lines.failure();
  replayed.losses = lines.losses();
  if (!first) {
    world.answer_before(watch.now());
    watch.finish();
    world.settle();
  }
  replayed.readings = player.readings() - player.late().count;
  replayed.not_understood = player.not_understood();
  replayed.late = player.late().count;
  replayed.late_first = player.late().first_name;
  replayed.late_first_time = player.late().first_time;
  count_strangers(player.intake(), replayed);
  replayed.end = watch.now();
  return replayed;
}

}  // namespace underwing
