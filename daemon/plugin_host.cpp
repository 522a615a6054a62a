#include "daemon/plugin_host.hpp"

#include <algorithm>
#include <csignal>
#include <cstdlib>
#include <deque>
#include <map>

#include <nlohmann/json.hpp>

#include "daemon/supervised_plugin.hpp"

namespace underwing {

using nlohmann::json;
using PluginPtr = std::shared_ptr<SupervisedPlugin>;

std::string plugin_program(const std::string& run, const std::filesystem::path& farm_folder) {
  if (run.find('/') != std::string::npos) return (std::filesystem::absolute(farm_folder) / run).lexically_normal();
  std::filesystem::path folder = UNDERWING_BUILD_PLUGINS;
  std::error_code code;
  if (const char* named = std::getenv("UNDERWING_PLUGINS"); named != nullptr && *named != '\0') folder = named;
  else if (!std::filesystem::is_directory(folder, code)) folder = UNDERWING_INSTALLED_PLUGINS;
  return folder / ("underwing-" + run);
}

struct PluginHost::Impl : std::enable_shared_from_this<Impl> {
  struct Call {
    std::string method;  ///< of a request; an answer has none
    json id, body;
    bool is_answer = false;
  };
  /// What keeps its place in a plugin's stream: a reading, a request, or an answer.
  struct Queued {
    PluginPtr plugin;
    std::unique_ptr<Call> call;  ///< none: a reading
    std::size_t name_bytes = 0;  ///< name, then unit, stand in `texts`
    std::optional<std::size_t> unit_bytes;
    double value = 0;
    Instant time{};
    bool timed = false, is_sum = false;
  };
  struct Message {
    PluginPtr plugin;
    std::string method;
    json params, id;  ///< id: of a request; else null
  };

  EventLoop& loop;
  std::filesystem::path farm_folder;
  std::function<Instant()> now;
  PluginHandlers handlers;
  PluginLimits limits;
  std::map<std::string, PluginPtr> plugins;
  std::vector<PluginPtr> leaving;       ///< stopped and replaced or removed, until they have ended
  std::deque<Message> messages;         ///< emptied every turn, so that a turn's reads bound it
  std::deque<Queued> queue;
  std::size_t readings = 0;             ///< in `queue`
  std::string texts;                    ///< of the queued readings, in their order: none asks for memory of its own
  std::size_t texts_begin = 0;          ///< before it stand texts of readings that are gone
  bool drain_posted = false;
  Instant turn_now{};                   ///< engine time when this turn's first pack came
  std::uint64_t request_count = 0;
  std::function<void()> all_stopped;
  SenmlParser parser;

  Impl(EventLoop& the_loop, std::filesystem::path folder, std::function<Instant()> clock, PluginHandlers the_handlers,
       PluginLimits the_limits)
      : loop(the_loop),
        farm_folder(std::move(folder)),
        now(std::move(clock)),
        handlers(std::move(the_handlers)),
        limits(the_limits) {}

  void on_line(SupervisedPlugin& plugin, std::string_view line) {
    const std::size_t begin = line.find_first_not_of(" \t");
    if (begin == std::string_view::npos) return;
    line.remove_prefix(begin);
    if (line.front() == '[') return on_pack(plugin, line);
    json object = line.front() == '{' ? json::parse(line, nullptr, false) : json(json::value_t::discarded);
    if (object.is_discarded() || !on_object(plugin, object)) plugin.not_understood(line);
  }

  void on_pack(SupervisedPlugin& plugin, std::string_view line) {
    if (!drain_posted) turn_now = now();
    const auto pack = parser.parse(line, turn_now);
    if (!pack) return plugin.not_understood(pack.error() + ": " + std::string(line.substr(0, 200)));
    if (!pack->remarks.empty()) plugin.not_understood(line, pack->remarks.size());
    if (pack->records.empty()) return;
    plugin.alive();
    for (const auto& record : pack->records) enqueue_reading(plugin, record);
    post_drain();
  }

  void enqueue_reading(SupervisedPlugin& plugin, const SenmlRecord& record) {
    ++plugin.status().readings;
    Queued item;
    item.plugin = plugin.shared_from_this();
    item.name_bytes = record.name.size();
    texts += record.name;
    if (record.unit) {
      item.unit_bytes = record.unit->size();
      texts += *record.unit;
    }
    item.value = record.value;
    item.time = record.time;
    item.timed = record.timed;
    item.is_sum = record.is_sum;
    queue.push_back(std::move(item));
    if (++readings > limits.readings_waiting) drop_oldest_reading();
  }

  void drop_oldest_reading() {
    const auto oldest =
        std::find_if(queue.begin(), queue.end(), [](const Queued& item) { return item.call == nullptr; });
    oldest->plugin->dropped_reading();
    take_texts(*oldest);
    queue.erase(oldest);
    --readings;
  }

  /// Name and unit of the oldest queued reading, good until the next reading is queued.
  std::string_view take_texts(const Queued& reading) {
    const auto both = std::string_view(texts).substr(texts_begin, reading.name_bytes + reading.unit_bytes.value_or(0));
    texts_begin += both.size();
    return both;
  }

  void forget_texts() {
    if (texts_begin < texts.size() / 2) return;
    texts.erase(0, texts_begin);
    texts_begin = 0;
  }

  /// False: not JSON-RPC 2.0 as the protocol has it.
  bool on_object(SupervisedPlugin& plugin, json& object) {
    const auto version = object.find("jsonrpc");
    if (version == object.end() || *version != "2.0") return false;
    const auto method = object.find("method");
    const auto id = object.find("id");
    if (method == object.end()) return on_answer(plugin, object);
    if (!method->is_string()) return false;
    json params = object.value("params", json::object());
    if (!params.is_object()) return false;
    if (id != object.end() && *method == "reply") {
      // What a person says goes ahead of readings, whether an answer is wanted or not.
      messages.push_back({plugin.shared_from_this(), "reply", std::move(params), *id});
    } else if (id != object.end()) {
      enqueue_call(plugin, {method->get<std::string>(), *id, std::move(params), false});
    } else {
      if (!on_notification(plugin, method->get<std::string>(), params)) return false;
    }
    post_drain();
    return true;
  }

  bool on_answer(SupervisedPlugin& plugin, json& object) {
    const auto id = object.find("id");
    if (id == object.end() || !id->is_number_unsigned()) return false;
    if (!object.contains("result") && !object.contains("error")) return false;
    json result = object.contains("result") ? object["result"] : object["error"];
    enqueue_call(plugin, {{}, *id, std::move(result), true});
    post_drain();
    return true;
  }

  void enqueue_call(SupervisedPlugin& plugin, Call call) {
    Queued item;
    item.plugin = plugin.shared_from_this();
    item.call = std::make_unique<Call>(std::move(call));
    queue.push_back(std::move(item));
  }

  bool on_notification(SupervisedPlugin& plugin, std::string method, json& params) {
    if (method == "hello" && !on_hello(plugin, params)) return false;
    if (method == "receipt") {
      const auto delivery = params.find("delivery");
      if (delivery == params.end() || !delivery->is_string()) return false;
      plugin.answered(delivery->get<std::string>());
    }
    messages.push_back({plugin.shared_from_this(), std::move(method), std::move(params), json()});
    return true;
  }

  static bool on_hello(SupervisedPlugin& plugin, const json& params) {
    std::vector<std::string> does;
    const json listed = params.value("does", json::array());
    if (!listed.is_array()) return false;
    for (const auto& word : listed) {
      if (!word.is_string()) return false;
      does.push_back(word.get<std::string>());
    }
    plugin.status().does = std::move(does);
    plugin.alive();
    return true;
  }

  void post_drain() {
    if (drain_posted) return;
    drain_posted = true;
    loop.post([weak = weak_from_this()] {
      if (const auto self = weak.lock()) self->drain();
    });
  }

  void drain() {
    drain_posted = false;
    while (!messages.empty()) {
      const Message message = std::move(messages.front());
      messages.pop_front();
      const std::string& plugin = message.plugin->status().name;
      if (message.id.is_null() && handlers.on_message) handlers.on_message(plugin, message.method, message.params);
      if (!message.id.is_null() && handlers.on_request) handlers.on_request(plugin, message.id, message.method, message.params);
    }
    if (handlers.on_turn) handlers.on_turn();
    // A bounded batch, so that reading the pipes comes in between.
    for (std::size_t i = 0; i < limits.readings_a_turn && !queue.empty(); ++i) {
      const Queued item = std::move(queue.front());
      queue.pop_front();
      if (!item.call) --readings;
      hand_over(item);
    }
    forget_texts();
    if (!queue.empty()) post_drain();
  }

  void hand_over(const Queued& item) {
    const std::string& plugin = item.plugin->status().name;
    if (item.call) {
      const Call& call = *item.call;
      if (!call.is_answer && handlers.on_request) handlers.on_request(plugin, call.id, call.method, call.body);
      if (call.is_answer && handlers.on_answer) handlers.on_answer(plugin, call.id.get<std::uint64_t>(), call.body);
      return;
    }
    const std::string_view both = take_texts(item);
    if (!handlers.on_reading) return;
    std::optional<std::string_view> unit;
    if (item.unit_bytes) unit = both.substr(item.name_bytes);
    handlers.on_reading(plugin, {both.substr(0, item.name_bytes), unit, item.value, item.time, item.timed, item.is_sum});
  }

  void on_state(SupervisedPlugin& plugin) {
    if (handlers.on_state) handlers.on_state(plugin.status());
    if (plugin.status().state != PluginState::stopped) return;
    // Not now: the plugin is still on its way out of its own function.
    loop.post([weak = weak_from_this()] {
      if (const auto self = weak.lock()) self->forget_ended();
    });
  }

  void forget_ended() {
    std::erase_if(leaving, [](const PluginPtr& plugin) { return plugin->ended(); });
    if (!leaving.empty() || !all_stopped) return;
    const auto done = std::move(all_stopped);
    all_stopped = nullptr;
    done();
  }

  PluginPtr make(const PluginSpec& spec) {
    SupervisedPlugin::Events events;
    events.on_line = [this](SupervisedPlugin& plugin, std::string_view line) { on_line(plugin, line); };
    events.on_state = [this](SupervisedPlugin& plugin) { on_state(plugin); };
    events.on_log = [this](const std::string& plugin, const std::string& line) {
      if (handlers.on_log) handlers.on_log(plugin, line);
    };
    return std::make_shared<SupervisedPlugin>(loop, spec, plugin_program(spec.run, farm_folder), limits, events);
  }

  PluginPtr find(const std::string& name) const {
    const auto found = plugins.find(name);
    return found == plugins.end() ? nullptr : found->second;
  }

  void stop(const std::string& name) {
    const auto found = plugins.find(name);
    if (found == plugins.end()) return;
    const PluginPtr plugin = std::move(found->second);
    plugins.erase(found);
    leaving.push_back(plugin);
    plugin->stop();
  }
};

namespace {

std::string to_line(const json& message) {
  // Text from outside may hold bytes that are no UTF-8; they must not end the daemon.
  return message.dump(-1, ' ', false, json::error_handler_t::replace) + "\n";
}

std::string notification(const char* method, const json& params) {
  return to_line({{"jsonrpc", "2.0"}, {"method", method}, {"params", params}});
}

}  // namespace

PluginHost::PluginHost(EventLoop& loop, std::filesystem::path farm_folder, std::function<Instant()> now,
                       PluginHandlers handlers, PluginLimits limits)
    : impl_(std::make_shared<Impl>(loop, std::move(farm_folder), std::move(now), std::move(handlers), limits)) {
  // A plugin that closed its input is an error of write(), not our end.
  std::signal(SIGPIPE, SIG_IGN);
}

PluginHost::~PluginHost() {
  // Handlers in the loop still hold the plugins; their processes end here all the same.
  for (auto& [name, plugin] : impl_->plugins) plugin->kill();
  for (auto& plugin : impl_->leaving) plugin->kill();
}

void PluginHost::start(const PluginSpec& spec) {
  impl_->stop(spec.name);
  const auto plugin = impl_->make(spec);
  impl_->plugins[spec.name] = plugin;
  plugin->start();
}

void PluginHost::stop(const std::string& plugin) { impl_->stop(plugin); }

void PluginHost::stop_all(std::function<void()> done) {
  impl_->all_stopped = std::move(done);
  while (!impl_->plugins.empty()) impl_->stop(std::string(impl_->plugins.begin()->first));
  impl_->loop.post([weak = std::weak_ptr(impl_)] {
    if (const auto self = weak.lock()) self->forget_ended();
  });
}

bool PluginHost::deliver(const std::string& plugin, const std::string& delivery, const json& params) {
  const auto target = impl_->find(plugin);
  if (target) target->send_delivery(delivery, notification("deliver", params));
  return target != nullptr;
}

void PluginHost::alarm(const std::string& plugin, const std::string& key, const json& params) {
  if (const auto target = impl_->find(plugin)) target->send_alarm(key, notification("alarm", params));
}

std::uint64_t PluginHost::request(const std::string& plugin, const std::string& method, const json& params) {
  const auto target = impl_->find(plugin);
  if (!target || !target->running()) return 0;
  const std::uint64_t id = ++impl_->request_count;
  target->send(to_line({{"jsonrpc", "2.0"}, {"id", id}, {"method", method}, {"params", params}}));
  return id;
}

void PluginHost::respond(const std::string& plugin, const json& id, const json& result) {
  if (const auto target = impl_->find(plugin)) target->send(to_line({{"jsonrpc", "2.0"}, {"id", id}, {"result", result}}));
}

std::vector<PluginStatus> PluginHost::statuses() const {
  std::vector<PluginStatus> all;
  for (const auto& [name, plugin] : impl_->plugins) all.push_back(plugin->status());
  return all;
}

std::size_t PluginHost::readings_waiting() const { return impl_->readings; }

}  // namespace underwing
