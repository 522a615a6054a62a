// Goal: rules/README.md shows files that load, and leaves no key out.
// Method: its fenced blocks marked `example=farm|flock|pack` are loaded singly and together.

#include <gtest/gtest.h>

#include "rules/files/keys.hpp"
#include "rules/files/load.hpp"
#include "tests/files/support.hpp"

namespace underwing {
namespace {

const std::string kReadme = testing::whole_file(std::string(UNDERWING_SOURCE_DIR) + "/rules/README.md");

/// The blocks of one kind, in the order of the page.
std::vector<std::string> examples(const std::string& kind) {
  std::vector<std::string> all;
  const std::string begin = "```yaml example=" + kind + "\n";
  for (std::size_t at = kReadme.find(begin); at != std::string::npos; at = kReadme.find(begin, at)) {
    at += begin.size();
    all.push_back(kReadme.substr(at, kReadme.find("```", at) - at));
  }
  return all;
}

void expect_no_error(const std::vector<Issue>& issues) {
  for (const Issue& issue : issues) {
    EXPECT_EQ(issue.severity, Issue::Severity::caution) << to_text(issue, "");
  }
}

TEST(Readme, ExamplesLoadSingly) {
  for (const std::string kind : {"farm", "flock", "pack"}) {
    const auto texts = examples(kind);
    EXPECT_FALSE(texts.empty()) << kind;
    for (const std::string& text : texts)
      expect_no_error(check_file(kind + ".yaml", text, testing::zone_named));
  }
}

TEST(Readme, ExamplesMakeAFarm) {
  FarmFiles files;
  files.farm_path = "farm.yaml";
  files.farm_text = examples("farm").at(0);
  files.flocks["flocks/spring.yaml"] = examples("flock").at(0);
  for (const std::string& text : examples("pack")) {
    files.packs["rules/" + std::to_string(files.packs.size()) + ".yaml"] = text;
  }
  const Loaded loaded = load_farm(files, testing::zone_named);
  expect_no_error(loaded.issues);
  ASSERT_TRUE(loaded.ok());
  EXPECT_EQ(loaded.rules->flocks.size(), 1u);
  EXPECT_TRUE(loaded.rules->find_probe("house-1/air_temperature/north"));
}

TEST(Readme, NamesEveryKey) {
  for (const KeyTable* table :
       {&farm_keys(), &house_keys(), &plugin_keys(), &person_keys(), &duty_keys(), &call_out_keys(),
        &call_plan_keys(), &call_daily_keys(), &call_step_keys(), &heartbeat_keys(), &drill_keys(), &weekly_drill_keys(), &flock_keys(), &pack_keys(),
        &measure_keys(), &curve_keys(), &rule_keys(), &rule_words_keys(), &limit_keys(),
        &language_keys(), &wrong_keys()}) {
    for (const Key& key : table->keys) {
      const std::string name(key.name);
      const bool named = kReadme.find(name + ":") != std::string::npos ||
                         kReadme.find("`" + name + "`") != std::string::npos;
      EXPECT_TRUE(named) << name << " of " << table->what;
      EXPECT_FALSE(key.help.empty()) << name;
    }
  }
}

}  // namespace
}  // namespace underwing
