// Goal: a tape plays what it holds, plain or under zstd, with the times asked for. Method: the real program.
#include <gtest/gtest.h>

#include <cstdlib>

#include "plugins/shared/clock.hpp"
#include "tests/plugins/child.hpp"

namespace underwing::test {
namespace {

constexpr const char* kTape =
    "[{\"n\":\"watch/clock\",\"t\":1772443799}]\n"
    "[{\"n\":\"h1/air_temperature/north\",\"u\":\"Cel\",\"v\":32.9,\"t\":1772443800}]\n"
    "this is no line of a tape\n"
    "[{\"bn\":\"h1/\",\"bt\":1772443810,\"n\":\"water/main\",\"u\":\"l\",\"s\":7},{\"n\":\"mains/"
    "m\",\"vb\":true}]\n"
    "[{\"n\":\"h1/air_temperature/north\",\"u\":\"Cel\",\"v\":32.8,\"t\":1772443820.5}]";

const std::vector<std::string> kPlayed = {
    R"([{"n":"h1/air_temperature/north","u":"Cel","v":32.9,"t":1772443800}])",
    R"([{"n":"h1/water/main","u":"l","s":7,"t":1772443810}])",
    R"([{"n":"h1/mains/m","vb":true,"t":1772443810}])",
    R"([{"n":"h1/air_temperature/north","u":"Cel","v":32.8,"t":1772443820.5}])",
};

/// The readings, then the last health's text.
std::vector<std::string> play(const nlohmann::json& settings) {
  Child tape({plugin("tape")});
  tape.send_message(settings_message(settings));
  std::vector<std::string> lines;
  while (const auto line = tape.line()) {
    const auto json = nlohmann::json::parse(*line);
    if (json.is_array()) lines.push_back(*line);
    if (!json.is_object() || json.value("method", "") != "health") continue;
    const auto text = json["params"]["text"].get<std::string>();
    if (text.starts_with("plays")) continue;
    lines.push_back(text);
    break;
  }
  return lines;
}

TEST(Tape, PlaysAsFastAsItGoes) {
  const TemporaryFolder folder;
  auto expected = kPlayed;
  expected.emplace_back("the tape has ended; 3 lines were played, 1 not understood");
  EXPECT_EQ(play({{"file", folder.write("t.senml", kTape)}, {"speed", 0}}), expected);
}

TEST(Tape, ReadsZstdAndNoticesACut) {
  const TemporaryFolder folder;
  const std::string plain = folder.write("t.senml", kTape);
  ASSERT_EQ(std::system(("zstd -q " + plain).c_str()), 0);
  auto expected = kPlayed;
  expected.emplace_back("the tape has ended; 3 lines were played, 1 not understood");
  EXPECT_EQ(play({{"file", plain + ".zst"}, {"speed", 0}}), expected);
  const std::string bytes = read_file(plain + ".zst");
  const std::string cut = folder.write("cut.senml.zst", bytes.substr(0, bytes.size() - 6));
  EXPECT_NE(play({{"file", cut}, {"speed", 0}}).back().find("ended early: the file is cut short"),
            std::string::npos);
}

TEST(Tape, KeepsItsPaceAndShiftsTimesToNow) {
  const TemporaryFolder folder;
  const double before = wall_seconds();
  const auto lines = play({{"file", folder.write("t.senml", kTape)}, {"speed", 100}});
  ASSERT_EQ(lines.size(), 5U);
  const double first = nlohmann::json::parse(lines[0])[0]["t"];
  const double last = nlohmann::json::parse(lines[3])[0]["t"];
  EXPECT_NEAR(last - first, 0.205, 0.0021);
  EXPECT_GE(first, before - 0.001);
  EXPECT_GE(wall_seconds(), last - 0.001);  // Not handed over before its time.
}

TEST(Tape, SaysWhichSettingIsWrong) {
  Child tape({plugin("tape")});
  tape.send_message(settings_message({{"file", "/nowhere/t.senml"}}));
  EXPECT_EQ(tape.message("health")["text"],
            "settings.file '/nowhere/t.senml' cannot be opened: No such file or directory.");
}

}  // namespace
}  // namespace underwing::test
