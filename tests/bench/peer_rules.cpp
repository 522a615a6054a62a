#include "tests/bench/peer_rules.hpp"

#include <fmt/format.h>

#include <ctime>

namespace underwing {

std::string peer_pack() {
  std::string text = "format: 1\npack: peers\nrules:\n";
  for (const PeerRule& rule : kPeerRules) {
    text += fmt::format("  {}:\n    about: Measured\n    watch: {}\n    {}: {}{}{}\n    each: probe\n    priority: note\n",
                        rule.name, rule.measure, rule.low ? "low" : "high", rule.limit, *rule.unit == '\0' ? "" : " ",
                        rule.unit);
  }
  return text;
}

std::string verdict(std::size_t reading, std::string_view rule, bool raised) {
  return fmt::format("{} {} {}", reading, rule, raised ? '+' : '-');
}

double cpu_seconds() { return static_cast<double>(std::clock()) / CLOCKS_PER_SEC; }

}  // namespace underwing
