// Goal: the wall clock is set back by an hour and forward by ten while the watch runs: it goes on judging, and says so.
// Method: a library preloaded into the daemon shifts its wall clock alone; the probe's clock is the daemon's.

#include <gtest/gtest.h>

#include <filesystem>
#include <fstream>

#include "tests/e2e/gateway.hpp"

namespace underwing::test {
namespace {

TEST(ClockJump, BackAnHourAndForwardTenTheWatchGoesOn) {
  FarmText farm;
  farm.plugins = Gateway::probe_entry();
  farm.on_delay = "1 s";
  Gateway gateway(farm);
  const auto shift = [&](const std::string& seconds) {
    std::ofstream(gateway.path("shift.new")) << seconds;
    std::filesystem::rename(gateway.path("shift.new"), gateway.path("shift"));
  };
  gateway.start("LD_PRELOAD=" UNDERWING_OTHER_TIME " OTHER_TIME_FILE=" + gateway.path("shift"));
  ASSERT_TRUE(wait_until([&] { return gateway.status()["houses"][0]["probes"][0].value("usable", false); }));
  const std::string begun = gateway.status().at("time");

  shift("-3600");
  ASSERT_TRUE(wait_until([&] { return gateway.alarm("clock", "trouble").is_object(); })) << gateway.log();
  EXPECT_NE(gateway.alarm("clock", "trouble").at("text").get<std::string>().find("clock"), std::string::npos);
  // Engine time has not run back, and readings still count.
  EXPECT_TRUE(wait_until([&] { return gateway.status().at("time").get<std::string>() > begun; }));
  gateway.set_value(25);
  ASSERT_TRUE(wait_until([&] { return gateway.count_events("raised") == 1; })) << gateway.log();
  EXPECT_TRUE(wait_until([&] { return gateway.count_texts("ines", "COLD") == 1; }));
  gateway.set_value(33);
  ASSERT_TRUE(wait_until([&] { return gateway.count_events("returned") == 1; })) << gateway.log();

  shift("32400");  // ten hours on from there
  ASSERT_TRUE(wait_until([&] { return gateway.count_events("clock") >= 2 || count_of("clock", gateway.log()) >= 2; })) << gateway.log();
  gateway.set_value(24);
  ASSERT_TRUE(wait_until([&] { return gateway.count_events("raised") == 2; })) << gateway.log();
  EXPECT_EQ(gateway.count_events("blind"), 0U);
  EXPECT_EQ(gateway.status().at("refused_ahead"), 0);
}

}  // namespace
}  // namespace underwing::test
