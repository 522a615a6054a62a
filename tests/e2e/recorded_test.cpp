// Goal: the tape that a live run recorded replays to the events of its journal, at the same times, and twice to the
// same bytes. Method: a live run in which an alarm comes and goes and the probe falls silent, then the tool.

#include <gtest/gtest.h>

#include <set>

#include "tests/e2e/gateway.hpp"

namespace underwing::test {
namespace {

/// What the engine found, of lines as `replay --json` prints them; what people did is the live run's own.
std::vector<std::string> found(const std::vector<std::string>& lines) {
  static const std::set<std::string> kinds{"raised", "worsened", "eased", "returned", "blind", "sees", "rejected", "accepted"};
  std::vector<std::string> kept;
  for (const std::string& line : lines) {
    const auto event = nlohmann::json::parse(line, nullptr, false);
    if (event.is_object() && kinds.contains(event.value("event", ""))) kept.push_back(line);
  }
  return kept;
}

TEST(Recorded, ReplayFindsWhatTheLiveRunFound) {
  FarmText farm;
  farm.plugins = Gateway::probe_entry();
  farm.on_delay = "1 s";
  farm.stale_after = "2 s";
  farm.blind_after = "2 s";
  Gateway gateway(farm);
  gateway.start();
  ASSERT_TRUE(wait_until([&] { return gateway.status()["houses"][0]["probes"][0].value("usable", false); }));
  gateway.set_value(25);
  ASSERT_TRUE(wait_until([&] { return gateway.count_events("raised") == 1; })) << gateway.log();
  gateway.set_value(99);  // past what is plausible
  ASSERT_TRUE(wait_until([&] { return gateway.count_events("rejected") == 1; })) << gateway.log();
  gateway.set_value(33);
  ASSERT_TRUE(wait_until([&] { return gateway.count_events("returned") == 1; })) << gateway.log();
  gateway.cut_wire();
  ASSERT_TRUE(wait_until([&] { return gateway.count_events("blind") >= 1; })) << gateway.log();
  gateway.set_value(25);
  ASSERT_TRUE(wait_until([&] { return gateway.count_events("raised") == 2; })) << gateway.log();
  ASSERT_EQ(gateway.stop(), 0);

  const std::string line = "underwing --json replay --farm " + gateway.path("farm") + " " + gateway.path("state/tapes") + "/*";
  const Answer first = shell(line);
  EXPECT_EQ(first.status, 0) << first.text;
  EXPECT_EQ(found(lines_of(first.text)), found(gateway.events()));
  EXPECT_GE(found(gateway.events()).size(), 6U);
  EXPECT_EQ(shell(line).text, first.text);
}

}  // namespace
}  // namespace underwing::test
