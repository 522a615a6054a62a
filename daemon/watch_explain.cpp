#include "daemon/watch_explain.hpp"

#include <fmt/format.h>

#include <cmath>

#include "daemon/words.hpp"

namespace underwing {

namespace {

using nlohmann::json;
using namespace std::chrono_literals;

json number(double canonical, const Unit& unit) {
  if (!known(canonical)) return nullptr;
  return std::round(unit.from_canonical(canonical) * 1000) / 1000;
}

class Explainer {
 public:
  Explainer(Watch& watch, std::size_t index)
      : watch_(watch),
        rules_(watch.rules()),
        index_(index),
        rule_(rules_.rules[index]),
        state_(watch.engine().state(index)),
        sight_(watch.engine().look(index)) {}

  json run() {
    const bool watching = sight_.in_force;
    if (watching) {
      say_ability();
      for (std::size_t i = 0; i < rule_.limits.size(); ++i) say_limit(i);
      if (sentences_.size() == 1 && condition_known()) sentences_.push_back("Nothing is wrong by this rule.");
      say_danger();
    } else {
      say_why_not();
    }
    say_shelving();
    const auto alarm = alarm_of();
    const auto age = watch_.engine().age_h(index_);
    json entry = {{"house", rules_.houses[rule_.house].name},
            {"flock", rule_.flock ? json(rules_.flocks[*rule_.flock].name) : json(nullptr)},
            {"probe", rule_.probe ? json(rules_.probes[*rule_.probe].name) : json(nullptr)},
            {"time_local", date_and_time(rules_.farm.zone, watch_.wall())},
            {"age_h", age ? json(*age) : json(nullptr)},
            {"rule", rule_.name},
            {"pack", rule_.pack},
            {"watching", watching},
            {"blind", state_.blind},
            {"standing", state_.standing()},
            {"why", sentences_},
            {"value", number(sight_.value, rule_.unit)},
            {"unit", rule_.unit.text},
            {"limits", limits()},
            {"probes", probes()},
            {"code", alarm ? json(alarm->code) : json(nullptr)}};
    if (rules_.farm.units != Units::metric) entry["units"] = to_string(rules_.farm.units);
    return entry;
  }

 private:
  void say(std::string sentence) { sentences_.push_back(std::move(sentence)); }

  /// Engine time as a clock on the wall shows it; with the date where that is another day.
  [[nodiscard]] std::string at(Instant engine_time) const {
    const Instant wall = engine_time + watch_.engine().wall_ahead();
    const std::string whole = date_and_time(rules_.farm.zone, wall);
    const std::string now = date_and_time(rules_.farm.zone, watch_.wall());
    return whole.substr(0, 10) == now.substr(0, 10) ? whole.substr(11) : whole;
  }

  [[nodiscard]] std::string wall_at(Instant wall) const { return at(wall - watch_.engine().wall_ahead()); }

  void say_why_not() {
    const Instant now = watch_.now();
    const Instant wall = watch_.wall();
    if (rule_.flock) {
      const Flock& flock = rules_.flocks[*rule_.flock];
      // A pack of a flock begins a day before the birds come.
      const Duration from = rule_.from.value_or(-24h);
      if (wall < flock.placed + from)
        say(fmt::format("It begins on {}.", date_and_time(rules_.farm.zone, flock.placed + from)));
      if (flock.cleared && wall >= *flock.cleared) {
        say(fmt::format("The house was cleared on {}.", date_and_time(rules_.farm.zone, *flock.cleared)));
      } else if (rule_.until && wall >= flock.placed + *rule_.until) {
        say(fmt::format("It ended on {}, at an age of {}.", date_and_time(rules_.farm.zone, flock.placed + *rule_.until),
                        to_words(*rule_.until)));
      }
      if (flock.unloading && !rule_.even_during_work && flock.unloading->first <= wall &&
          wall < flock.unloading->second)
        say(fmt::format("Birds are unloaded until {}.", wall_at(flock.unloading->second)));
    }
    const Instant work = watch_.engine().work_until(rule_.house);
    if (now < work && !rule_.even_during_work)
      say(fmt::format("People work in the house until {}.", at(work)));
    if (sentences_.empty() && rule_.only_if) say("What 'only_if' asks for does not hold now.");
    if (state_.standing()) say("Its alarm still stands; it ends as no longer watched.");
  }

  void say_ability() {
    const Instant now = watch_.now();
    if (condition_known()) {
      say(state_.blind ? "It can tell again, and counts as blind for 2 min more." : "It can tell.");
    } else if (state_.blind) {
      say(fmt::format("It is blind: it cannot tell{}.", since_unknown()));
    } else if (sight_.counting_begin > now) {
      say(fmt::format("It cannot tell yet: its window fills until {}.", at(sight_.counting_begin)));
    } else {
      say(fmt::format("It cannot tell{}; after {} that is an alarm.", since_unknown(),
                      to_words(rule_.blind_after)));
    }
  }

  [[nodiscard]] std::string since_unknown() const {
    return state_.unknown_since == kNever ? "" : " since " + at(state_.unknown_since);
  }

  void say_shelving() {
    const auto found = watch_.shelved().find({rules_.houses[rule_.house].name, rule_.name});
    if (found == watch_.shelved().end()) return;
    const Watch::Shelving& shelving = found->second;
    sentences_.insert(sentences_.begin(), fmt::format("It is shelved until {} by {} ({}): till then its alarms tell nobody.", at(shelving.until), shelving.who, shelving.why));
  }

  void say_limit(std::size_t i) {
    if (i >= state_.limits.size()) return;
    const RuleState::LimitState& limit = state_.limits[i];
    const bool when = rule_.limits[i].side == Limit::Side::when;
    const Instant now = watch_.now();
    if (limit.active && limit.back_since != kNever) {
      say(fmt::format("{} {} since {}; the alarm ends at {} if that lasts.", name_of(i), when ? "no longer holds" : "is kept again",
                      at(limit.back_since), at(limit.back_since + rule_.off_delay)));
    } else if (limit.active) {
      const auto alarm = alarm_of();
      say(fmt::format("{} {}: an alarm stands{}.", name_of(i), when ? "holds" : "is broken",
                      alarm ? fmt::format(", {} ({})", alarm->code, to_string(alarm->life.state())) : ""));
    } else if (limit.met_since != kNever) {
      const Instant due = limit.met_since + rule_.on_delay;
      const bool in_sight = limit.broken_since == kNever;
      say(fmt::format("{} {} since {}: an alarm{}.", name_of(i), when ? "holds" : in_sight ? "is in sight" : "is broken",
                      at(limit.met_since),
                      due > now ? " at " + at(due) + " if that lasts" : " comes at once"));
    }
  }

  /// Of the rule with the furthest limit on the air: how long the house leaves people, and what that rests on.
  void say_danger() {
    for (const Limit::Side side : {Limit::Side::high, Limit::Side::low}) {
      const auto danger = watch_.danger(rule_.house, side);
      if (!danger || danger->rule != rule_.name || rule_.probe || danger->by == "unknown") continue;
      if (danger->minutes && *danger->minutes <= 0) continue;  // it is there, as the limit's own sentence says
      const std::string cause = side == Limit::Side::high ? "If the fans stay off" : "If the heaters stay off";
      if (danger->minutes) {
        say(fmt::format("{}, the air is at {} by {}.", cause, in_unit(danger->limit), at(watch_.now() + Duration(std::llround(*danger->minutes * 60'000)))));
      } else {
        say(fmt::format("{}, the air stays inside {} for 12 h or more.", cause, in_unit(danger->limit)));
      }
      for (const std::string& sentence : danger->taken) say(sentence);
    }
  }

  [[nodiscard]] std::string name_of(std::size_t i) const {
    const Limit& limit = rule_.limits[i];
    if (limit.side == Limit::Side::when) return "Its condition";
    const std::string side = limit.side == Limit::Side::low ? "low" : "high";
    const std::string value = known(sight_.limits[i]) ? " of " + in_unit(sight_.limits[i]) : "";
    return fmt::format("The {} limit{}", side, value);
  }

  [[nodiscard]] std::string in_unit(double canonical) const {
    return to_a_tenth(shown_in(rule_.unit, rules_.farm.units), canonical);
  }

  /// By the engine's own memory: it was told apart at the last evaluation.
  [[nodiscard]] bool condition_known() const { return state_.unknown_since == kNever; }

  [[nodiscard]] std::optional<Alarm> alarm_of() const {
    const std::string probe = rule_.probe ? rules_.probes[*rule_.probe].name : "";
    std::optional<Alarm> found;
    for (const auto& [id, alarm] : watch_.alarms()) {
      const bool same = alarm.subject == Alarm::Subject::condition && alarm.rule == rule_.name &&
                        alarm.probe == probe && alarm.house == rules_.houses[rule_.house].name;
      if (same) found = alarm;
    }
    return found;
  }

  [[nodiscard]] json limits() const {
    json all = json::array();
    for (std::size_t i = 0; i < rule_.limits.size(); ++i) {
      const Limit& limit = rule_.limits[i];
      if (limit.side == Limit::Side::when) continue;
      all.push_back({{"side", limit.side == Limit::Side::low ? "low" : "high"},
                     {"priority", to_string(limit.priority)},
                     {"limit", number(sight_.limits[i], rule_.unit)},
                     {"active", i < state_.limits.size() && state_.limits[i].active}});
    }
    return all;
  }

  [[nodiscard]] json probes() const {
    json all = json::array();
    for (const std::size_t probe : watch_.engine().probes_of(index_)) {
      const Series& series = watch_.engine().series(probe);
      const auto age = waits_for(probe);
      json line{
          {"probe", rules_.measures[rules_.probes[probe].measure].name + "/" + rules_.probes[probe].name},
          {"value", series.ever_good() ? json(series.last_value()) : json(nullptr)},
          {"unit", rules_.probes[probe].quality.unit.text},
          {"state", rules_.probes[probe].quality.kind == MeasureKind::state},
          {"age_s", nullptr},
          {"usable", series.usable(watch_.now())},
          {"counts", !age},
          {"text", age ? not_counted_until(rules_.flocks[*rule_.flock], rules_.farm.zone, *age) : trouble_of(series)}};
      if (series.ever_good()) line["age_s"] = seconds_of(watch_.now() - series.last_good());
      all.push_back(std::move(line));
    }
    return all;
  }

  /// For the rule's own flock; a pack of the farm looks at all probes.
  [[nodiscard]] std::optional<Duration> waits_for(std::size_t probe) const {
    return rule_.flock ? rules_.flocks[*rule_.flock].waits_for(probe, watch_.wall()) : std::nullopt;
  }

  [[nodiscard]] std::string trouble_of(const Series& series) const {
    if (!series.ever_good()) return "no good reading yet";
    if (!series.fresh(watch_.now())) {
      return fmt::format("no good reading since {}; one holds for {}", at(series.last_good()), to_words(series.measure().stale_after));
    }
    return series.flat() ? "exactly one value for too long to be believed" : "";
  }

  Watch& watch_;
  const RuleSet& rules_;
  std::size_t index_;
  const WatchedRule& rule_;
  const RuleState& state_;
  Sight sight_;
  std::vector<std::string> sentences_;
};

}  // namespace

json explain_now(Watch& watch, std::size_t rule) {
  return Explainer(watch, rule).run();
}

}  // namespace underwing
