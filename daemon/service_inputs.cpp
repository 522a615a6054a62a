// Service: what comes in from plugins and from the clock.
#include <fmt/format.h>
#include <spdlog/spdlog.h>

#include <algorithm>

#include "daemon/json_text.hpp"
#include "daemon/plugin_messages.hpp"
#include "daemon/service_impl.hpp"
#include "daemon/ways.hpp"

namespace underwing {

namespace {

using namespace std::chrono_literals;

constexpr Duration kAheadMax = 2min;
constexpr Duration kStepGuard = 20s;

bool does(const PluginStatus& status, std::string_view what) {
  return std::find(status.does.begin(), status.does.end(), what) != status.does.end();
}

}  // namespace

void Service::Impl::on_reading(const std::string&, const SenmlRecord& record) {
  if (stopping) return;
  const auto reading = intake->read(record);
  if (!reading) return;
  Instant time = record.time;
  if (options.time_from_readings) {
    if (!record.timed) time = watch->now();
    if (!opened && time != Instant{}) {
      recorder->begin(time, Duration::zero());
      for (const PluginStatus& status : plugins->statuses()) on_state(status);
      for (const std::string& line : Story::opening(*watch)) {
        Effect effect;
        effect.kind = Effect::Kind::story;
        effect.time = watch->now();
        effect.json = line;
        tell_story(effect);
      }
      opened = true;
    }
  } else {
    const EngineClock::Reading& now = turn_clock;
    if (!record.timed || now.stamp_readings()) time = now.engine;
    if (time > now.engine + kAheadMax) {
      ++refused_ahead;
      return;
    }
  }
  keep_minute(reading->probe, time, reading->value);
  recorder->reading(reading->probe, time, reading->value);
  apply();
}

void Service::Impl::on_message(const std::string& plugin, const std::string& method, const nlohmann::json& params) {
  if (method == "receipt" && params.is_object() && another_path(plugin, params)) return;
  const auto entry = std::find_if(rules->farm.plugins.begin(), rules->farm.plugins.end(), [&](const PluginEntry& p) { return p.name == plugin; });
  const bool may_name = entry != rules->farm.plugins.end() && may_name_people(*entry);
  if (const auto said = take_message(*watch, plugin, method, params, may_name ? Watch::MayName::yes : Watch::MayName::no)) {
    if (said->ok) health.erase(plugin);
    else health[plugin] = said->text;
    watch->plugin(plugin, said->ok, said->text);
  }
  if (method == "hello") {  // what stands is published to those who ask for it
    for (const auto& [id, alarm] : watch->alarms()) publish(alarm);
  }
  apply();
  settle_step();
}

void Service::Impl::on_state(const PluginStatus& status) {
  if (stopping || !watch) return;
  const bool up = status.state == PluginState::ready;
  if (!up) health.erase(status.name);
  watch->plugin(status.name, up && !health.contains(status.name), up ? "" : status.text);
  if (!options.time_from_readings) log(fmt::format("{}: {}{}", status.name, to_string(status.state), status.text.empty() ? "" : ", " + status.text));
  apply();
}

EngineClock::Reading Service::Impl::read_clock() {
  const EngineClock::Reading reading = clock->read();
  if (reading.jumped) {
    clock->told(*reading.jumped);
    recorder->clock(*reading.jumped);
    apply();
  }
  return reading;
}

void Service::Impl::on_request(const std::string& plugin, const nlohmann::json& id, const std::string& method,
                               const nlohmann::json& params) {
  if (method == "reply") {
    on_message(plugin, method, params);
    untold.push_back({submitted, plugin, id});
    return tell_taken();
  }
  const auto time = params.find("time");
  if (method != "step" || !options.time_from_readings || time == params.end() || !time->is_number() || step) {
    plugins->respond(plugin, id, nlohmann::json::object());
    return;
  }
  recorder->advance(Instant(Duration(static_cast<std::int64_t>(time->get<double>() * 1000.0))));
  step = Step{plugin, id, params, false, {}};
  step_guard.after(kStepGuard, [this] {
    log("A step was not settled in time; it goes on without.");
    for (const Delivery& delivery : watch->open_deliveries()) watch->receipt(delivery.id, Delivery::Outcome::failed, "no receipt");
    if (step) step->open.clear();
    apply();
    settle_step();
  });
  apply();
  settle_step();
}

void Service::Impl::on_answer(const std::string& plugin, std::uint64_t id, const nlohmann::json& result) {
  if (const auto beat = beats.find({plugin, id}); beat != beats.end()) {
    const auto answered = result.find("answered");
    const bool heard = answered != result.end() && answered->is_boolean() && answered->get<bool>();
    watch->heartbeat(beat->second, heard, text_of(result, heard || result.contains("text") ? "text" : "message"));
    beats.erase(beat);
    apply();
  }
  if (step) step->open.erase({plugin, id});
  settle_step();
}

/// A step is settled when the journal has everything, nobody waits for a receipt, and every plugin that takes
/// steps has done what it does up to then.
void Service::Impl::settle_step() {
  if (!step || !batches.empty() || !watch->open_deliveries().empty()) return;
  if (!step->asked) {
    step->asked = true;
    for (const PluginStatus& status : plugins->statuses()) {
      if (status.name == step->plugin || !does(status, "step")) continue;
      const std::uint64_t id = plugins->request(status.name, "step", step->params);
      if (id != 0) step->open.emplace(status.name, id);
    }
  }
  if (!step->open.empty()) return;
  step_guard.cancel();
  const Step settled = std::move(*step);
  step.reset();
  plugins->respond(settled.plugin, settled.id, nlohmann::json::object());
}

}  // namespace underwing
