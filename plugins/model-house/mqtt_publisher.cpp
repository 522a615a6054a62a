#include "plugins/model-house/mqtt_publisher.hpp"

#include <fcntl.h>
#include <fmt/format.h>
#include <mqtt/async_client.h>
#include <unistd.h>

#include <array>
#include <cerrno>
#include <chrono>
#include <condition_variable>
#include <cstdlib>
#include <cstring>
#include <map>
#include <mutex>
#include <nlohmann/json.hpp>
#include <thread>
#include <utility>

#include "plugins/shared/clock.hpp"
#include "plugins/shared/senml.hpp"

namespace underwing {
namespace {

constexpr int kQos = 1;
constexpr int kMessagesWaitingMax = 10'000;
constexpr std::chrono::seconds kAnswerWithin{60};
constexpr std::chrono::seconds kBrokerWithin{10};

/// Where a measure is published, and under which key.
struct Place {
  const char* measure;
  const char* topic;  ///< {0} the house, {1} the probe
  const char* key;
};

constexpr std::array<Place, 14> kPlaces = {{
    {"air_temperature", "farm/{0}/climate/{1}", "temp"},
    {"relative_humidity", "farm/{0}/climate/{1}", "rh"},
    {"carbon_dioxide", "farm/{0}/gas/{1}", "co2"},
    {"ammonia", "farm/{0}/gas/{1}", "nh3"},
    {"water", "farm/{0}/meter/water", "total"},
    {"feed", "farm/{0}/meter/feed", "total"},
    {"bird_weight", "farm/{0}/scale", "weight"},
    {"outside_temperature", "farm/{0}/outside", "temp"},
    {"mains", "farm/{0}/state/mains", "on"},
    {"heat_asked", "farm/{0}/state/heat_asked", "on"},
    {"heater_running", "farm/{0}/state/heater", "on"},
    {"fan_running", "farm/{0}/state/fan", "on"},
    {"generator", "farm/{0}/state/generator", "on"},
    {"gas_level", "farm/{0}/tank", "level"},
}};

const Place& place_of(std::string_view measure) {
  for (const Place& place : kPlaces) {
    if (place.measure == measure) return place;
  }
  std::abort();  // The model reads only what has a place here.
}

/// Waits on the plugin's answers to "settled up to T?".
class Answers {
 public:
  explicit Answers(std::string topic) : topic_(std::move(topic)) {}

  void take(const mqtt::const_message_ptr& message) {
    if (message->get_topic() != topic_) return;
    const auto answer = nlohmann::json::parse(message->get_payload_str(), nullptr, false);
    if (!answer.is_object() || !answer.contains("time") || !answer["time"].is_number()) return;
    const std::lock_guard lock(mutex_);
    settled_s_ = answer["time"].get<double>();
    changed_.notify_one();
  }

  bool wait_for(double time_s) {
    std::unique_lock lock(mutex_);
    return changed_.wait_for(lock, kAnswerWithin, [&] { return settled_s_ >= time_s; });
  }

 private:
  std::string topic_;
  std::mutex mutex_;
  std::condition_variable changed_;
  double settled_s_ = 0;
};

/// Appends lines that people read while the story is told.
void append_story(const std::string& path, const std::vector<StoryLine>& lines) {
  if (path.empty() || lines.empty()) return;
  const int file = open(path.c_str(), O_WRONLY | O_CREAT | O_APPEND | O_CLOEXEC, 0644);
  std::string text;
  for (const StoryLine& line : lines) {
    text += fmt::format("{}  {}\n", write_rfc3339(line.time_s).substr(11, 5), line.text);
  }
  if (file < 0 || write(file, text.data(), text.size()) < 0) {
    fmt::print(stderr, "underwing-model-house: cannot write {}: {}\n", path, std::strerror(errno));
  }
  if (file >= 0) close(file);
}

std::string library_url(const std::string& url) {
  constexpr std::string_view kScheme = "mqtt://";
  return url.starts_with(kScheme) ? fmt::format("tcp://{}", url.substr(kScheme.size())) : url;
}

class Publisher {
 public:
  explicit Publisher(const PublishOptions& options)
      : options_(options),
        answers_(options.answer_topic),
        client_(library_url(options.broker), fmt::format("model-house-{}", getpid()), kMessagesWaitingMax) {
    client_.set_message_callback([this](const mqtt::const_message_ptr& message) { answers_.take(message); });
  }

  void connect() {
    mqtt::connect_options how;
    how.set_clean_session(true);
    how.set_connect_timeout(kBrokerWithin);
    client_.connect(how)->wait();
    if (!options_.answer_topic.empty()) client_.subscribe(options_.answer_topic, kQos)->wait();
  }

  /// One minute: readings, then the question, then the answer. False: nobody answered.
  bool minute(FarmModel& model) {
    const auto begun = std::chrono::steady_clock::now();
    const double until = model.time_s() + 60;
    std::vector<ModelReading> readings;
    model.advance(until, readings);
    append_story(options_.story_file, model.take_story());
    mqtt::delivery_token_ptr last;
    for (const MqttMessage& message : to_mqtt(readings)) {
      last = client_.publish(message.topic, message.payload.data(), message.payload.size(), kQos, false);
    }
    if (options_.ask_topic.empty()) {
      if (last) last->wait_for(kAnswerWithin);
    } else if (!ask(until)) {
      fmt::print(stderr, "underwing-model-house: nobody answered on {} for {}.\n", options_.answer_topic,
                 write_rfc3339(until));
      return false;
    }
    std::this_thread::sleep_until(begun + std::chrono::milliseconds(options_.pace_ms));
    return true;
  }

  bool ask(double time_s) {
    const std::string question = nlohmann::json{{"time", time_s}}.dump();
    client_.publish(options_.ask_topic, question.data(), question.size(), kQos, false);
    return answers_.wait_for(time_s);
  }

  void disconnect() { client_.disconnect()->wait_for(kBrokerWithin); }

 private:
  const PublishOptions& options_;
  Answers answers_;
  mqtt::async_client client_;
};

}  // namespace

std::vector<MqttMessage> to_mqtt(const std::vector<ModelReading>& readings) {
  std::vector<MqttMessage> messages;
  std::map<std::pair<std::string, double>, std::size_t> known;  // Topic and time: which message.
  for (const ModelReading& reading : readings) {
    const Place& place = place_of(reading.measure);
    std::string topic = fmt::format(fmt::runtime(place.topic), reading.house, reading.probe);
    const auto [found, is_new] = known.try_emplace({topic, reading.time_s}, messages.size());
    if (is_new) {
      messages.push_back({std::move(topic), R"({"ts":)"});
      append_seconds(messages.back().payload, reading.time_s);
      messages.back().payload += '}';
    }
    std::string& payload = messages[found->second].payload;
    payload.back() = ',';
    payload += fmt::format(R"("{}":)", place.key);
    append_number(payload, reading.value);
    payload += '}';
  }
  return messages;
}

int publish_farm(FarmModel& model, const PublishOptions& options) {
  try {
    Publisher publisher(options);
    publisher.connect();
    const double end = model.time_s() + options.minutes * 60;
    while (model.time_s() + 60 <= end) {
      if (!publisher.minute(model)) return 2;
    }
    publisher.disconnect();
    return 0;
  } catch (const mqtt::exception& failure) {
    fmt::print(stderr, "underwing-model-house: {}: {}\n", options.broker, failure.what());
    return 2;
  }
}

}  // namespace underwing
