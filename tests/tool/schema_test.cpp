// Goal: the JSON Schemas accept every file that is fine and refuse what the loader would refuse by keys and
// kinds of values. Method: ajv, an independent validator from the npm registry, put into the build folder;
// every example farm, every shipped pack, and a table of mistakes.
#include <fmt/format.h>
#include <gtest/gtest.h>

#include <fstream>
#include <sstream>
#include <map>
#include <vector>

#include "tests/daemon/temporary_folder.hpp"
#include "tests/files/mistakes.hpp"
#include "tests/tool/shell.hpp"

namespace underwing::testing {
namespace {

namespace fs = std::filesystem;
const fs::path kSource = UNDERWING_SOURCE_DIR;
const fs::path kModules = fs::path(UNDERWING_BINARY_DIR) / "schema-validator";

std::vector<std::string> lines_of(const std::string& text) {
  std::vector<std::string> lines;
  std::istringstream in(text);
  for (std::string line; std::getline(in, line);) lines.push_back(line);
  return lines;
}

std::vector<fs::path> yaml_in(const fs::path& folder) {
  std::vector<fs::path> files;
  if (!fs::exists(folder)) return files;
  for (const auto& entry : fs::directory_iterator(folder)) {
    if (entry.path().extension() == ".yaml") files.push_back(entry.path());
  }
  return files;
}

class Schema : public ::testing::Test {
 protected:
  void SetUp() override {
    if (shell("command -v node && command -v npm", kSource).status != 0) {
      GTEST_SKIP()
          << "node and npm are needed for the schema validator; Debian's packages are nodejs and npm";
    }
    if (!fs::exists(kModules / "node_modules" / "ajv")) {
      const Answer installed = shell(
          fmt::format("npm install --prefix '{}' --no-audit --no-fund ajv@8 js-yaml@4", kModules.string()),
          kSource);
      if (installed.status != 0)
        GTEST_SKIP() << "the schema validator cannot be installed:\n" << installed.text;
    }
    for (const char* kind : {"farm", "flock", "pack", "language"}) {
      const Answer schema = shell(fmt::format("underwing schema {}", kind), kSource);
      ASSERT_EQ(schema.status, 0) << schema.text;
      std::ofstream(folder_.path() / (std::string(kind) + ".json")) << schema.text;
    }
  }

  /// One verdict a file.
  std::vector<std::string> judge(const std::string& kind, const std::vector<fs::path>& files) {
    std::string command =
        fmt::format("node '{}' '{}' '{}'", (kSource / "tests/tool/validate.cjs").string(),
                    (kModules / "node_modules").string(), (folder_.path() / (kind + ".json")).string());
    for (const fs::path& file : files) command += fmt::format(" '{}'", file.string());
    const Answer answer = shell(command, kSource);
    EXPECT_EQ(answer.status, 0) << answer.text;
    return lines_of(answer.text);
  }

  void expect_fine(const std::string& kind, const std::vector<fs::path>& files) {
    const auto verdicts = judge(kind, files);
    ASSERT_EQ(verdicts.size(), files.size());
    for (std::size_t i = 0; i < files.size(); ++i) EXPECT_EQ(verdicts[i], "fine") << files[i];
  }

  TemporaryFolder folder_;
};

TEST_F(Schema, AcceptsEveryFarmHereAndEveryShippedPack) {
  std::vector<fs::path> farms;
  std::vector<fs::path> flocks;
  std::vector<fs::path> packs = yaml_in(kSource / "rules/packs");
  for (const char* farm : {"examples/farm", "tests/tool/farm", "tests/cases/heater_fails/farm",
                           "tests/cases/ammonia_in_steps/farm"}) {
    const fs::path folder = kSource / farm;
    if (fs::exists(folder / "farm.yaml")) farms.push_back(folder / "farm.yaml");
    for (const fs::path& flock : yaml_in(folder / "flocks")) flocks.push_back(flock);
    for (const fs::path& pack : yaml_in(folder / "rules")) packs.push_back(pack);
  }
  ASSERT_GE(farms.size(), 3U);
  ASSERT_GE(flocks.size(), 3U);
  ASSERT_GE(packs.size(), 5U);
  expect_fine("farm", farms);
  expect_fine("flock", flocks);
  expect_fine("pack", packs);
  expect_fine("language", yaml_in(kSource / "rules/languages"));
}

struct Mistake {
  const char* file;    ///< in the farm of these tests
  const char* before;  ///< replaced …
  const char* after;   ///< … by this
};

TEST_F(Schema, RefusesMistakes) {
  const std::vector<std::pair<std::string, std::vector<Mistake>>> kinds{
      {"farm",
       {{"farm.yaml", "farm: Sandpiper", "name: Sandpiper"},
        {"farm.yaml", "time_zone: Europe/London\n", ""},
        {"farm.yaml", "format: 1", "format: 2"},
        {"farm.yaml", "house-1:", "House 1:"},
        {"farm.yaml", "after: 5 min", "after: 5"},
        {"farm.yaml", "after: 5 min", "after: 5 kg"},
        {"farm.yaml", "tell: everyone, ", ""},
        {"farm.yaml", "tell: everyone, by: text", "tell: everyone, by: shout"},
        {"farm.yaml", "daily: \"06:30\"", "daily: \"26:30\""},
        {"farm.yaml", "daily: \"06:30\"", "dayly: \"06:30\""},
        {"farm.yaml", "- {who: ines}", "- {who: ines, days: Mon-Fry}"},
        {"farm.yaml", "water: [main]", "water: {main: yes}"},
        {"farm.yaml", "people:", "persons:"}}},
      {"flock",
       {{"flocks/spring.yaml", "birds: 17000", "birds: many"},
        {"flocks/spring.yaml", "birds: 17000\n", ""},
        {"flocks/spring.yaml", "birds: 17000", "bird: 17000"},
        {"flocks/spring.yaml", "09:30", "9.30"},
        {"flocks/spring.yaml", "2026-03-02 09:30", "2 March 2026"},
        {"flocks/spring.yaml", "chick_weight: 42 g", "chick_weight: 42 gram"},
        {"flocks/spring.yaml", "packs: [brooding]", "packs: {brooding: true}"},
        {"flocks/spring.yaml", "birds: 17000", "birds: 17000\nunloading: morning"},
        {"flocks/spring.yaml", "birds: 17000", "birds: 17000\nlights: {0 d: 23}"}}},
      {"pack",
       {{"rules/brooding.yaml", "on_delay: 5 min", "on_dellay: 5 min"},
        {"rules/brooding.yaml", "on_delay: 5 min", "on_delay: 5"},
        {"rules/brooding.yaml", "on_delay: 5 min", "on_delay: true"},
        {"rules/brooding.yaml", "priority: urgent", "priority: high"},
        {"rules/brooding.yaml", "latch: true", "latch: 1"},
        {"rules/brooding.yaml", "each: probe", "each: bird"},
        {"rules/brooding.yaml", "unit: °C", "unit: degrees"},
        {"rules/brooding.yaml", "3 d: 31", "day 3: 31"},
        {"rules/brooding.yaml", "3 d: 31", "3 d: warm"},
        {"rules/brooding.yaml", "    watch: median", "    when: mains is off\n    watch: median"},
        {"rules/brooding.yaml", "    watch: highest(ammonia)\n", ""},
        {"rules/brooding.yaml", "{high: 10 ppm, priority: note}", "{high: 10 ppm}"},
        {"rules/brooding.yaml", "{high: 10 ppm, priority: note}",
         "{high: 10 ppm, low: 1 ppm, priority: note}"},
        {"rules/brooding.yaml", "deadband: 0.5 K", "deadband: half a K"},
        {"rules/brooding.yaml", "rules:", "rule:"}}}};
  for (const auto& [kind, mistakes] : kinds) {
    std::vector<fs::path> files;
    for (const Mistake& mistake : mistakes) {
      std::string text = whole_file(kSource / "tests/tool/farm" / mistake.file);
      const std::size_t at = text.find(mistake.before);
      ASSERT_NE(at, std::string::npos) << mistake.before;
      text.replace(at, std::string(mistake.before).size(), mistake.after);
      files.push_back(folder_.path() / fmt::format("{}-{}.yaml", kind, files.size()));
      std::ofstream(files.back(), std::ios::binary) << text;
    }
    const auto verdicts = judge(kind, files);
    ASSERT_EQ(verdicts.size(), mistakes.size());
    for (std::size_t i = 0; i < mistakes.size(); ++i) {
      EXPECT_NE(verdicts[i], "fine") << mistakes[i].file << ": " << mistakes[i].after;
    }
  }
}

/// Mistakes that no schema can see, each with the reason: "name | why".
std::map<std::string, std::string> beyond_a_schema() {
  std::map<std::string, std::string> all;
  for (const std::string& line : lines_of(whole_file(kSource / "tests/tool/beyond_schema.txt"))) {
    const std::size_t bar = line.find(" | ");
    if (!line.starts_with('#') && bar != std::string::npos) all[line.substr(0, bar)] = line.substr(bar + 3);
  }
  return all;
}

TEST_F(Schema, RefusesOfTheTableOfMistakesWhatASchemaCanSee) {
  const MistakeTable table = read_mistakes();
  // All files of all cases, kind by kind: starting the validator takes longer than judging.
  std::map<std::string, std::vector<std::pair<std::size_t, fs::path>>> files;
  for (std::size_t i = 0; i < table.cases.size(); ++i) {
    Texts texts = table.files;
    for (const std::string& line : table.cases[i].changes) change(texts, line);
    for (const auto& [path, text] : texts) {
      const auto sound = table.files.find(path);
      if (sound != table.files.end() && sound->second == text) continue;
      if (path.starts_with("growth/")) continue;  // a table is no file that has a schema
      const std::string kind = path == "farm.yaml" ? "farm" : path.starts_with("flocks/") ? "flock" : "pack";
      files[kind].emplace_back(i, folder_.path() / fmt::format("{}-{}-{}.yaml", i, kind, files[kind].size()));
      std::ofstream(files[kind].back().second, std::ios::binary) << text;
    }
  }
  std::vector<bool> refused(table.cases.size());
  for (const auto& [kind, cases] : files) {
    std::vector<fs::path> paths;
    for (const auto& [index, path] : cases) paths.push_back(path);
    const auto verdicts = judge(kind, paths);
    ASSERT_EQ(verdicts.size(), paths.size());
    for (std::size_t i = 0; i < paths.size(); ++i) {
      if (verdicts[i] != "fine") refused[cases[i].first] = true;
    }
  }
  std::map<std::string, std::string> beyond = beyond_a_schema();
  for (std::size_t i = 0; i < table.cases.size(); ++i) {
    const MistakeCase& it = table.cases[i];
    const bool listed = beyond.erase(it.name) > 0;
    if (!it.is_refused()) {
      EXPECT_FALSE(refused[i]) << "refused, and yet no mistake: " << it.name;
    } else {
      EXPECT_NE(static_cast<bool>(refused[i]), listed)
          << (listed ? "listed as beyond a schema, and refused: " : "neither refused nor listed: ") << it.name;
    }
  }
  for (const auto& [name, why] : beyond) ADD_FAILURE() << "listed, and not in the table: " << name;
}

TEST(SchemaCommand, RefusesAKindThatThereIsNot) {
  const Answer answer = shell("underwing schema barn", kSource);
  EXPECT_EQ(answer.status, 2);
  EXPECT_NE(answer.text.find("farm"), std::string::npos) << answer.text;
}

}  // namespace
}  // namespace underwing::testing
