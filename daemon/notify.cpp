#include "daemon/notify.hpp"

#include <algorithm>
#include <charconv>
#include <cstddef>
#include <cstdint>
#include <cstdlib>
#include <cstring>

#include <sys/socket.h>
#include <sys/un.h>
#include <unistd.h>

#include "daemon/file_io.hpp"

namespace underwing {
namespace {

std::string take_variable(const char* name) {
  const char* value = std::getenv(name);
  std::string text = value != nullptr ? value : "";
  ::unsetenv(name);
  return text;
}

std::optional<std::int64_t> to_number(const std::string& text) {
  std::int64_t number = 0;
  const auto result = std::from_chars(text.data(), text.data() + text.size(), number);
  if (result.ec != std::errc() || result.ptr != text.data() + text.size()) return std::nullopt;
  return number;
}

}  // namespace

Notifier::Notifier() : address_(take_variable("NOTIFY_SOCKET")) {
  const auto span_us = to_number(take_variable("WATCHDOG_USEC"));
  const std::string pid = take_variable("WATCHDOG_PID");
  const bool ours = pid.empty() || to_number(pid) == ::getpid();
  if (span_us && *span_us > 0 && ours) alive_every_ = std::chrono::floor<Duration>(std::chrono::microseconds(*span_us / 2));
}

void Notifier::status(std::string_view text) const {
  std::string line = "STATUS=" + std::string(text);
  std::replace(line.begin(), line.end(), '\n', ' ');
  send(line);
}

void Notifier::send(std::string_view message) const {
  sockaddr_un address{};
  address.sun_family = AF_UNIX;
  if (address_.empty() || address_.size() >= sizeof address.sun_path) return;
  std::memcpy(address.sun_path, address_.data(), address_.size());
  // "@name" is an abstract address, which begins with a zero byte.
  if (address_.front() == '@') address.sun_path[0] = '\0';
  const Descriptor socket(::socket(AF_UNIX, SOCK_DGRAM | SOCK_CLOEXEC, 0));
  const auto size = static_cast<socklen_t>(offsetof(sockaddr_un, sun_path) + address_.size());
  if (socket) {
    [[maybe_unused]] const ssize_t sent = ::sendto(socket.get(), message.data(), message.size(), MSG_NOSIGNAL | MSG_DONTWAIT,
                                                   reinterpret_cast<const sockaddr*>(&address), size);
  }
}

}  // namespace underwing
