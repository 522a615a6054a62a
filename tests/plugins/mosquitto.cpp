#include "tests/plugins/mosquitto.hpp"

#include <arpa/inet.h>
#include <signal.h>
#include <sys/socket.h>
#include <unistd.h>

#include <set>
#include <stdexcept>
#include <thread>

namespace underwing::test {
namespace {

sockaddr_in loopback(int port) {
  sockaddr_in address{};
  address.sin_family = AF_INET;
  address.sin_port = htons(static_cast<std::uint16_t>(port));
  address.sin_addr.s_addr = htonl(INADDR_LOOPBACK);
  return address;
}

bool answers(int port) {
  const int fd = socket(AF_INET, SOCK_STREAM | SOCK_CLOEXEC, 0);
  const sockaddr_in address = loopback(port);
  const bool connected = connect(fd, reinterpret_cast<const sockaddr*>(&address), sizeof address) == 0;
  close(fd);
  return connected;
}

}  // namespace

int free_port() {
  const int fd = socket(AF_INET, SOCK_STREAM | SOCK_CLOEXEC, 0);
  sockaddr_in address = loopback(0);
  socklen_t size = sizeof address;
  if (bind(fd, reinterpret_cast<sockaddr*>(&address), size) != 0 ||
      getsockname(fd, reinterpret_cast<sockaddr*>(&address), &size) != 0) {
    throw std::runtime_error("no free port");
  }
  close(fd);
  return ntohs(address.sin_port);
}

Mosquitto::Mosquitto() : Mosquitto(free_port()) {
  start();
}

Mosquitto::Mosquitto(int port, const std::string& more_settings) : port_(port) {
  config_ = folder_.write("mosquitto.conf", "listener " + std::to_string(port) +
                                                " 127.0.0.1\npersistence false\nset_tcp_nodelay true\n"
                                                "log_dest none\n" +
                                                more_settings);
}

void Mosquitto::start() {
  process_ = std::make_unique<Child>(std::vector<std::string>{"/usr/sbin/mosquitto", "-c", config_});
  const auto deadline = std::chrono::steady_clock::now() + kPatience;
  while (!answers(port_)) {
    if (!process_->running() || std::chrono::steady_clock::now() > deadline) {
      throw std::runtime_error("mosquitto does not start");
    }
    std::this_thread::sleep_for(std::chrono::milliseconds(5));
  }
}

void Mosquitto::stop() {
  if (process_) process_->stop(SIGKILL);
  process_.reset();
}

Client::Client(const Mosquitto& broker)
    // No name of its own: the broker gives each one another.
    : client_("tcp://127.0.0.1:" + std::to_string(broker.port()), "") {
  client_.set_message_callback([this](const mqtt::const_message_ptr& message) {
    const std::lock_guard lock(mutex_);
    messages_.push_back({message->get_topic(), message->get_payload_str(), message->is_retained()});
    came_.notify_one();
  });
  client_.connect()->wait_for(kPatience);
}

Client::~Client() {
  try {
    client_.disconnect()->wait_for(std::chrono::seconds(2));
  } catch (const mqtt::exception&) {
    // The broker is gone already.
  }
}

void Client::publish(const std::string& topic, const std::string& payload, bool keep) {
  client_.publish(topic, payload.data(), payload.size(), 1, keep)->wait_for(kPatience);
}

void Client::subscribe(const std::string& filter) {
  client_.subscribe(filter, 1)->wait_for(kPatience);
}

std::optional<Client::Message> Client::next(const std::string& topic) {
  std::unique_lock lock(mutex_);
  const auto deadline = std::chrono::steady_clock::now() + kPatience;
  for (;;) {
    if (!came_.wait_until(lock, deadline, [&] { return !messages_.empty(); })) return std::nullopt;
    Message message = std::move(messages_.front());
    messages_.pop_front();
    if (message.topic == topic) return message;
  }
}

std::size_t Client::count(const std::string& topic_begin, std::size_t enough) {
  std::set<std::string> topics;
  std::unique_lock lock(mutex_);
  const auto deadline = std::chrono::steady_clock::now() + kPatience;
  while (topics.size() < enough && came_.wait_until(lock, deadline, [&] { return !messages_.empty(); })) {
    if (messages_.front().topic.starts_with(topic_begin)) topics.insert(messages_.front().topic);
    messages_.pop_front();
  }
  return topics.size();
}

}  // namespace underwing::test
