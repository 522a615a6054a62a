// Goal: every word that the tool prints, every file that it writes and every exit status is as it was
// reviewed. Method: sessions. A file holds command lines behind "$ ", and below each what it prints and
// "(exit N)" where that is not 0. They run in their order in one copy of the farm beside them, with the cases as its neighbour. Run with
// UNDERWING_REWRITE=1 to write down what is said now, and read the difference.
#include <fmt/format.h>
#include <gtest/gtest.h>

#include <cstdlib>
#include <fstream>
#include <sstream>

#include "tests/daemon/temporary_folder.hpp"
#include "tests/tool/shell.hpp"

namespace underwing::testing {
namespace {

const std::filesystem::path kFolder = std::filesystem::path(UNDERWING_SOURCE_DIR) / "tests" / "tool";

std::string play(const std::string& session, const std::filesystem::path& farm) {
  std::string played;
  std::istringstream lines(session);
  bool begun = false;
  for (std::string line; std::getline(lines, line);) {
    const bool is_command = line.starts_with("$ ");
    begun = begun || is_command;
    if (!begun) played += line + "\n";  // what a session says of itself
    if (!is_command) continue;
    const Answer answer = shell(line.substr(2), farm);
    played += line + "\n" + answer.text;
    if (answer.status != 0) played += fmt::format("(exit {})\n", answer.status);
  }
  return played;
}

class Sessions : public ::testing::TestWithParam<const char*> {};

TEST_P(Sessions, SaysWhatWasReviewed) {
  const TemporaryFolder folder;
  const std::filesystem::path farm = folder.path() / "farm";
  std::filesystem::copy(kFolder / "farm", farm, std::filesystem::copy_options::recursive);
  std::filesystem::copy(kFolder.parent_path() / "cases", folder.path() / "cases", std::filesystem::copy_options::recursive);
  const std::filesystem::path file = kFolder / (std::string(GetParam()) + ".session");
  const std::string reviewed = whole_file(file);
  ASSERT_FALSE(reviewed.empty()) << file;
  const std::string played = play(reviewed, farm);
  if (std::getenv("UNDERWING_REWRITE") != nullptr) std::ofstream(file, std::ios::binary) << played;
  EXPECT_EQ(played, reviewed);
}

INSTANTIATE_TEST_SUITE_P(All, Sessions,
                         ::testing::Values("against", "bad_tapes", "check", "commands", "duty", "explain", "explain_needs", "explain_pack", "explain_refused", "part_house", "place", "replay", "tape_order", "units", "unseen"),
                         [](const auto& each) { return std::string(each.param); });

TEST(Place, AsksWhatItIsNotToldOnATerminal) {
  if (shell("command -v script", kFolder).status != 0)
    GTEST_SKIP() << "the program 'script' is needed to stand in for a terminal";
  const TemporaryFolder folder;
  const std::filesystem::path farm = folder.path() / "farm";
  std::filesystem::copy(kFolder / "farm", farm, std::filesystem::copy_options::recursive);
  // Each answer that will not do is asked for again at once, with the reason.
  const Answer answer = shell(
      "printf 'house-3\\nhouse-2\\n2026-04-20 09:00\\nseventeen\\n16000\\n41\\n41g\\n28 wk s\\n28 weeks\\n\\n\\n\\n0 d: 23 h\\n05:00\\n' | script -qec 'underwing place' "
      "/dev/null",
      farm);
  EXPECT_EQ(answer.status, 0) << answer.text;
  EXPECT_NE(answer.text.find("Which house (house-1 or house-2): That will not do: the farm has no house named 'house-3'; did you mean 'house-1'?\r\n"), std::string::npos) << answer.text;
  EXPECT_NE(answer.text.find("That will not do: a plain number is needed here, not 'seventeen'.\r\n"), std::string::npos) << answer.text;
  EXPECT_NE(answer.text.find("That will not do: this weight needs a unit, as in 41 g.\r\n"), std::string::npos) << answer.text;
  EXPECT_NE(answer.text.find("That will not do: an age in weeks from 15 to 100 is wanted, such as 28wk, not '28 wk s'.\r\n"), std::string::npos) << answer.text;
  EXPECT_NE(answer.text.find("Age of their parents in weeks, such as 28wk (may be left empty): "), std::string::npos) << answer.text;
  EXPECT_NE(answer.text.find("Packs that watch over them, such as air,humidity [brooding]: "),
            std::string::npos)
      << answer.text;
  const std::string written = whole_file(farm / "flocks" / "house-2-2026-04-20.yaml");
  EXPECT_NE(written.find("\nbirds: 16000\n"), std::string::npos) << written;
  EXPECT_NE(written.find("\nchick_weight: 41 g\n"), std::string::npos) << written;
  EXPECT_NE(written.find("\npacks: [brooding]\n"), std::string::npos) << written;
  EXPECT_NE(written.find("\n# The parents were 28 weeks old: young, below 30."), std::string::npos) << written;
  EXPECT_NE(written.find("\nlights: {0 d: 23 h}\nlights_on: \"05:00\"\n"), std::string::npos) << written;
  EXPECT_EQ(written.find("\nunloading:"), std::string::npos) << written;
}

TEST(Place, OnATerminalWhatNothingElseCanMendIsRefusedAtItsOwnQuestion) {
  if (shell("command -v script", kFolder).status != 0)
    GTEST_SKIP() << "the program 'script' is needed to stand in for a terminal";
  const TemporaryFolder folder;
  const std::filesystem::path farm = folder.path() / "farm";
  std::filesystem::copy(kFolder / "farm", farm, std::filesystem::copy_options::recursive);
  const auto answered = [&](const std::string& answers, const std::string& options) {
    return shell("printf '" + answers + "' | script -qec 'underwing place" + options + "' /dev/null", farm);
  };
  // What was said on the command line is judged before anything is asked, and 'none' is no plan of lights.
  const Answer first = answered("house-1\\n2026-04-10 09:00\\n2026-05-01 09:00\\n16000\\n41g\\n\\n\\n\\n\\nnone\\n", " --house house-9");
  EXPECT_EQ(first.status, 0) << first.text;
  EXPECT_NE(first.text.find("That will not do: the farm has no house named 'house-9'; did you mean 'house-1'?\r\nWhich house (house-1 or house-2): "), std::string::npos) << first.text;
  EXPECT_NE(first.text.find("That will not do: two flocks would be in house-1 at once: 'spring-house-1' was placed before and is cleared only later.\r\n"), std::string::npos) << first.text;
  EXPECT_EQ(whole_file(farm / "flocks" / "house-1-2026-05-01.yaml").find("\nlights:"), std::string::npos);
  // A house that is not empty: no time of placement would do.
  const Answer second = answered("house-1\\nhouse-2\\n2026-05-01 09:00\\n16000\\n41g\\n\\n\\n\\n\\n\\n", "");
  EXPECT_EQ(second.status, 0) << second.text;
  EXPECT_NE(second.text.find("That will not do: 'house-1-2026-05-01' is still in house-1; its file has no 'cleared'.\r\nWhich house"), std::string::npos) << second.text;
  // Written anew, a flock is not in its own way.
  const Answer third = answered("house-1\\n2026-05-01 09:00\\n15000\\n41g\\n\\n\\n\\n\\n\\n", " --replace");
  EXPECT_EQ(third.status, 0) << third.text;
  EXPECT_EQ(third.text.find("That will not do"), std::string::npos) << third.text;
  EXPECT_NE(whole_file(farm / "flocks" / "house-1-2026-05-01.yaml").find("\nbirds: 15000\n"), std::string::npos);
}

}  // namespace
}  // namespace underwing::testing
