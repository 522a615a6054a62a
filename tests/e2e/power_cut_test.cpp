// Goal: kill -9 of the daemon between the raising and the answer loses no alarm, skips or repeats no step, invents no
// blindness and leaves no plugin behind. Method: the real daemon in real time, its steps seconds apart.

#include <gtest/gtest.h>

#include "tests/e2e/gateway.hpp"

namespace underwing::test {
namespace {

TEST(PowerCut, AlarmStepsAndAnswerOutliveIt) {
  FarmText farm;
  farm.plugins = Gateway::probe_entry();
  farm.stale_after = "5 s";
  farm.blind_after = "1 min";
  Gateway gateway(farm);
  gateway.start();
  gateway.set_value(25);
  ASSERT_TRUE(wait_until([&] { return gateway.count_texts("ines", "COLD") == 1; })) << gateway.log();
  const auto before = gateway.alarm("cold-air");
  ASSERT_TRUE(before.is_object());
  EXPECT_EQ(gateway.plugins_running(), 1U);

  gateway.kill_hard();
  EXPECT_TRUE(wait_until([&] { return gateway.plugins_running() == 0; })) << "a plugin was left behind";
  gateway.start();
  const auto after = gateway.alarm("cold-air");
  ASSERT_TRUE(after.is_object()) << "the alarm is lost: " << gateway.log();
  EXPECT_EQ(after.at("code"), before.at("code"));
  EXPECT_EQ(after.at("since"), before.at("since"));
  EXPECT_EQ(after.at("state"), "unacknowledged");
  ASSERT_TRUE(wait_until([&] { return gateway.count_texts("maud", "COLD") == 1; })) << gateway.log();
  EXPECT_EQ(gateway.count_texts("tomas", "COLD"), 1U);
  // Only the text that was in flight may come twice.
  EXPECT_LE(gateway.count_texts("ines", "COLD"), 2U);
  EXPECT_EQ(gateway.plugins_running(), 1U);

  const std::string code = before.at("code");
  const Answer answer = gateway.tool("acknowledge " + code + " --who tomas");
  EXPECT_EQ(answer.status, 0) << answer.text;
  EXPECT_EQ(gateway.alarm("cold-air").at("state"), "acknowledged");

  gateway.kill_hard();
  EXPECT_TRUE(wait_until([&] { return gateway.plugins_running() == 0; })) << "a plugin was left behind";
  gateway.start();
  const auto kept = gateway.alarm("cold-air");
  ASSERT_TRUE(kept.is_object()) << gateway.log();
  EXPECT_EQ(kept.at("state"), "acknowledged");
  EXPECT_EQ(kept.at("answered_by"), "tomas");
  EXPECT_EQ(gateway.count_texts("tomas", "COLD 25"), 1U);
  EXPECT_LE(gateway.count_texts("maud", "wants"), 1U);
  EXPECT_EQ(gateway.count_events("raised"), 1U);
  EXPECT_EQ(gateway.count_events("blind"), 0U);

  gateway.set_value(33);
  EXPECT_TRUE(wait_until([&] { return gateway.count_events("returned") == 1; })) << gateway.log();
  EXPECT_EQ(gateway.stop(), 0);
  EXPECT_EQ(gateway.plugins_running(), 0U);
}

}  // namespace
}  // namespace underwing::test
