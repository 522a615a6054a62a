#include "tests/reference/brute_force.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <set>

#include "tests/reference/plain_rule.hpp"

namespace underwing {
namespace {

using namespace reference;

/// Order and time: what is evaluated when.
class Run {
 public:
  explicit Run(const RuleSet& rules) : rules_(rules), known_(rules) {
    suspect_.assign(rules.probes.size(), false);
    told_.assign(rules.probes.size(), "");
    for (const WatchedRule& rule : rules.rules) {
      states_.emplace_back(rules, rule);
      needed_.push_back(probes_needed(rules, rule));
    }
  }

  void begin(Instant time) {
    known_.now = time;
    for (PlainRule& state : states_) state.evaluate(known_, {}, events_);
  }

  /// Works off everything that falls due before `time`, which then is engine time.
  void move_to(Instant time) {
    while (const auto due = next_due()) {
      if (*due >= time) break;
      work_off(*due);
    }
    known_.now = std::max(known_.now, time);
  }

  void finish() {
    while (const auto due = next_due()) {
      if (*due > known_.now) break;
      work_off(*due);
    }
  }

  void take(const ReferenceReading& reading) {
    PlainSeries& series = known_.series[reading.probe];
    if (!series.take(reading.time, reading.value)) return;
    const std::string before = told_[reading.probe];
    const std::string after = counts(reading.probe) ? series.failed_test() : "";
    told_[reading.probe] = after;
    if (after != before) tell_quality(reading.probe, after.empty() ? "accepted" : "rejected", after);
    if (series.last_good() == reading.time) compare_with_siblings(reading);
    for (std::size_t i = 0; i < states_.size(); ++i) {
      if (needed_[i].contains(reading.probe)) states_[i].evaluate(known_, {}, events_);
    }
  }

  void work(std::size_t house, Instant until) {
    known_.work_until[house] = until;
    for (std::size_t i = 0; i < states_.size(); ++i) {
      if (rules_.rules[i].house == house && !rules_.rules[i].even_during_work) states_[i].evaluate(known_, {true, false}, events_);
    }
  }

  [[nodiscard]] std::vector<ReferenceEvent> events() && { return std::move(events_); }
  [[nodiscard]] Instant now() const { return known_.now; }

 private:
  /// An instant at or after now that has not been worked off yet.
  [[nodiscard]] bool ahead(Instant time) const {
    return time >= known_.now && (!worked_off_ || time > *worked_off_);
  }

  [[nodiscard]] std::optional<Instant> next_due() const {
    std::optional<Instant> next;
    const auto offer = [&](Instant time) {
      if (ahead(time) && (!next || time < *next)) next = time;
    };
    offer(ceil_minute(known_.now));
    offer(ceil_minute(known_.now + Duration(1)));
    for (const PlainSeries& series : known_.series) {
      if (const auto last = series.last_good()) offer(*last + series.measure().stale_after);
    }
    for (const PlainRule& state : states_) {
      for (const Instant time : state.dues(known_)) offer(time);
    }
    return next;
  }

  void work_off(Instant time) {
    known_.now = time;
    const bool whole_minute = floor_minute(time) == time;
    std::set<std::size_t> stale;
    for (std::size_t i = 0; i < known_.series.size(); ++i) {
      const auto last = known_.series[i].last_good();
      if (last && *last + known_.series[i].measure().stale_after == time) stale.insert(i);
    }
    std::vector<bool> concerned(states_.size(), whole_minute);
    for (std::size_t i = 0; i < states_.size(); ++i) {
      for (const Instant due : states_[i].dues(known_)) concerned[i] = concerned[i] || due == time;
      for (const std::size_t probe : stale) concerned[i] = concerned[i] || needed_[i].contains(probe);
    }
    if (whole_minute) {
      work_out_slopes();
      work_out_shares();
    }
    for (std::size_t i = 0; i < states_.size(); ++i) {
      if (concerned[i]) states_[i].evaluate(known_, {true, whole_minute}, events_);
    }
    worked_off_ = time;
  }

  void work_out_slopes() {
    for (const WatchedRule& rule : rules_.rules) {
      for (const Expression* part : all_parts(rule)) {
        if (part->kind != Expression::Kind::window || part->function != Expression::Function::slope) continue;
        const auto probes = rules_.houses[rule.house].probes.find(part->measure);
        if (probes == rules_.houses[rule.house].probes.end()) continue;
        for (const std::size_t probe : probes->second) {
          known_.slopes[{probe, part->span}] = known_.series[probe].slope_at(known_.now, part->span);
        }
      }
    }
  }

  void work_out_shares() {
    for (const WatchedRule& rule : rules_.rules) {
      for (const Expression* part : all_parts(rule)) {
        if (part->kind != Expression::Kind::share) continue;
        const auto hours = std::chrono::ceil<std::chrono::hours>(part->children[0]->span).count();
        if (known_.now.time_since_epoch() % std::chrono::minutes(std::max<std::int64_t>(1, hours)) != Duration::zero()) continue;
        known_.shares[{&rule, part}] = PlainEvaluator(known_, rule).share(*part);
      }
    }
  }

  /// For the flock in the house, or the next one there.
  [[nodiscard]] bool counts(std::size_t probe) const {
    const Flock* here = nullptr;
    for (const Flock& flock : rules_.flocks) {
      if (flock.house != rules_.probes[probe].house || (flock.cleared && *flock.cleared <= known_.now)) continue;
      if (here == nullptr || flock.placed < here->placed) here = &flock;
    }
    return here == nullptr || old_enough(*here, probe, known_.now);
  }

  /// Neighbour: further from the median of its usable siblings than `max_apart`. It only marks.
  void compare_with_siblings(const ReferenceReading& reading) {
    const Probe& it = rules_.probes[reading.probe];
    if (!it.quality.max_apart) return;
    std::vector<double> held;
    for (const std::size_t sibling : rules_.houses[it.house].probes.at(it.measure)) {
      if (sibling == reading.probe || !counts(sibling) || !known_.series[sibling].usable(known_.now)) continue;
      if (const auto value = known_.series[sibling].held_at(known_.now)) held.push_back(*value);
    }
    const double value = *known_.series[reading.probe].held_at(reading.time);
    const bool apart = counts(reading.probe) && !held.empty() && below(*it.quality.max_apart, std::abs(value - median_of(held)));
    if (apart == suspect_[reading.probe]) return;
    suspect_[reading.probe] = apart;
    tell_quality(reading.probe, apart ? "suspect" : "accepted", "");
  }

  void tell_quality(std::size_t probe, const char* what, const std::string& test) {
    const Probe& it = rules_.probes[probe];
    ReferenceEvent event;
    event.time = known_.now;
    event.event = what;
    event.house = rules_.houses[it.house].name;
    event.test = test;
    event.series = rules_.measures[it.measure].name + '/' + it.name;
    events_.push_back(std::move(event));
  }

  const RuleSet& rules_;
  Known known_;
  std::vector<PlainRule> states_;
  std::vector<std::set<std::size_t>> needed_;
  std::optional<Instant> worked_off_;
  std::vector<bool> suspect_;      ///< by probe
  std::vector<std::string> told_;  ///< by probe: the test that it was last said to fail
  std::vector<ReferenceEvent> events_;
};

}  // namespace

std::vector<ReferenceEvent> run_reference(const RuleSet& rules, const std::vector<ReferenceInput>& inputs) {
  Run run(rules);
  bool begun = false;
  for (const ReferenceInput& input : inputs) {
    const bool reading = input.kind == ReferenceInput::Kind::reading;
    const Instant time = reading ? input.reading.time : input.time;
    if (!begun) run.begin(time);
    begun = true;
    run.move_to(time);
    if (reading) run.take(input.reading);
    if (input.kind == ReferenceInput::Kind::work) run.work(input.house, input.until);
  }
  if (begun) run.finish();
  return std::move(run).events();
}

std::string to_text(const ReferenceEvent& event) {
  const auto number = [](const std::optional<double>& value) {
    return value ? fmt::format("{:.10g}", *value) : "-";
  };
  std::string text = fmt::format("{} {} {} {}{}", to_rfc3339(event.time), event.event, event.house,
                                 event.rule, event.series);
  if (event.probe) text += fmt::format(" probe {}", *event.probe);
  if (event.priority) text += fmt::format(" {}", to_string(*event.priority));
  if (!event.test.empty()) text += fmt::format(" [{}]", event.test);
  if (!event.reason.empty()) text += fmt::format(" {}", event.reason);
  return text + fmt::format(" value {} limit {}", number(event.value), number(event.limit));
}

}  // namespace underwing
