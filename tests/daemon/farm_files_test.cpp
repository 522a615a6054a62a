// Goal: a farm's folder is read whole, and what cannot be read is said. Method: folders made for the test.

#include "daemon/farm_files.hpp"

#include <cstdlib>
#include <fstream>

#include <gtest/gtest.h>

#include "tests/daemon/temporary_folder.hpp"

namespace underwing {
namespace {

class FarmFilesTest : public testing::Test {
 protected:
  void SetUp() override {
    put("shipped/air.yaml", "shipped air");
    put("spoken/fr.yaml", "shipped fr");
    ::setenv("UNDERWING_PACKS", (folder_.path() / "shipped").c_str(), 1);
    ::setenv("UNDERWING_LANGUAGES", (folder_.path() / "spoken").c_str(), 1);
  }
  void TearDown() override {
    ::unsetenv("UNDERWING_PACKS");
    ::unsetenv("UNDERWING_LANGUAGES");
  }
  void put(const std::string& name, const std::string& text) const {
    std::filesystem::create_directories((folder_.path() / name).parent_path());
    std::ofstream(folder_.path() / name) << text;
  }
  [[nodiscard]] std::string path(const std::string& name) const { return (folder_.path() / name).string(); }
  TemporaryFolder folder_;
};

TEST_F(FarmFilesTest, ReadsFarmFlocksRulesAndShippedPacks) {
  put("farm/farm.yaml", "farm");
  put("farm/flocks/b.yml", "flock b");
  put("farm/flocks/a.yaml", "flock a");
  put("farm/flocks/.a.yaml", "an editor's file");
  put("farm/flocks/a.yaml~", "an editor's file");
  put("farm/rules/own.yaml", "own");
  put("farm/languages/pl.yaml", "own pl");
  put("farm/growth/own.csv", "0,42");
  put("farm/growth/own.ods", "what it was made from");
  const auto files = read_farm_files(folder_.path() / "farm");
  ASSERT_TRUE(files) << files.error();
  EXPECT_EQ(files->farm_path, path("farm/farm.yaml"));
  EXPECT_EQ(files->farm_text, "farm");
  EXPECT_EQ(files->flocks, (std::map<std::string, std::string>{{path("farm/flocks/a.yaml"), "flock a"},
                                                               {path("farm/flocks/b.yml"), "flock b"}}));
  EXPECT_EQ(files->packs, (std::map<std::string, std::string>{{path("farm/rules/own.yaml"), "own"}}));
  EXPECT_EQ(files->tables, (std::map<std::string, std::string>{{path("farm/growth/own.csv"), "0,42"}}));
  EXPECT_EQ(files->shipped, (std::map<std::string, std::string>{{path("shipped/air.yaml"), "shipped air"}}));
  EXPECT_EQ(files->languages, (std::map<std::string, std::string>{{path("farm/languages/pl.yaml"), "own pl"}}));
  EXPECT_EQ(files->shipped_languages, (std::map<std::string, std::string>{{path("spoken/fr.yaml"), "shipped fr"}}));
}

TEST_F(FarmFilesTest, AFarmWithoutFlocksAndRulesIsFine) {
  put("farm/farm.yaml", "farm");
  const auto files = read_farm_files(folder_.path() / "farm");
  ASSERT_TRUE(files);
  EXPECT_TRUE(files->flocks.empty());
  EXPECT_TRUE(files->packs.empty());
}

TEST_F(FarmFilesTest, SaysWhatCannotBeRead) {
  EXPECT_EQ(read_farm_files(folder_.path() / "farm").error(),
            "cannot read " + path("farm/farm.yaml") + ": No such file or directory");
  put("farm/farm.yaml", "farm");
  put("farm/flocks/a.yaml/inside", "a folder with the name of a file");
  EXPECT_EQ(read_farm_files(folder_.path() / "farm").error(),
            "cannot read " + path("farm/flocks/a.yaml") + ": Is a directory");
}

}  // namespace
}  // namespace underwing
