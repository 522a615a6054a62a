#pragma once

#include <chrono>
#include <deque>
#include <map>
#include <optional>
#include <string>
#include <vector>

#include "plugins/sms/modem.hpp"

namespace underwing {

/// Joins the parts of long texts, which come in any order or not at all, and drops copies: a text can lie in two
/// stores at once, or be pushed and stored.
class LongTexts {
 public:
  using Clock = std::chrono::steady_clock;

  /// The whole text, once it is whole.
  [[nodiscard]] std::optional<Incoming> take(const Incoming& part, Clock::time_point now);
  /// What is left of texts whose other parts have not come for ten minutes, with "..." for each gap.
  [[nodiscard]] std::vector<Incoming> overdue(Clock::time_point now);

 private:
  struct Parts {
    std::map<int, Incoming> by_number;
    Clock::time_point since{};
  };
  [[nodiscard]] static Incoming joined(const Parts& parts);
  [[nodiscard]] bool seen(const Incoming& part);

  std::map<std::string, Parts> open_;
  std::deque<std::string> seen_;  ///< the newest kSeenMax
};

/// Septets of the GSM 7-bit alphabet (3GPP TS 23.038, 6.2.1): those of its extension table take two.
[[nodiscard]] std::size_t septets_of(const std::string& utf8);
/// As much of the text as fits into one part of 160 septets, whole characters only.
[[nodiscard]] std::string one_part(const std::string& utf8);

}  // namespace underwing
