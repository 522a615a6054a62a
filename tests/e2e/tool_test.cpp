// Goal: the command line does what its help says, and its exit status tells fine, wrong and could-not-run apart.

#include <gtest/gtest.h>

#include <fmt/format.h>
#include <fstream>
#include <sstream>

#include "tests/e2e/gateway.hpp"

namespace underwing::test {
namespace {

const std::string kCases = std::string(UNDERWING_SOURCE_DIR) + "/tests/cases/";

std::vector<nlohmann::json> parsed(const std::string& text) {
  std::vector<nlohmann::json> lines;
  std::istringstream in(text);
  for (std::string line; std::getline(in, line);) lines.push_back(nlohmann::json::parse(line, nullptr, false));
  return lines;
}

TEST(Tool, ReplaysTheSampleFarmsAsExpected) {
  for (const std::string name : {"heater_fails", "ammonia_in_steps"}) {
    EXPECT_EQ(shell(fmt::format("underwing check {}{}/farm", kCases, name)).status, 0);
    const Answer answer = shell(fmt::format("underwing replay --json --farm {0}{1}/farm {0}{1}/tape.senml", kCases, name));
    EXPECT_EQ(answer.status, 0);
    std::vector<nlohmann::json> events;
    for (const auto& event : parsed(answer.text)) {
      ASSERT_TRUE(event.is_object()) << answer.text;
      if (event.at("event") != "told" && event.at("event") != "trouble") events.push_back(event);
    }
    const auto expected = parsed(read_file(kCases + name + "/expected.jsonl"));
    ASSERT_EQ(events.size(), expected.size()) << name << ":\n" << answer.text;
    for (std::size_t i = 0; i < expected.size(); ++i) {
      for (const auto& [key, value] : expected[i].items()) EXPECT_EQ(events[i][key], value) << name << ", event " << i << ": " << events[i];
    }
  }
}

TEST(Tool, ExitStatusesTellFineWrongAndCouldNotRunApart) {
  const TemporaryFolder folder;
  const std::string bad = folder.write("farm.yaml", "format: 1\nfarm: Sandpiper Hollow\nfarm: Sandpiper Hollow\n");
  const std::vector<std::pair<std::string, int>> table{
      {"underwing check " + kCases + "heater_fails/farm", 0},
      {"underwing check " + folder.path("."), 1},
      {"underwing --json check " + folder.path("."), 1},
      {"underwing check " + folder.path("none"), 2},
      {"underwing replay --farm " + folder.path(".") + " " + kCases + "heater_fails/tape.senml", 1},
      {"underwing replay --farm " + folder.path("none") + " " + kCases + "heater_fails/tape.senml", 2},
      {"underwing replay --farm " + kCases + "heater_fails/farm " + folder.path("none.senml"), 2},
      {"underwing replay --farm " + kCases + "heater_fails/farm --answer-after soon " + kCases + "heater_fails/tape.senml", 2},
      {"underwing --socket " + folder.path("none") + " status", 2},
      {"underwing --socket " + folder.path("none") + " acknowledge K7", 2},
      {"underwing alarms --state " + folder.path("none"), 2},
      {"underwing", 2},
      {"underwing brood", 2},
      {"underwing check --brood", 2},
      {"underwing --version", 0},
      {"underwingd --version", 0},
      {"underwingd --farm " + folder.path(".") + " --state " + folder.path("state"), 1},
  };
  for (const auto& [line, status] : table) {
    const Answer answer = shell(line);
    EXPECT_EQ(answer.status, status) << line << "\n" << answer.text;
    EXPECT_FALSE(answer.text.empty()) << line;
  }
}

TEST(Tool, ExplainsWhyARuleIsWatchingNow) {
  FarmText farm;
  farm.plugins = Gateway::probe_entry();
  Gateway gateway(farm);
  gateway.start();
  ASSERT_TRUE(wait_until([&] { return gateway.status()["houses"][0]["probes"][0].value("usable", false); }));
  const Answer now = gateway.tool("explain cold-air --now");
  EXPECT_EQ(now.status, 0) << now.text;
  EXPECT_NE(now.text.find("Watching        Yes. It can tell. Nothing is wrong by this rule."), std::string::npos) << now.text;
  EXPECT_NE(now.text.find("; low 30 °C"), std::string::npos) << now.text;
  // The whole explanation ends with the same, as long as nobody asks for an age.
  const std::string farm_option = " --farm " + gateway.path("farm");
  EXPECT_NE(gateway.tool("explain cold-air" + farm_option).text.find("Watching        Yes."), std::string::npos);
  EXPECT_EQ(gateway.tool("explain cold-air --age 3d" + farm_option).text.find("Watching "), std::string::npos);
  const Answer as_json = gateway.tool("--json explain cold-air --now");
  const auto entry = nlohmann::json::parse(as_json.text, nullptr, false);
  ASSERT_TRUE(entry.is_object()) << as_json.text;
  EXPECT_EQ(entry.at("watching"), true);
  const Answer wrong = gateway.tool("explain cold-aire --now");
  EXPECT_EQ(wrong.status, 2);
  EXPECT_NE(wrong.text.find("did you mean 'cold-air'?"), std::string::npos) << wrong.text;
  EXPECT_EQ(gateway.tool("explain cold --now").text, "underwing: the watch has no rule named 'cold' in force; did you mean cold-air?\n");
  EXPECT_EQ(gateway.tool("explain dog --now").text, "underwing: the watch has no rule named 'dog' in force; 'underwing explain' lists all\n");
  EXPECT_EQ(gateway.tool("explain cold-air --now --flock house-1").text, "underwing: 'house-1' is a house; its flock is 'spring'\n");
  gateway.cut_wire();
  ASSERT_EQ(gateway.tool("work house-1 --for 20min").status, 0);
  const Answer at_work = gateway.tool("explain cold-air --now");
  EXPECT_NE(at_work.text.find("Watching        No. People work in the house until "), std::string::npos) << at_work.text;
  ASSERT_EQ(gateway.tool("work house-1 --for 0").status, 0);
  EXPECT_NE(gateway.tool("explain cold-air --now").text.find("Watching        Yes."), std::string::npos);
  // A shelved rule watches, and tells nobody.
  ASSERT_EQ(gateway.tool("shelve cold-air --house house-1 --for 2h --why 'a new probe' --who ines --even-urgent").status, 0);
  const Answer shelved = gateway.tool("explain cold-air --now");
  EXPECT_NE(shelved.text.find("Watching        Yes. It is shelved until "), std::string::npos) << shelved.text;
  const auto house = gateway.status()["houses"][0];
  ASSERT_EQ(house.value("shelved", nlohmann::json::array()).size(), 1U) << house;
  EXPECT_EQ(house["shelved"][0].at("why"), "a new probe");
}

TEST(Tool, ExplainsAProbeThatIsOnOrOffAsStatusDoes) {
  FarmText farm;
  farm.plugins = "  meter: {run: FOLDER/probe.sh, arguments: [FOLDER/value, house-1/mains/supply, /]}";
  Gateway gateway(farm);
  const std::string file = gateway.path("farm/farm.yaml"), text = read_file(file), probes = "air_temperature: [north]";
  std::ofstream(file) << std::string(text).replace(text.find(probes), probes.size(), probes + ", mains: [supply]");
  std::ofstream(gateway.path("farm/rules/own.yaml"), std::ios::app) << "  mains-lost: {when: mains is off, priority: note, do: Look at the breaker}\n";
  for (const auto& [value, word] : {std::pair(1, "on"), std::pair(0, "off")}) {
    gateway.set_value(value);
    if (value == 1) gateway.start();
    const std::string wanted = fmt::format("Probes          mains/supply: {}, ", word);
    EXPECT_TRUE(wait_until([&] { return gateway.tool("explain mains-lost --now").text.find(wanted) != std::string::npos; })) << gateway.tool("explain mains-lost --now").text;
  }
}

TEST(Tool, ExplainsLimitsOfTheShippedPacksAsNumbers) {
  const std::string of_the_example = std::string(" --farm ") + UNDERWING_SOURCE_DIR + "/examples/farm --flock spring-house-1 --age 3d";
  const std::string light = shell("underwing explain light-birds" + of_the_example).text;
  EXPECT_NE(light.find("   7 d    7  2026-03-09 09:30     171\n"), std::string::npos) << light;  // nine tenths of the goal of 190 g
  const std::string ratio = shell("underwing explain water-to-feed" + of_the_example).text;
  EXPECT_NE(ratio.find("  24 d   24  2026-03-26 09:30       1.5          2\n  After that the same, until the house is cleared.\n"), std::string::npos) << ratio;
}

TEST(Tool, RecordSaysInWhichUnitItTookTheValue) {
  FarmText farm;
  farm.plugins = Gateway::probe_entry();
  Gateway gateway(farm);
  const std::string file = gateway.path("farm/farm.yaml");
  std::string text = read_file(file);
  text.insert(text.find("time_zone:"), "units: us\n");
  const std::string probes = "air_temperature: [";
  ASSERT_NE(text.find(probes), std::string::npos) << text;
  text.insert(text.find(probes), "vent_temperature: [entered], ");
  std::ofstream(file) << text;
  gateway.start();
  const Answer written = gateway.tool("record house-1 vent_temperature 40");
  EXPECT_EQ(written.status, 0) << written.text;
  EXPECT_NE(written.text.find("house-1 vent_temperature 40 °C (104 °F) is written."), std::string::npos) << written.text;
  const Answer refused = gateway.tool("record house-1 vent_temperature 104");
  EXPECT_EQ(refused.status, 1) << refused.text;
  EXPECT_NE(refused.text.find("it is between 86 and 113 °F. Nothing was written down. Taken as 104 °C (219.2 °F)."), std::string::npos) << refused.text;
}

TEST(Tool, MistakesAreShownInTheirPlace) {
  const TemporaryFolder folder;
  static_cast<void>(folder.write("farm.yaml", "format: 1\nfarm: Sandpiper Hollow\nfarm: Sandpiper Hollow\n"));
  const Answer answer = shell("cd " + folder.path(".") + " && underwing check .");
  EXPECT_NE(answer.text.find("farm.yaml:3:1: "), std::string::npos) << answer.text;
  EXPECT_NE(answer.text.find("  3 | farm: Sandpiper Hollow"), std::string::npos) << answer.text;
}

TEST(Tool, EveryCommandExplainsItself) {
  const std::string help = shell("underwing --help").text;
  std::vector<std::string> commands;
  std::istringstream in(help.substr(help.find("Subcommands:")));
  std::string line;
  std::getline(in, line);
  while (std::getline(in, line)) {
    if (line.size() > 2 && line[0] == ' ' && line[2] != ' ') commands.push_back(line.substr(2, line.find(' ', 2) - 2));
  }
  EXPECT_GE(commands.size(), 7U) << help;
  for (const std::string& command : commands) {
    const Answer answer = shell("underwing " + command + " --help");
    EXPECT_EQ(answer.status, 0) << command;
    EXPECT_EQ(answer.text.find("Usage:") != std::string::npos && answer.text.find("Usage:") > 10, true) << answer.text;
  }
}

}  // namespace
}  // namespace underwing::test
