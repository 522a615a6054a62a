#include "tests/watch/bench.hpp"

#include <fmt/format.h>

#include <nlohmann/json.hpp>
#include <stdexcept>

#include "daemon/json_text.hpp"

namespace underwing {

namespace {

using namespace std::chrono_literals;

std::string clock_of(Instant time) {
  return to_rfc3339(time).substr(11, 8);
}

}  // namespace

FarmTexts::FarmTexts()
    : farm(R"(format: 1
farm: Sandpiper Hollow
time_zone: Europe/London
houses:
  house-1:
    probes:
      air_temperature: [north, south]
      relative_humidity: [centre]
  house-2:
    probes:
      air_temperature: [east]
plugins:
  climate: {run: mqtt, settings: {broker: "mqtt://127.0.0.1:1883"}}
  modem: {run: print}
people:
  ines:  {text: "+44 7700 900101", call: "+44 7700 900101", mail: ines@example.org, away: 10 min}
  tomas: {text: "+44 7700 900102", call: "+44 7700 900102", away: 25 min}
  maud:  {text: "+44 7700 900103"}
duty:
  - {who: ines, days: Mon-Fri, from: "20:00", to: "08:00"}
  - {who: tomas}
call_out:
  urgent:
    - {after: 0 min, tell: on-duty, by: [text, call]}
    - {after: 3 min, tell: [ines, tomas], by: text}
    - {after: 6 min, tell: everyone, by: text, then_every: 5 min}
  soon:
    hours: 05:30-21:30
    steps:
      - {after: 0 min, tell: on-duty, by: text}
      - {after: 60 min, tell: everyone, by: text, then_every: 2 h}
  note: {daily: "06:30", tell: on-duty, by: text}
evening_check: "21:00"
packs: [yard]
)"),
      flock(R"(format: 1
flock: spring-1
house: house-1
placed: 2026-03-02 09:30
birds: 17000
chick_weight: 42 g
packs: [climate]
)"),
      pack(R"(format: 1
pack: climate
curves:
  air_target: {unit: °C, points: {0 d: 33, 10 d: 28}, source: invented}
rules:
  cold-air:
    about: Air colder than chicks can bear
    watch: median(air_temperature)
    low: air_target - 2 K
    on_delay: 5 min
    off_delay: 10 min
    priority: urgent
    respond_within: 20 min
    blind_after: 3 min
    do: Look at the chicks first. Then gas, heaters, curtains.
  damp-air:
    about: Air too damp
    watch: relative_humidity
    limits:
      - {high: 70 %, priority: note}
      - {high: 75 %, priority: soon}
      - {high: 90 %, priority: urgent}
    on_delay: 1 min
    respond_within: 4 h
    do: Air the house.
)"),
      yard(R"(format: 1
pack: yard
rules:
  hot-air:
    about: Air too hot
    watch: median(air_temperature)
    high: 40 °C
    on_delay: 1 min
    off_delay: 1 min
    priority: urgent
    respond_within: 30 min
    blind_after: 5 min
    do: Open everything.
)") {}

void FarmTexts::change(std::string& text, const std::string& from, const std::string& to) {
  const std::size_t place = text.find(from);
  if (place == std::string::npos) throw std::logic_error("no such line: " + from);
  text.replace(place, from.size(), to);
}

FarmFiles FarmTexts::files() const {
  return {"farm.yaml",
          farm,
          {{"flocks/spring-1.yaml", flock}},
          {{"rules/climate.yaml", pack}, {"rules/yard.yaml", yard}},
          {}};
}

std::shared_ptr<const RuleSet> FarmTexts::load() const { return load_or_throw(files()); }

std::shared_ptr<const RuleSet> load_or_throw(const FarmFiles& files) {
  const Loaded loaded = load_farm(files, bench_zone);
  if (loaded.ok()) return loaded.rules;
  std::string text;
  for (const Issue& issue : loaded.issues)
    text += fmt::format("{}:{}: {}\n", issue.file, issue.line, issue.text);
  throw std::logic_error(text);
}

std::optional<Zone> bench_zone(const std::string& name) {
  if (name == "UTC") return Zone{};
  if (name != "Europe/London") return std::nullopt;
  const auto at_one = [](unsigned month, unsigned day) {
    return Instant(
        std::chrono::sys_days(std::chrono::year(2026) / std::chrono::month(month) / std::chrono::day(day)) +
        1h);
  };
  Zone zone;
  zone.name = name;
  zone.periods = {
      {Instant(Duration::min()), 0h, "GMT"}, {at_one(3, 29), 1h, "BST"}, {at_one(10, 25), 0h, "GMT"}};
  return zone;
}

Instant march(unsigned day, int hour, int minute, int second) {
  return std::chrono::sys_days(std::chrono::year(2026) / 3 / std::chrono::day(day)) +
         std::chrono::hours(hour) + std::chrono::minutes(minute) + std::chrono::seconds(second);
}

Bench::Bench(std::shared_ptr<const RuleSet> rules, Instant begin)
    : watch_(std::make_unique<Watch>(rules)), now_(begin) {
  for (std::size_t probe = 0; probe < rules->probes.size(); ++probe) {
    const Measure& measure = rules->probes[probe].quality;
    if (measure.kind == MeasureKind::tally || measure.kind == MeasureKind::round || measure.kind == MeasureKind::sample) continue;
    readings_[rules->full_name(probe)] = measure.name == "relative_humidity" ? 60 : 33;
  }
  watch_->begin(begin);
  watch_->plugin("climate", true, "");
  watch_->plugin("modem", true, "");
  run(Duration(1));
}

void Bench::set(const std::string& probe, double value) {
  if (!watch_->rules().find_probe(probe)) throw std::logic_error("no probe " + probe);
  readings_[probe] = value;
}

void Bench::silence(const std::string& probe) {
  readings_.erase(probe);
}

void Bench::silence_house(const std::string& house) {
  std::erase_if(readings_, [&](const auto& entry) { return entry.first.starts_with(house + "/"); });
}

void Bench::air(double value) {
  set("house-1/air_temperature/north", value);
  set("house-1/air_temperature/south", value);
}

void Bench::run_to(Instant until) {
  for (Instant minute = ceil_minute(now_); minute <= until; minute += 1min) {
    for (const auto& [name, value] : readings_) {
      const auto probe = watch_->rules().find_probe(name);
      if (!probe) continue;
      // Second by second, as time passes in service: receipts come before the next step.
      for (Instant due = watch_->next_due(); due < minute; due = watch_->next_due()) {
        watch_->advance(due + Duration(1));
        settle();
      }
      watch_->reading(*probe, minute, value);
      history_.push_back({name, minute, value});
      settle();
    }
  }
  for (Instant due = watch_->next_due(); due <= until; due = watch_->next_due()) {
    watch_->advance(due + Duration(1));
    settle();
  }
  now_ = std::max(until, watch_->now());
  watch_->advance(now_);
  settle();
}

std::unique_ptr<Watch> Bench::restored(const std::string& snapshot, std::shared_ptr<const RuleSet> rules) {
  auto watch = std::make_unique<Watch>(rules);
  const Instant kept = Watch::snapshot_time(snapshot);
  watch->begin(kept - 2h);
  for (const Watch::Entered& entered : Watch::snapshot_entries(snapshot)) {
    const auto probe = rules->find_probe(entered.probe);
    if (probe) watch->reading(*probe, entered.time, entered.value);
  }
  for (const Reading& reading : history_) {
    const auto probe = rules->find_probe(reading.probe);
    if (probe && reading.time >= kept - 2h && reading.time <= kept)
      watch->reading(*probe, reading.time, reading.value);
  }
  watch->advance(kept);
  watch->forget_effects();
  if (!watch->restore(snapshot)) throw std::logic_error("the snapshot does not fit");
  return watch;
}

void Bench::restart(const std::string& snapshot, Duration outage, std::shared_ptr<const RuleSet> rules) {
  if (!rules) rules = watch_->engine().shared_rules();
  watch_ = restored(snapshot, std::move(rules));
  now_ += outage;
  watch_->resume(now_);
  for (const char* plugin : {"climate", "modem"}) {
    watch_->plugin(plugin, false, "starting");
    watch_->plugin(plugin, true, "");
  }
  for (const Delivery& delivery : watch_->open_deliveries()) {
    deliveries_.push_back(delivery);
    const Delivery::Outcome became = outcome(delivery);
    if (became != Delivery::Outcome::open) watch_->receipt(delivery.id, became, "");
  }
  settle();
}

void Bench::settle() {
  for (auto effects = watch_->take_effects(); !effects.empty(); effects = watch_->take_effects()) {
    for (Effect& effect : effects) {
      if (effect.kind == Effect::Kind::delivery && effect.delivery->outcome == Delivery::Outcome::open) {
        deliveries_.push_back(*effect.delivery);
        const Delivery::Outcome became = outcome(*effect.delivery);
        if (became != Delivery::Outcome::open) watch_->receipt(effect.delivery->id, became, "");
      }
      if (effect.kind == Effect::Kind::heartbeat) watch_->heartbeat(effect.time, heard_outside, heard_outside ? "" : "no connection");
      effects_.push_back(std::move(effect));
    }
  }
}

void Bench::reply(const std::string& who, const std::string& text) {
  std::string from = who;
  for (const Person& person : watch_->rules().farm.people) {
    if (person.name == who) from = person.addresses.at(Way::text);
  }
  watch_->reply(from, "text", text);
  settle();
}

std::string Bench::told(bool with_texts) {
  std::string lines;
  for (const Delivery& delivery : deliveries_) {
    lines += fmt::format("{} {} {} {}", clock_of(delivery.queued), delivery.who, to_string(delivery.way),
                         delivery.step);
    if (with_texts) lines += " " + delivery.text;
    lines += '\n';
  }
  deliveries_.clear();
  return lines;
}

std::vector<std::string> Bench::texts() {
  std::vector<std::string> texts;
  for (const Delivery& delivery : deliveries_) texts.push_back(delivery.text);
  deliveries_.clear();
  return texts;
}

std::string Bench::events() {
  std::string lines;
  for (; events_seen_ < effects_.size(); ++events_seen_) {
    const Effect& effect = effects_[events_seen_];
    if (effect.kind != Effect::Kind::event) continue;
    const auto event = nlohmann::json::parse(effect.json);
    const std::string kind = text_of(event, "event");
    if (kind == "told") continue;
    lines += clock_of(effect.time) + " " + kind;
    for (const char* key : {"rule", "series", "what", "reason", "who"}) {
      if (const std::string text = text_of(event, key); !text.empty()) lines += " " + text;
    }
    lines += '\n';
  }
  return lines;
}

const Alarm& Bench::alarm(const std::string& rule) {
  for (const auto& [id, alarm] : watch_->alarms()) {
    if (alarm.rule == rule) return alarm;
  }
  throw std::logic_error("no alarm " + rule);
}

bool Bench::has_alarm(const std::string& rule) const {
  for (const auto& [id, alarm] : watch_->alarms()) {
    if (alarm.rule == rule) return true;
  }
  return false;
}

}  // namespace underwing
