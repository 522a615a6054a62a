#pragma once

#include <mqtt/async_client.h>

#include <cstddef>
#include <cstdint>
#include <functional>
#include <map>
#include <mutex>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

namespace underwing {

/// Where the broker is and who we are there.
struct BrokerSettings {
  std::string url;  ///< "mqtt://127.0.0.1:1883" or "mqtts://…"
  std::string user;
  std::string password;
  std::string ca_file;  ///< of mqtts: whom to trust; empty: the system's list
  std::string client_id;
  std::string will_topic;  ///< gets "offline", kept, when the connection breaks
};

/// What the MQTT library's threads hand over. They only copy and post: everything else happens on the
/// plugin's own thread.
class Inbox {
 public:
  enum class Event : std::uint8_t { connected, connect_failed, lost, subscribed, subscribe_failed, beat_taken, beat_failed };
  struct Notice {
    Event event;
    std::string text;
  };

  explicit Inbox(std::function<void()> wake) : wake_(std::move(wake)) {}

  void post_message(std::string_view topic, std::string_view payload, bool retained);
  void post_notice(Event event, std::string text);

  /// Calls `take(topic, payload, retained)` for each message waiting, oldest first. Not reentrant.
  void drain(const std::function<void(std::string_view, std::string_view, bool)>& take);
  [[nodiscard]] std::vector<Notice> take_notices();

  /// Messages dropped since the last call, oldest first, because more than kWaitingMax waited.
  [[nodiscard]] std::size_t take_dropped();
  static constexpr std::size_t kWaitingMax = 100'000;

 private:
  /// Messages one after the other in one piece of memory: a header, the topic, the payload.
  struct Block {
    std::string bytes;
    std::size_t count = 0;
  };
  struct Header {
    std::uint32_t topic_bytes;
    std::uint32_t payload_bytes;
    bool retained;
  };

  std::function<void()> wake_;
  std::mutex mutex_;
  Block older_, newer_;              ///< each at most half of kWaitingMax
  Block taken_older_, taken_newer_;  ///< of `drain`; kept for their memory
  std::vector<Notice> notices_;
  std::size_t dropped_ = 0;
};

/// A client of Paho in callback mode without its own reconnecting: that neither tries again after a failed
/// first connection nor subscribes anew, so the plugin does both.
class Broker final : private mqtt::iaction_listener {
 public:
  /// Throws SettingsError where the library refuses the address.
  Broker(const BrokerSettings& settings, Inbox& inbox);

  /// Begins to connect; ends in a notice `connected` or `connect_failed`.
  void connect();
  /// Ends in `subscribed` or `subscribe_failed`.
  void subscribe(const std::map<std::string, int>& filters);
  /// The filter that the broker refused, if it refused one. After `subscribed`.
  [[nodiscard]] std::optional<std::string> refused_filter();
  /// Queues a message, at quality of service 1. False where that is not possible now.
  bool publish(const std::string& topic, const std::string& payload, bool keep);
  /// The same, not kept; ends in `beat_taken` once the broker has acknowledged it (PUBACK), or in `beat_failed`, both with
  /// the number as text.
  bool publish_beat(const std::string& topic, const std::string& payload, std::uintptr_t number);
  /// Says "offline" on the will's topic and leaves; takes at most about a second.
  void leave();

 private:
  void on_success(const mqtt::token& token) override;
  void on_failure(const mqtt::token& token) override;

  Inbox& inbox_;
  std::string will_topic_;
  bool over_tls_;
  mqtt::async_client client_;
  mqtt::connect_options options_;
  mqtt::token_ptr subscription_;
  std::vector<std::string> subscribed_;
};

}  // namespace underwing
