// Goal: new rules that are wrong are refused, the old ones stay in force and people hear of it; good ones say what
// they change. Method: the real daemon and `underwing reload`.

#include <gtest/gtest.h>

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

  farm.limit = "34 °C";
  gateway.write_farm(farm);
  const Answer taken = gateway.tool("reload");
  EXPECT_EQ(taken.status, 0) << taken.text;
  EXPECT_NE(taken.text.find("cold-air"), std::string::npos) << taken.text;
  EXPECT_NE(gateway.status().at("rules"), rules_before);
  // At 33 °C the new limit is broken: it is in force.
  EXPECT_TRUE(wait_until([&] { return gateway.alarm("cold-air").is_object(); })) << gateway.log();
  const auto over = gateway.alarm("rules-refused", "trouble");
  EXPECT_TRUE(over.is_null() || !over.at("returned").is_null()) << over;
}

}  // namespace
}  // namespace underwing::test
