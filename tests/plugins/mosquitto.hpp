#pragma once

#include <mqtt/async_client.h>

#include <condition_variable>
#include <deque>
#include <functional>
#include <memory>
#include <mutex>
#include <optional>
#include <string>

#include "tests/plugins/child.hpp"

namespace underwing::test {

/// A TCP port of the loopback that was free a moment ago.
int free_port();

/// A real broker on a free loopback port, with a configuration that is thrown away.
class Mosquitto {
 public:
  Mosquitto();
  explicit Mosquitto(int port, const std::string& more_settings = "allow_anonymous true\n");
  [[nodiscard]] int port() const { return port_; }
  [[nodiscard]] std::string url() const { return "mqtt://127.0.0.1:" + std::to_string(port_); }
  void stop();   ///< at once, as if the power went
  void start();  ///< and waits until it answers

 private:
  TemporaryFolder folder_;
  int port_;
  std::string config_;
  std::unique_ptr<Child> process_;
};

/// Somebody else on the broker.
class Client {
 public:
  explicit Client(const Mosquitto& broker);
  ~Client();
  void publish(const std::string& topic, const std::string& payload, bool keep = false);
  void subscribe(const std::string& filter);

  struct Message {
    std::string topic, payload;
    bool kept;
  };
  /// Skips to the next message on this topic; nullopt where none came in time.
  std::optional<Message> next(const std::string& topic);
  /// Waits until `enough` different topics with this beginning were seen; how many there were in time.
  std::size_t count(const std::string& topic_begin, std::size_t enough);

 private:
  mqtt::async_client client_;
  std::mutex mutex_;
  std::condition_variable came_;
  std::deque<Message> messages_;
};

}  // namespace underwing::test
