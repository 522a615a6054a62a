#pragma once

#include <optional>
#include <string>
#include <string_view>

#include "rules/base/time.hpp"

namespace underwing {

/// Tells the service manager how we are, by datagrams to NOTIFY_SOCKET (sd_notify(3)). Where that is not set,
/// or nobody hears, nothing happens: the watch does not depend on it.
class Notifier {
 public:
  /// Reads NOTIFY_SOCKET, WATCHDOG_USEC and WATCHDOG_PID, and takes them out of the environment, so that
  /// plugins do not speak in our name.
  Notifier();

  void ready() const { send("READY=1"); }
  void stopping() const { send("STOPPING=1"); }
  /// To be sent only after the watch has finished a turn of its work: a stuck watch must look stuck.
  void alive() const { send("WATCHDOG=1"); }
  /// One line for `systemctl status`.
  void status(std::string_view text) const;

  /// How often alive() is to be called: half the time that the manager grants. None: it does not ask.
  [[nodiscard]] std::optional<Duration> alive_every() const { return alive_every_; }

 private:
  void send(std::string_view message) const;
  std::string address_;
  std::optional<Duration> alive_every_;
};

}  // namespace underwing
