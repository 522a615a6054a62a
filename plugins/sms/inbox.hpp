#pragma once

#include <chrono>
#include <deque>
#include <map>
#include <string>
#include <vector>

#include "plugins/sms/modem.hpp"

namespace underwing {

/// Incoming texts until the daemon has them. Joins the parts of long ones, which come in any order or not at all, and
/// knows copies by what stands in them: a text can lie in two stores at once, or be pushed and stored. What is read
/// again from the store changes nothing, so that the store is the memory that outlives the plugin.
class Inbox {
 public:
  using Clock = std::chrono::steady_clock;
  struct Text {
    std::string key;  ///< the same for the same text, in another life of the plugin, too
    Incoming whole;
  };

  /// A text or a part, as it was pushed or lies in the store.
  void see(const Incoming& part, Clock::time_point now);
  /// What is to be handed to the daemon: texts that are whole, and what is left of those whose other parts have not come
  /// for ten minutes, with "..." for each gap. Each once.
  [[nodiscard]] std::vector<Text> ready(Clock::time_point now);
  /// The daemon has it.
  void taken(const std::string& key);
  /// This part may leave the store: the daemon has its text. A store must not fill while the daemon's disk fails, so that
  /// of more than ten texts that wait for its word the oldest may go, too.
  [[nodiscard]] bool may_go(const Incoming& part) const;
  /// Forgets what may go and has not been seen for ten minutes.
  void forget(Clock::time_point now);

 private:
  struct Part {
    Clock::time_point seen{};
    bool may_go = false;
  };
  struct Open {
    std::map<int, Incoming> by_number;
    Clock::time_point since{};
  };
  struct Handed {
    std::string key;
    std::vector<std::string> parts;
  };
  void hand(const std::map<int, Incoming>& parts, int count, std::vector<Text>& out);
  void let_go(const Handed& text);

  std::map<std::string, Part> parts_;  ///< by what stands in them
  std::map<std::string, Open> open_;   ///< texts of which parts are missing
  std::vector<Incoming> whole_;        ///< texts of one part, to be handed over
  std::deque<Handed> handed_;          ///< that wait for the daemon's word
};

}  // namespace underwing
