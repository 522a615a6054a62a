#pragma once

#include <string>

#include "tests/e2e/gateway.hpp"

namespace underwing::test {

/// The daemon in the readings' time: a plugin (hand_on.sh) hands it the lines of a file, and says in another what it answers.
/// The farm has house-1 with a flock of 17000, placed on 6 March 2026 at 09:30, and a pack of its own.
class SteppedGateway : public Gateway {
 public:
  SteppedGateway();

  /// Under `plugins` of the farm's file.
  [[nodiscard]] std::string plugin_entry() const;
  void write(const std::string& name, const std::string& text) const;
  /// Starts with the file and `pack`; the watch begins with the reading, a line of SenML.
  void begin(const std::string& farm, const std::string& pack, const std::string& reading);
  /// A reading, then all that falls due by `seconds`, since 1970. Throws where that does not settle.
  void step(const std::string& reading, long long seconds);

 private:
  int steps_ = 0;
};

/// Waits until all plugins are ready, and `besides` holds of each of them (an entry of the status). Throws.
template <typename Besides>
void wait_until_ready(const Gateway& gateway, Besides besides) {
  const auto ready = [&] {
    for (const auto& plugin : gateway.status()["plugins"]) {
      if (plugin["state"] != "ready" || !besides(plugin)) return false;
    }
    return true;
  };
  if (!wait_until(ready)) throw std::runtime_error("the plugins are not ready: " + gateway.log());
}

}  // namespace underwing::test
