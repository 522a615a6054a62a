#include "daemon/recorder.hpp"

#include <fmt/format.h>

#include "daemon/senml.hpp"
#include "daemon/tape_player.hpp"

namespace underwing {

namespace {

/// SenML's word for a unit; none where it has no word that means the same number: then it is the measure's own.
std::optional<std::string_view> senml_unit_of(const Unit& unit) {
  if (unit.text.empty()) return std::nullopt;
  if (unit.text == "°C") return "Cel";
  if (unit.text == "%") return "%RH";  // "%" itself is a ratio in SenML
  const auto source = parse_senml_unit(unit.text);
  const auto one = source ? convert(1.0, *source, unit) : std::nullopt;
  return one && *one == 1.0 ? std::optional<std::string_view>(unit.text) : std::nullopt;
}

}  // namespace

Recorder::Recorder(Watch& watch, Write write) : watch_(watch), write_(std::move(write)) {}

void Recorder::write(std::string_view line) { write_(line, watch_.now()); }

void Recorder::mark_time() {
  const Instant now = watch_.now();
  if (now <= taped_ || now == Instant{}) return;
  taped_ = now;
  line_.clear();
  append_senml_mark(line_, kMarkClock, now);
  write(line_);
}

void Recorder::begin(Instant now, Duration wall_ahead) {
  watch_.begin(now);
  mark_time();
  if (wall_ahead != Duration::zero()) clock(wall_ahead);
}

void Recorder::resume(Instant now, Duration wall_ahead) {
  watch_.resume(now, wall_ahead);
  taped_ = watch_.now();
  line_.clear();
  append_senml_mark(line_, kMarkResume, watch_.now(), std::to_string(wall_ahead.count()));
  write(line_);
}

void Recorder::learn_names() {
  const RuleSet& rules = watch_.rules();
  names_of_ = rules.hash;
  names_.clear();
  for (std::size_t probe = 0; probe < rules.probes.size(); ++probe) {
    const auto unit = senml_unit_of(rules.probes[probe].quality.unit);
    names_.push_back({rules.full_name(probe), unit ? std::optional<std::string>(*unit) : std::nullopt});
  }
}

void Recorder::reading(std::size_t probe, Instant time, double value) {
  if (write_reading(probe, time, value)) watch_.reading(probe, time, value);
}

bool Recorder::write_reading(std::size_t probe, Instant time, double value) {
  if (watch_.now() > time) mark_time();
  if (names_of_ != watch_.rules().hash || names_.size() != watch_.rules().probes.size()) learn_names();
  line_.clear();
  SenmlRecord record;
  record.name = names_[probe].name;
  record.unit = names_[probe].unit;
  record.value = value;
  record.time = time;
  record.timed = true;
  if (!append_senml(line_, record)) return false;  // not finite: no reading
  taped_ = std::max(taped_, time);
  write(line_);
  return true;
}

void Recorder::clock(Duration wall_ahead) {
  mark_time();
  write(fmt::format(R"([{{"n":"{}","t":{:.3f},"v":{:.3f}}}])", kMarkWall, seconds_of(watch_.now().time_since_epoch()),
                    seconds_of(wall_ahead)));
  watch_.clock(wall_ahead);
}

void Recorder::entry(const Effect::Entry& entry) {
  if (entry.probe) {
    static_cast<void>(write_reading(*entry.probe, entry.time, entry.value));
    return;
  }
  mark_time();
  line_.clear();
  const std::string text =
      fmt::format("{} {} {}", watch_.rules().houses[entry.house].name, entry.until.time_since_epoch().count(), entry.who);
  append_senml_mark(line_, kMarkWork, watch_.now(), text);
  write(line_);
}

}  // namespace underwing
