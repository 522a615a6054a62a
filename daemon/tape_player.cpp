#include "daemon/tape_player.hpp"

#include <algorithm>
#include <charconv>
#include <cmath>

namespace underwing {

TapePlayer::TapePlayer(Watch& watch, const RuleSet& rules) : watch_(watch), rules_(rules), intake_(rules), newest_(rules.probes.size(), Instant(Duration::min())) {}

Instant TapePlayer::time_of(std::string_view line) {
  const auto pack = parser_.parse(line, watch_.now());
  Instant latest = watch_.now();
  if (!pack.ok()) return latest;
  for (const SenmlRecord& record : pack->records) latest = std::max(latest, record.time);
  for (const SenmlRemark& remark : pack->remarks) latest = std::max(latest, remark.time);
  return latest;
}

Instant TapePlayer::time_of(const TapeLine& line) {
  return line.reading ? std::max(watch_.now(), line.reading->time) : time_of(line.text);
}

bool TapePlayer::play(const TapeLine& line) {
  if (!line.reading) return play(line.text);
  play_reading(*line.reading);
  return true;
}

bool TapePlayer::play(std::string_view line) {
  const auto pack = parser_.parse(line, watch_.now());
  if (!pack.ok()) {
    ++not_understood_;
    return false;
  }
  for (const SenmlRemark& remark : pack->remarks) play_mark(remark.name, remark.text, remark.time);
  for (const SenmlRecord& record : pack->records) play_reading(record);
  return true;
}

void TapePlayer::play_reading(const SenmlRecord& record) {
  if (record.name == kMarkWall) {
    watch_.advance(record.time);
    watch_.clock(Duration(std::llround(record.value * 1000.0)));
    return;
  }
  const auto reading = intake_.read(record);
  if (!reading) return;
  ++readings_;
  note_age(reading->probe, record);
  watch_.reading(reading->probe, record.time, reading->value);
}

void TapePlayer::note_age(std::size_t probe, const SenmlRecord& record) {
  // What people count or weigh is kept for the day to which it belongs, however late they say it.
  const MeasureKind kind = rules_.probes[probe].quality.kind;
  if (kind == MeasureKind::tally || kind == MeasureKind::round || kind == MeasureKind::sample) return;
  if (record.time >= newest_[probe]) {
    newest_[probe] = record.time;
    return;
  }
  if (late_.count++ > 0) return;
  late_.first_name = record.name;
  late_.first_time = record.time;
}

void TapePlayer::play_mark(std::string_view name, std::string_view text, Instant time) {
  if (name == kMarkClock) {
    watch_.advance(time);
  } else if (name == kMarkResume) {
    std::int64_t wall_ahead = 0;
    const bool said = std::from_chars(text.data(), text.data() + text.size(), wall_ahead).ec == std::errc();
    watch_.resume(time, said ? std::optional(Duration(wall_ahead)) : std::nullopt);
  } else if (name == kMarkWork) {
    const std::size_t space = text.find(' ');
    if (space == std::string_view::npos) return;
    const auto house = rules_.find_house(text.substr(0, space));
    std::int64_t until = 0;
    const char* const rest = std::from_chars(text.data() + space + 1, text.data() + text.size(), until).ptr;
    std::string_view who = text.substr(static_cast<std::size_t>(rest - text.data()));
    if (!who.empty()) who.remove_prefix(1);
    if (!house) return;
    watch_.advance(time);
    watch_.work(*house, Instant(Duration(until)), std::string(who));
  }
}

}  // namespace underwing
