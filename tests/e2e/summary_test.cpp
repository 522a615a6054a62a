// Goal: what the daemon hands over in the morning is what the mail plugin draws; text messages and alarms have none of it.
// Method: the real daemon through a night in the readings' time, a channel that keeps what it is given, and the real
// drawing of that.

#include <fmt/format.h>
#include <gtest/gtest.h>

#include <filesystem>

#include "tests/e2e/stepped.hpp"

namespace underwing::test {
namespace {

using std::chrono::sys_days;
using namespace std::chrono_literals;

const std::string kFarm = R"(format: 1
farm: Sandpiper Hollow
time_zone: Europe/London
houses:
  house-1: {{probes: {{air_temperature: [north]}}}}
plugins:
  {1}
  post: {{run: {0}/takes_mail.sh, arguments: [{0}/taken], carries: [text, mail]}}
people:
  ines: {{text: "+44 7700 900101", mail: ines@example.org}}
duty: [{{who: ines}}]
call_out:
  urgent: [{{after: 0 min, tell: ines, by: [text, mail], then_every: 30 min}}]
  soon: [{{after: 0 min, tell: ines, by: text}}]
  note: {{daily: "06:30", tell: ines, by: [text, mail]}}
)";

const std::string kPack = R"(format: 1
pack: own
rules:
  cold-air:
    about: Air is too cold
    watch: air_temperature
    low: 30 °C
    on_delay: 1 min
    off_delay: 2 min
    priority: urgent
    respond_within: 60 min
    do: Look at the chicks first.
)";

/// The night from 03:00 to 06:31, cold from 04:00 to 04:20; every message that came of it.
std::vector<nlohmann::json> messages_of_a_night() {
  SteppedGateway gateway;
  std::filesystem::copy_file(std::string(UNDERWING_SOURCE_DIR) + "/tests/e2e/takes_mail.sh", gateway.path("takes_mail.sh"));
  gateway.write("taken", "");
  const auto begin = sys_days(std::chrono::year(2026) / 3 / 7) + 3h;
  const auto seconds_at = [&](int minute) {
    return std::chrono::duration_cast<std::chrono::seconds>((begin + std::chrono::minutes(minute)).time_since_epoch()).count();
  };
  const auto reading_at = [&](int minute) {
    return fmt::format("[{{\"n\":\"house-1/air_temperature/north\",\"u\":\"Cel\",\"v\":{},\"t\":{}}}]\n", minute >= 60 && minute < 80 ? 28.5 : 33.0, seconds_at(minute));
  };
  gateway.begin(fmt::format(fmt::runtime(kFarm), gateway.path("."), gateway.plugin_entry()), kPack, reading_at(0));
  wait_until_ready(gateway, [](const nlohmann::json&) { return true; });
  for (int minute = 1; minute <= 211; ++minute) gateway.step(reading_at(minute), seconds_at(minute));
  std::vector<nlohmann::json> messages;
  for (const std::string& line : lines_of(read_file(gateway.path("taken")))) messages.push_back(nlohmann::json::parse(line)["params"]);
  return messages;
}

TEST(Summary, ByMailBringsWhatThePluginDraws) {
  const std::vector<nlohmann::json> messages = messages_of_a_night();
  std::size_t alarms = 0;
  nlohmann::json morning;
  for (const nlohmann::json& message : messages) {
    const bool is_morning = message["text"].get<std::string>().starts_with("MORNING 06:30");
    alarms += !is_morning && message["by"] == "mail";
    EXPECT_EQ(message.contains("plots"), is_morning && message["by"] == "mail") << message["text"];
    if (message.contains("plots")) morning = message;
  }
  EXPECT_GE(alarms, 1U);
  ASSERT_FALSE(morning.is_null());
  ASSERT_EQ(morning["plots"].size(), 1U);
  EXPECT_EQ(morning["plots"][0]["alt"],
            "house-1, day 1, air since 03:00: least 28.5 °C at 04:00, most 33.0 °C at 03:00. Under its low limit 04:00-04:20.");

  Child drawing({plugin("mail"), "--draw"});
  drawing.send(morning["plots"].dump());
  drawing.close_input();
  const auto lines = drawing.lines_to_end();
  ASSERT_EQ(lines.size(), 1U);
  const auto drawn = nlohmann::json::parse(lines.front());
  EXPECT_TRUE(drawn.value("png", "").starts_with("iVBORw0KGgo")) << "the signature of PNG; " << lines.front();
  EXPECT_EQ(drawn["alt"], morning["plots"][0]["alt"]);
}

}  // namespace
}  // namespace underwing::test
