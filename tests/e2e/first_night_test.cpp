// Goal: the main job in one command, as a stranger runs it. Method: examples/first-night.sh itself, over this build.

#include <gtest/gtest.h>

#include <filesystem>
#include <fmt/format.h>
#include <signal.h>
#include <sstream>

#include "tests/e2e/gateway.hpp"

namespace underwing::test {
namespace {

const std::string kRoot = UNDERWING_SOURCE_DIR;

/// The part of the screen that tells the night: from its first line to its end.
std::string story_of(const std::string& screen) {
  const auto begin = screen.find("A night at"), end = screen.find("The night is over");
  return begin == std::string::npos || end == std::string::npos ? "" : screen.substr(begin, end - begin);
}

TEST(FirstNight, TellsTheWholeNightTwiceTheSame) {
  const TemporaryFolder folder;
  const std::string run = fmt::format("TMPDIR={} {}/examples/first-night.sh", folder.path("."), kRoot);
  const Answer first = shell(run);
  ASSERT_EQ(first.status, 0) << first.text;
  const std::string story = story_of(first.text);
  std::size_t at = 0;
  for (const std::string part : {"text to ines (+44 7700 900101): Ready for the night", "02:10  The heater in house-1 goes out", "text to ines (+44 7700 900101): H1 COLD",
                                 "text to tomas (+44 7700 900102): H1 COLD", "replies: OK", "tomas has it", "back to normal", "06:30  text to ines (+44 7700 900101): MORNING"}) {
    const auto found = story.find(part, at);
    ASSERT_NE(found, std::string::npos) << "not told in its turn: " << part << "\n" << first.text;
    at = found;
  }

  std::size_t commands = 0;
  std::istringstream lines(first.text.substr(first.text.find("Try next")));
  for (std::string line; std::getline(lines, line);) {
    if (!line.starts_with("  ./build/")) continue;
    ++commands;
    const Answer answer = shell(fmt::format("cd {} && {}", kRoot, line));
    EXPECT_EQ(answer.status, 0) << line << "\n" << answer.text;
    EXPECT_FALSE(answer.text.empty()) << line;
    if (line.find(" report ") != std::string::npos) {
      EXPECT_NE(answer.text.find("cold-air, urgent: for "), std::string::npos) << answer.text;
      EXPECT_NE(answer.text.find("; tomas answered after "), std::string::npos) << answer.text;
    }
  }
  EXPECT_EQ(commands, 4U);

  const Answer second = shell(run);
  ASSERT_EQ(second.status, 0) << second.text;
  EXPECT_EQ(story_of(second.text), story);
}

TEST(FirstNight, InterruptedLeavesNothingBehind) {
  const TemporaryFolder folder;
  const std::string screen = folder.path("screen");
  // A session of its own, as a terminal has one: every process of the night is found by it.
  Child night({"sh", "-c", fmt::format("echo $$ >{0}/session; TMPDIR={0} UNDERWING_PACE_MS=50 exec setsid {1}/examples/first-night.sh >{2} 2>&1",
                                       folder.path("."), kRoot, screen)});
  ASSERT_TRUE(wait_until([&] { return std::filesystem::exists(screen) && read_file(screen).find("Ready for the night") != std::string::npos; },
                         std::chrono::seconds(120)))
      << read_file(screen);
  const pid_t session = std::stoi(read_file(folder.path("session")));
  const std::string mine = fmt::format("pgrep -s {} -r S,R,D -a", session);
  EXPECT_GE(count_of("\n", shell(mine).text), 5U) << shell(mine).text;
  ASSERT_EQ(kill(-session, SIGINT), 0);
  EXPECT_TRUE(wait_until([&] { return shell(mine).text.empty(); }, std::chrono::seconds(20))) << shell(mine).text;
}

}  // namespace
}  // namespace underwing::test
