#include "tests/reference/brute_force.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <set>

#include "tests/reference/plain_rule.hpp"

namespace underwing {
namespace {

using namespace reference;

/// Order and time: what is evaluated when.
class Run {
 public:
  explicit Run(const RuleSet& rules) : rules_(rules), known_(rules) {
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
    const std::string before = series.failed_test();
    if (!series.take(reading.time, reading.value)) return;
    const std::string after = series.failed_test();
    if (after != before) tell_quality(reading.probe, after);
    for (std::size_t i = 0; i < states_.size(); ++i) {
      if (needed_[i].contains(reading.probe)) states_[i].evaluate(known_, {}, events_);
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
    if (whole_minute) work_out_slopes();
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

  void tell_quality(std::size_t probe, const std::string& test) {
    const Probe& it = rules_.probes[probe];
    ReferenceEvent event;
    event.time = known_.now;
    event.event = test.empty() ? "accepted" : "rejected";
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
