// Goal: new rules that are wrong are refused, the old ones stay in force and people hear of it; good ones say what
// they change. Method: the real daemon and `underwing reload`.

#include <gtest/gtest.h>

#include <algorithm>
#include <array>
#include <ctime>
#include <fstream>

#include "tests/e2e/gateway.hpp"

namespace underwing::test {
namespace {

TEST(Reload, BadRulesAreRefusedAndGoodOnesSayWhatChanged) {
  FarmText farm;
  farm.plugins = Gateway::probe_entry();
  Gateway gateway(farm);
  gateway.start();
  ASSERT_TRUE(wait_until([&] { return gateway.status()["houses"][0]["probes"][0].value("usable", false); }));
  const auto rules_before = gateway.status().at("rules");
  EXPECT_EQ(gateway.tool("reload").status, 0);  // nothing has changed

  farm.limit = "30 g";
  gateway.write_farm(farm);
  const Answer refused = gateway.tool("reload");
  EXPECT_EQ(refused.status, 1) << refused.text;
  EXPECT_NE(refused.text.find("own.yaml:9:10:"), std::string::npos) << refused.text;
  EXPECT_NE(refused.text.find("the old rules stay in force"), std::string::npos) << refused.text;
  EXPECT_EQ(gateway.status().at("rules"), rules_before);
  const auto trouble = gateway.alarm("rules-refused", "trouble");
  ASSERT_TRUE(trouble.is_object());
  EXPECT_EQ(trouble.at("priority"), "soon");
  EXPECT_NE(trouble.dump().find("the old ones stay in force; mistake at rules/own.yaml:9\""), std::string::npos) << trouble;

  farm.limit = "34 °C";
  gateway.write_farm(farm);
  const Answer taken = gateway.tool("reload");
  EXPECT_EQ(taken.status, 0) << taken.text;
  EXPECT_TRUE(taken.text.starts_with("New rules are in force: 1 rule in 1 house.\n")) << taken.text;
  EXPECT_NE(taken.text.find("  house-1: cold-air: low at day 0 was 30 °C, now 34 °C\n"), std::string::npos) << taken.text;
  EXPECT_NE(gateway.status().at("rules"), rules_before);
  // At 33 °C the new limit is broken: it is in force.
  EXPECT_TRUE(wait_until([&] { return gateway.alarm("cold-air").is_object(); })) << gateway.log();
  const auto over = gateway.alarm("rules-refused", "trouble");
  EXPECT_TRUE(over.is_null() || !over.at("returned").is_null()) << over;
}

TEST(Reload, OfTheShippedPackSaysTheLimitOfTheFlocksDayToWhoeverAsksAndToTheJournal) {
  FarmText farm;
  farm.plugins = Gateway::probe_entry();
  Gateway gateway(farm);
  const auto write_flock = [&](const char* low) {
    const std::time_t placed = std::time(nullptr) - 84 * 3600;
    std::array<char, 32> stamp{};
    std::tm parts{};
    std::strftime(stamp.data(), stamp.size(), "%Y-%m-%d %H:%M", gmtime_r(&placed, &parts));
    std::ofstream(gateway.path("farm/flocks/spring.yaml"))
        << "format: 1\nflock: spring\nhouse: house-1\nplaced: " << stamp.data() << "\nbirds: 1000\nchick_weight: 42 g\npacks: [air]\n"
        << "adjust:\n  warm_start: {points: {0 d: 33, 3 d: 31, 7 d: 30, 27 d: 22}}\n  cold-air: {low: " << low << "}\n";
  };
  write_flock("air_target - 2 K");
  gateway.start();
  write_flock("air_target - 2.5 K");
  const Answer taken = gateway.tool("reload");
  EXPECT_EQ(taken.status, 0) << taken.text;
  EXPECT_NE(taken.text.find("  house-1: cold-air: low at day 3 was 29.0 °C, now 28.5 °C\n"), std::string::npos) << taken.text;
  const auto in_journal = [&] {
    const auto events = gateway.events();
    return std::any_of(events.begin(), events.end(), [](const std::string& event) {
      return event.find(R"("changes":["house-1: cold-air: low at day 3 was 29.0 °C, now 28.5 °C"],"event":"reloaded")") != std::string::npos;
    });
  };
  EXPECT_TRUE(wait_until(in_journal)) << taken.text;
}

}  // namespace
}  // namespace underwing::test
