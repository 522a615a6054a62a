#include "daemon/control_client.hpp"

#include <array>
#include <cerrno>
#include <chrono>
#include <cstring>

#include <nlohmann/json.hpp>
#include <poll.h>
#include <sys/socket.h>
#include <sys/un.h>

namespace underwing {

using nlohmann::json;
using Clock = std::chrono::steady_clock;

namespace {

bool wait_for(int fd, short what, Clock::time_point until) {
  for (;;) {
    const auto left = std::chrono::duration_cast<Duration>(until - Clock::now());
    if (left.count() <= 0) return false;
    pollfd poll_fd{fd, what, 0};
    const int ready = ::poll(&poll_fd, 1, static_cast<int>(std::min<std::int64_t>(left.count(), 60'000)));
    if (ready > 0) return true;
    if (ready < 0 && errno != EINTR) return false;
  }
}

bool send_all(int fd, std::string_view bytes, Clock::time_point until) {
  while (!bytes.empty()) {
    if (!wait_for(fd, POLLOUT, until)) return false;
    const ssize_t count = ::send(fd, bytes.data(), bytes.size(), MSG_NOSIGNAL | MSG_DONTWAIT);
    if (count < 0 && errno != EAGAIN && errno != EINTR) return false;
    if (count > 0) bytes.remove_prefix(static_cast<std::size_t>(count));
  }
  return true;
}

}  // namespace

Result<ControlClient> ControlClient::connect(const std::string& path) {
  sockaddr_un address{};
  address.sun_family = AF_UNIX;
  if (path.size() >= sizeof address.sun_path) return Failure{"cannot reach underwingd at " + path + ": the path is too long"};
  std::memcpy(address.sun_path, path.data(), path.size());
  Descriptor socket(::socket(AF_UNIX, SOCK_STREAM | SOCK_CLOEXEC, 0));
  // sockaddr is how the call takes every kind of address.
  if (!socket || ::connect(socket.get(), reinterpret_cast<const sockaddr*>(&address), sizeof address) != 0) {
    return system_failure("cannot reach underwingd at", path);
  }
  return ControlClient(std::move(socket), path);
}

Result<json> ControlClient::call(const std::string& method, const json& params, Duration timeout) {
  const auto until = Clock::now() + timeout;
  const std::uint64_t id = ++calls_;
  const json request = {{"jsonrpc", "2.0"}, {"id", id}, {"method", method}, {"params", params}};
  const Failure no_answer{"underwingd at " + path_ + " did not answer within " + to_words(timeout)};
  if (!send_all(socket_.get(), request.dump(-1, ' ', false, json::error_handler_t::replace) + "\n", until)) return no_answer;
  for (;;) {
    if (const std::size_t newline = held_.find('\n'); newline != std::string::npos) {
      const json answer = json::parse(held_.substr(0, newline), nullptr, false);
      held_.erase(0, newline + 1);
      if (answer.is_object() && answer.value("id", json()) == id) {
        if (answer.contains("result")) return answer["result"];
        return Failure{answer.value("error", json::object()).value("message", std::string("it gave no reason"))};
      }
      continue;
    }
    if (!wait_for(socket_.get(), POLLIN, until)) return no_answer;
    std::array<char, 65536> part;
    const ssize_t count = ::recv(socket_.get(), part.data(), part.size(), 0);
    if (count == 0) return Failure{"underwingd at " + path_ + " closed the connection"};
    if (count < 0 && errno != EINTR) return system_failure("cannot hear underwingd at", path_);
    if (count > 0) held_.append(part.data(), static_cast<std::size_t>(count));
  }
}

}  // namespace underwing
