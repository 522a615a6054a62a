#include <fmt/format.h>
#include <unistd.h>

#include <algorithm>
#include <array>
#include <memory>
#include <random>
#include <set>

#include "plugins/mqtt/broker.hpp"
#include "plugins/mqtt/mapping.hpp"
#include "plugins/shared/plugin.hpp"
#include "plugins/shared/secret_file.hpp"

namespace underwing {
namespace {

constexpr std::string_view kHelp =
    R"(underwing-mqtt: takes readings from an MQTT broker, publishes alarm states, takes acknowledgements.

It speaks Underwing's line protocol on standard input and output; plugins/README.md describes it and every
setting. By hand:

  { echo '{"jsonrpc":"2.0","method":"settings","params":{"broker":"mqtt://127.0.0.1:1883",
     "read":[{"topic":"farm/{house}/climate/{probe}","measure":"air_temperature","value":"/temp",
     "unit":"°C"}]}}' | tr -d '\n'; echo; cat; } | underwing-mqtt

Options: --help, --version.
)";

constexpr std::chrono::seconds kRetryFirst{1};
constexpr std::chrono::seconds kRetryLast{30};
constexpr std::chrono::milliseconds kPublishAgain{100};
constexpr std::chrono::seconds kConnectingMax{30};  // The library should have answered long before.

/// Level of a topic: the signs that MQTT keeps for itself become "_".
std::string level_of(std::string text) {
  for (char& c : text) {
    if (c == '/' || c == '+' || c == '#' || c == '\0') c = '_';
  }
  return text;
}

std::string random_client_id() {
  constexpr std::string_view kDigits = "0123456789abcdef";
  std::random_device source;
  std::string id = "underwing-";
  for (int i = 0; i < 12; ++i) id += kDigits[source() % kDigits.size()];
  return id;
}

/// Messages that gave no reading, since the last report.
struct Troubles {
  std::array<std::size_t, 4> count{};  ///< by Mapping::Outcome
  std::size_t dropped = 0;
  std::string example;

  [[nodiscard]] bool any() const { return dropped + count[1] + count[2] + count[3] > 0; }
  [[nodiscard]] std::string text() const {
    std::string said;
    auto add = [&](std::size_t n, const char* what) {
      if (n > 0) said += fmt::format("{}{} {}", said.empty() ? "" : ", ", n, what);
    };
    add(count[1], "that fit no pattern");
    add(count[2], "not understood");
    add(count[3], "kept by the broker without their own time");
    add(dropped, "dropped because they came too fast");
    return example.empty() ? said : fmt::format("{} (the last: {})", said, example);
  }
};

class Mqtt final : public Plugin {
 public:
  Mqtt() : Plugin("mqtt", {"read", "publish"}), inbox_([this] { wake(); }) {}

 private:
  enum class State : std::uint8_t { waiting, connecting, connected };

  void on_settings(Settings& settings) override {
    mapping_.read_settings(settings);
    prefix_ = settings.text("prefix", "underwing");
    if (prefix_.find_first_of("+#") != std::string::npos) settings.refuse("prefix", "must not hold + or #");
    if (auto step = settings.map("step")) {
      ask_topic_ = step->text("ask");
      answer_topic_ = step->text("answer");
      step->finish();
    }
    report_every_ =
        std::chrono::milliseconds(static_cast<std::int64_t>(settings.span("report_every", 60) * 1000));
    filters_ = mapping_.filters();
    filters_[acknowledge_topic()] = 1;
    if (!ask_topic_.empty()) filters_[ask_topic_] = 1;
    const BrokerSettings broker{settings.text("broker"),
                                settings.text("user", ""),
                                read_secret(settings, "password_file", "mqtt"),
                                settings.text("ca_file", ""),
                                settings.text("client_id", random_client_id()),
                                fmt::format("{}/status", prefix_)};
    settings.finish();
    place_ = broker.url.substr(broker.url.find("//") + 2);
    try {
      broker_ = std::make_unique<Broker>(broker, inbox_);
    } catch (const mqtt::exception& failure) {
      settings.refuse("broker", fmt::format("'{}' cannot be used: {}", broker.url, failure.what()));
    }
    next_try_ = Clock::now();
  }

  [[nodiscard]] std::string acknowledge_topic() const { return fmt::format("{}/acknowledge", prefix_); }

  std::optional<Clock::time_point> on_time(Clock::time_point now) override {
    if (state_ == State::connecting && now >= next_try_) {
      failed("no answer");
    } else if (state_ == State::waiting && now >= next_try_) {
      state_ = State::connecting;
      next_try_ = now + kConnectingMax;
      broker_->connect();
    }
    if (state_ == State::connected) publish_alarms();
    std::optional<Clock::time_point> next;
    if (state_ != State::connected) next = next_try_;
    if (state_ == State::connected && !unsent_.empty()) next = now + kPublishAgain;
    if (report_due_ && now >= *report_due_) report(now);
    if (report_due_) next = next ? std::min(*next, *report_due_) : *report_due_;
    return next;
  }

  void on_wake() override {
    inbox_.drain([this](std::string_view topic, std::string_view payload, bool retained) {
      take_message(topic, payload, retained);
    });
    for (const Inbox::Notice& notice : inbox_.take_notices()) take_notice(notice);
    if (const std::size_t dropped = inbox_.take_dropped(); dropped > 0) {
      troubles_.dropped += dropped;
      plan_report();
    }
  }

  void take_message(std::string_view topic, std::string_view payload, bool retained) {
    // An order that the broker kept from before was meant for then.
    if (topic == acknowledge_topic()) return retained ? void() : take_acknowledgement(payload);
    if (!ask_topic_.empty() && topic == ask_topic_) return retained ? void() : take_ask(payload);
    const auto outcome = mapping_.take(topic, payload, retained, lines());
    if (lines().size() > kLinesBytes) flush();
    if (outcome == Mapping::Outcome::taken) return;
    ++troubles_.count[static_cast<std::size_t>(outcome)];
    troubles_.example = fmt::format("{}: {}", topic, mapping_.reason());
    plan_report();
  }

  void take_acknowledgement(std::string_view payload) {
    const auto message = nlohmann::json::parse(payload, nullptr, false);
    const bool fits =
        message.is_object() && !text_of(message, "who").empty() && !text_of(message, "text").empty();
    if (fits) return reply(text_of(message, "who"), "mqtt", text_of(message, "text"));
    ++troubles_.count[static_cast<std::size_t>(Mapping::Outcome::not_understood)];
    troubles_.example = fmt::format(R"({}: it must be {{"who": …, "text": …}})", acknowledge_topic());
    plan_report();
  }

  void take_ask(std::string_view payload) {
    const auto message = nlohmann::json::parse(payload, nullptr, false);
    if (message.is_object() && message.contains("time") && message["time"].is_number()) {
      return ask_step(message["time"].get<double>());
    }
    fmt::print(stderr, "mqtt: {} holds no time: {}\n", ask_topic_, payload.substr(0, 200));
  }

  void on_settled(double time) override {
    broker_->publish(answer_topic_, nlohmann::json{{"time", time}}.dump(), false);
  }

  void on_alarm(const nlohmann::json& alarm) override {
    const std::string house = text_of(alarm, "house");
    std::string topic = fmt::format("{}/alarm/{}/{}", prefix_, house.empty() ? "farm" : level_of(house),
                                    level_of(text_of(alarm, "rule")));
    if (const auto probe = text_of(alarm, "probe"); !probe.empty())
      topic += fmt::format("/{}", level_of(probe));
    alarms_[topic] = alarm.dump(-1, ' ', false, nlohmann::json::error_handler_t::replace);
    unsent_.insert(topic);
  }

  void on_heartbeat(const Beat& beat) override {
    if (state_ != State::connected) return answer_beat(beat.id, false, fmt::format("no connection to {}", place_));
    const std::uintptr_t number = ++beat_count_;
    if (!broker_->publish_beat(beat.to, beat.says.dump(-1, ' ', false, nlohmann::json::error_handler_t::replace), number)) {
      return answer_beat(beat.id, false, fmt::format("{} takes no more messages", place_));
    }
    beats_[std::to_string(number)] = beat.id;
  }

  void end_beat(const std::string& number, bool taken, const std::string& text) {
    const auto found = beats_.find(number);
    if (found == beats_.end()) return;
    answer_beat(found->second, taken, text);
    beats_.erase(found);
  }

  /// The library takes only so many messages at once; the others wait here for the next turn.
  void publish_alarms() {
    while (!unsent_.empty() && broker_->publish(*unsent_.begin(), alarms_[*unsent_.begin()], true)) {
      unsent_.erase(unsent_.begin());
    }
  }

  void take_notice(const Inbox::Notice& notice) {
    switch (notice.event) {
      case Inbox::Event::connected:
        return broker_->subscribe(filters_);
      case Inbox::Event::subscribed:
        return ready();
      case Inbox::Event::connect_failed:
        return failed(notice.text);
      case Inbox::Event::subscribe_failed:
        return failed(fmt::format("cannot subscribe: {}", notice.text));
      case Inbox::Event::beat_taken:
        return end_beat(notice.text, true, "");
      case Inbox::Event::beat_failed:
        return end_beat(notice.text, false, fmt::format("{} did not acknowledge it", place_));
      case Inbox::Event::lost:
        while (!beats_.empty()) end_beat(std::string(beats_.begin()->first), false, fmt::format("lost the connection to {}", place_));
        state_ = State::waiting;
        retry_ = kRetryFirst;
        next_try_ = Clock::now() + retry_;
        return health(false, fmt::format("lost the connection to {}; trying again", place_));
    }
  }

  /// Connected and subscribed. States that changed meanwhile are published now: those kept are the newest.
  void ready() {
    state_ = State::connected;
    retry_ = kRetryFirst;
    broker_->publish(fmt::format("{}/status", prefix_), "online", true);
    for (const auto& [topic, payload] : alarms_) unsent_.insert(topic);
    const auto refused = broker_->refused_filter();
    connected_ok_ = !refused;
    connected_text_ = refused ? fmt::format("{} refuses the subscription to '{}'", place_, *refused)
                              : fmt::format("connected to {}", place_);
    health(connected_ok_, connected_text_);
  }

  void failed(const std::string& why) {
    state_ = State::waiting;
    next_try_ = Clock::now() + retry_;
    retry_ = std::min(retry_ * 2, kRetryLast);
    health(false, fmt::format("cannot reach {}: {}; trying again", place_, why));
  }

  void plan_report() {
    if (!report_due_) report_due_ = Clock::now() + report_every_;
  }

  /// Once in `report_every`, while there is trouble, and once more when there is none.
  void report(Clock::time_point now) {
    report_due_.reset();
    if (state_ != State::connected) return;
    if (!troubles_.any()) return health(connected_ok_, connected_text_);
    health(connected_ok_, fmt::format("{}; messages passed over: {}", connected_text_, troubles_.text()));
    fmt::print(stderr, "mqtt: messages passed over: {}\n", troubles_.text());
    troubles_ = {};
    report_due_ = now + report_every_;
  }

  void on_stop() override {
    if (broker_) broker_->leave();
  }

  static constexpr std::size_t kLinesBytes = 64 * 1024;

  Inbox inbox_;
  Mapping mapping_;
  std::unique_ptr<Broker> broker_;
  std::string prefix_, ask_topic_, answer_topic_, place_;
  std::map<std::string, int> filters_;
  std::map<std::string, std::string> alarms_;  ///< topic -> newest state
  std::map<std::string, nlohmann::json> beats_;  ///< number -> request, while the broker has not acknowledged it
  std::uintptr_t beat_count_ = 0;
  std::set<std::string> unsent_;               ///< topics whose newest state is not handed over yet
  State state_ = State::waiting;
  Clock::time_point next_try_{};
  std::chrono::seconds retry_ = kRetryFirst;
  bool connected_ok_ = true;
  std::string connected_text_;
  Troubles troubles_;
  std::chrono::milliseconds report_every_{60'000};
  std::optional<Clock::time_point> report_due_;
};

}  // namespace
}  // namespace underwing

int main(int argc, char** argv) {
  if (const auto status = underwing::answer_options(argc, argv, "underwing-mqtt", underwing::kHelp)) {
    return *status;
  }
  // Not destroyed: the library's own shutdown can hang for a minute on a broken connection.
  auto* plugin = new underwing::Mqtt();
  const int status = plugin->run();
  std::fflush(stderr);
  _exit(status);
}
