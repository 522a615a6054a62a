// Service: what the watch wants done. The journal has it first; then channels and publications.
#include <fmt/format.h>
#include <spdlog/spdlog.h>

#include <algorithm>
#include <fstream>

#include "daemon/json_text.hpp"
#include "daemon/plots.hpp"
#include "daemon/service_impl.hpp"
#include "daemon/ways.hpp"

namespace underwing {

namespace {

constexpr Duration kBeatForgotten = std::chrono::minutes(10);

AlarmRow to_row(const Alarm& alarm, const nlohmann::json& detail) {
  AlarmRow row;
  row.id = alarm.id;
  row.code = alarm.code;
  row.house = alarm.house;
  row.rule = alarm.rule;
  row.probe = alarm.probe;
  row.state = to_string(alarm.life.state());
  row.priority = to_string(alarm.priority);
  row.raised = alarm.raised;
  row.returned = alarm.returned;
  row.json = detail.dump();
  return row;
}

}  // namespace

void Service::Impl::apply() {
  std::vector<Effect> effects = watch->take_effects();
  if (effects.empty()) return;
  JournalTransaction transaction;
  Batch batch;
  batch.number = ++batch_count;
  batch.since = std::chrono::steady_clock::now();
  std::optional<Effect> beat;
  for (const Effect& effect : effects) {
    tell_story(effect);
    switch (effect.kind) {
      case Effect::Kind::event: {
        const auto event = nlohmann::json::parse(effect.json, nullptr, false);
        transaction.rows.emplace_back(EventRow{++ids.event, effect.time, text_of(event, "event"), text_of(event, "house"),
                                               text_of(event, "rule"), effect.json});
        break;
      }
      case Effect::Kind::alarm:
        transaction.rows.emplace_back(to_row(*effect.alarm, alarm_json(*effect.alarm)));
        batch.alarms.push_back(*effect.alarm);
        break;
      case Effect::Kind::delivery: {
        const Delivery& delivery = *effect.delivery;
        const nlohmann::json detail = {{"to", delivery.to}, {"text", delivery.text}, {"codes", delivery.codes},
                                       {"step", delivery.step}, {"path", delivery.path}, {"note", effect.json}};
        transaction.rows.emplace_back(DeliveryRow{delivery.id, delivery.queued, delivery.who, to_string(delivery.way),
                                                  to_string(delivery.outcome), detail.dump()});
        if (delivery.outcome == Delivery::Outcome::open) batch.deliveries.push_back(delivery);
        break;
      }
      case Effect::Kind::answer: {
        const auto answer = nlohmann::json::parse(effect.json, nullptr, false);
        transaction.rows.emplace_back(AnswerRow{++ids.answer, effect.time, text_of(answer, "who"), text_of(answer, "by"),
                                                text_of(answer, "text"), effect.json});
        break;
      }
      case Effect::Kind::entry: {
        const Effect::Entry& entry = *effect.entry;
        recorder->entry(entry);
        if (!entry.probe) break;
        keep_minute(*entry.probe, entry.time, entry.value);
        transaction.rows.emplace_back(RoundRow{++ids.round, entry.time, rules->houses[entry.house].name, rules->probes[*entry.probe].quality.name,
                                               entry.value, entry.who, "{}"});
        break;
      }
      case Effect::Kind::story: break;
      case Effect::Kind::heartbeat: beat = effect; break;
    }
  }
  // Of several, as after the tape was taken back, the newest alone is a sign of life.
  if (beat) send_heartbeat(*beat);
  if (transaction.rows.empty()) return;
  transaction.rows.emplace_back(SnapshotRow{watch->now(), watch->snapshot()});
  const std::uint64_t number = batch.number;
  submitted = number;
  transaction.done = [this, number](const Result<void>& result) {
    if (result.ok()) written = number;
    tell_taken();
    hand_over(number);
    settle_step();
  };
  batches.push_back(std::move(batch));
  journal->submit(std::move(transaction));
}

void Service::Impl::hand_over(std::uint64_t number) {
  const auto found = std::find_if(batches.begin(), batches.end(), [&](const Batch& batch) { return batch.number == number; });
  if (found == batches.end()) return;  // the disk took longer than people can wait; it was handed over then
  const Batch batch = std::move(*found);
  batches.erase(found);
  for (const Alarm& alarm : batch.alarms) publish(alarm);
  for (const Delivery& delivery : batch.deliveries) hand(delivery);
}

void Service::Impl::tell_taken() {
  for (; plugins && !untold.empty() && untold.front().batch <= written; untold.pop_front()) {
    plugins->respond(untold.front().plugin, untold.front().id, nlohmann::json::object());
  }
}

void Service::Impl::hand(const Delivery& delivery) {
  if (hand_on(delivery, "")) return;
  watch->receipt(delivery.id, Delivery::Outcome::failed, fmt::format("no plugin that is up carries {}", to_string(delivery.way)));
  apply();
}

/// Hands it to the next plugin after `after` that carries its way and is up. False: there is none.
bool Service::Impl::hand_on(const Delivery& delivery, const std::string& after) {
  nlohmann::json params = {{"delivery", delivery.id}, {"to", delivery.to}, {"by", to_string(delivery.way)},
                           {"text", delivery.text}, {"who", delivery.who}, {"priority", to_string(delivery.priority)},
                           {"codes", delivery.codes}};
  if (delivery.plotted) params["plots"] = plots(*watch, *delivery.plotted, watch->language_of(delivery.who));
  const auto statuses = plugins->statuses();
  const auto usable = [&](const PluginEntry& entry) {
    const std::vector<Way> ways = ways_of(entry);
    if (std::find(ways.begin(), ways.end(), delivery.way) == ways.end() || health.contains(entry.name)) return false;
    const auto status = std::find_if(statuses.begin(), statuses.end(), [&](const PluginStatus& s) { return s.name == entry.name; });
    return status != statuses.end() && (status->state == PluginState::ready || status->state == PluginState::started);
  };
  bool passed = after.empty();
  for (const PluginEntry& entry : rules->farm.plugins) {
    const bool may = delivery.only_path.empty() || delivery.only_path == entry.name;
    if (passed && may && usable(entry) && plugins->deliver(entry.name, delivery.id, params)) {
      watch->handed(delivery.id, entry.name);
      return true;
    }
    passed = passed || entry.name == after;
  }
  return false;
}

/// A plugin could not deliver: another one that carries the same way is tried before the step has failed. True: it has it.
bool Service::Impl::another_path(const std::string& plugin, const nlohmann::json& params) {
  if (text_of(params, "outcome") != "failed") return false;
  const std::vector<Delivery> open = watch->open_deliveries();
  const auto found = std::find_if(open.begin(), open.end(), [&](const Delivery& delivery) { return delivery.id == text_of(params, "delivery"); });
  return found != open.end() && found->path == plugin && hand_on(*found, plugin);
}

/// Where time is the readings' time there is no life to give a sign of.
void Service::Impl::send_heartbeat(const Effect& effect) {
  if (options.time_from_readings || !plugins || !rules->farm.heartbeat) return watch->heartbeat(effect.time, options.time_from_readings, "");
  const Heartbeat& heartbeat = *rules->farm.heartbeat;
  nlohmann::json params = {{"to", heartbeat.to}, {"says", nlohmann::json::parse(effect.json, nullptr, false)}};
  std::erase_if(beats, [&](const auto& beat) { return effect.time - beat.second > kBeatForgotten; });
  const std::uint64_t id = plugins->request(heartbeat.over, "heartbeat", params);
  if (id != 0) beats[{heartbeat.over, id}] = effect.time;
  else watch->heartbeat(effect.time, false, heartbeat.over + " does not run");
}

void Service::Impl::publish(const Alarm& alarm) {
  const std::string key = alarm.house + "/" + alarm.rule + "/" + alarm.probe + "/" + std::to_string(static_cast<int>(alarm.subject));
  for (const PluginStatus& status : plugins->statuses()) {
    if (std::find(status.does.begin(), status.does.end(), "publish") == status.does.end()) continue;
    plugins->alarm(status.name, key, alarm_json(alarm));
  }
}

void Service::Impl::tell_story(const Effect& effect) {
  const std::string sentence = story->sentence(effect);
  if (sentence.empty()) return;
  const std::string line = fmt::format("{}  {}", story->clock(effect.time + watch->engine().wall_ahead()), sentence);
  log(line);
  if (options.story.empty()) return;
  // What people are told, and what they reply, is shown by the channel that carries it.
  if (effect.kind == Effect::Kind::answer || sentence.find(" is told by ") != std::string::npos) return;
  std::ofstream out(options.story, std::ios::app);
  out << line << '\n';
}

void Service::Impl::keep_minute(std::size_t probe, Instant time, double value) {
  Minute& minute = minutes[probe];
  const Instant begin = floor_minute(time);
  if (minute.count > 0 && begin > minute.begin) flush_minutes(begin);
  Minute& fresh = minutes[probe];
  if (fresh.count == 0) fresh = {begin, value, value, 0, 0};
  fresh.low = std::min(fresh.low, value);
  fresh.high = std::max(fresh.high, value);
  fresh.sum += value;
  ++fresh.count;
}

void Service::Impl::flush_minutes(Instant before) {
  JournalTransaction transaction;
  transaction.droppable = true;
  for (std::size_t probe = 0; probe < minutes.size(); ++probe) {
    Minute& minute = minutes[probe];
    if (minute.count == 0 || minute.begin >= before) continue;
    transaction.rows.emplace_back(MinuteRow{minute.begin, rules->full_name(probe), minute.low, minute.sum / minute.count, minute.high,
                                            minute.count});
    minute.count = 0;
  }
  if (transaction.rows.empty()) return;
  transaction.rows.emplace_back(SnapshotRow{watch->now(), watch->snapshot()});
  if (before != kNever) forget_old(transaction);
  journal->submit(std::move(transaction));
}

}  // namespace underwing
