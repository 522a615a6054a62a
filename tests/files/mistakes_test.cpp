// Goal: every mistake in a farm's files is refused at its exact place, with the exact sentence that a grower
// reads. Method: a table of small changes to sound files (mistakes.txt), the whole list of issues compared as
// text.

#include <gtest/gtest.h>

#include <cstdlib>
#include <fstream>
#include <vector>

#include "rules/files/load.hpp"
#include "tests/files/mistakes.hpp"
#include "tests/files/support.hpp"

namespace underwing {
namespace {

using testing::MistakeCase;
using testing::MistakeTable;
using testing::zone_named;

std::vector<std::string> issues_of(const testing::Texts& texts, bool& loaded) {
  FarmFiles files;
  files.farm_path = "farm.yaml";
  for (const auto& [path, text] : texts) {
    if (path == files.farm_path) {
      files.farm_text = text;
    } else {
      (path.starts_with("flocks/") ? files.flocks : path.starts_with("growth/") ? files.tables : files.packs)[path] = text;
    }
  }
  const Loaded result = load_farm(files, zone_named);
  loaded = result.ok();
  std::vector<std::string> lines;
  for (const Issue& issue : result.issues) {
    const std::string whole = to_text(issue, "");
    lines.push_back(whole.substr(0, whole.find('\n')));
  }
  return lines;
}

std::string joined(const std::vector<std::string>& lines) {
  std::string text;
  for (const std::string& line : lines) text += line + '\n';
  return text;
}

TEST(Mistakes, AreRefusedWithTheExactText) {
  MistakeTable table = testing::read_mistakes();
  ASSERT_GT(table.cases.size(), 80u);
  for (MistakeCase& it : table.cases) {
    SCOPED_TRACE(it.name);
    testing::Texts files = table.files;
    for (const std::string& line : it.changes) testing::change(files, line);
    bool loaded = false;
    const std::vector<std::string> said = issues_of(files, loaded);
    EXPECT_EQ(joined(said), joined(it.expected));
    it.expected = said;
    EXPECT_EQ(loaded, !it.is_refused());
  }
  if (std::getenv("UNDERWING_REWRITE") == nullptr) return;
  std::ofstream out(testing::path_of_mistakes(), std::ios::binary);
  out << joined(table.head);
  for (const MistakeCase& it : table.cases)
    out << "== " << it.name << '\n' << joined(it.changes) << joined(it.expected);
}

TEST(Mistakes, AreShownWithTheirLineAndACaret) {
  const std::string text = "format: 1\npack: air\nrules:\n  kälte: {}\n";
  const auto issues = check_file("rules/air.yaml", text, zone_named);
  ASSERT_FALSE(issues.empty());
  EXPECT_EQ(to_text(issues[0], text),
            "rules/air.yaml:4:3: 'kälte' cannot be a name; names are small letters, digits, '-' and '_', and "
            "begin with a letter\n"
            "  4 |   kälte: {}\n"
            "    |   ^~~~~\n");
}

TEST(Mistakes, OfASingleFileAreJudgedByWhatStandsInIt) {
  // A curve from another pack is not known here, and is not held against the file.
  const std::string pack =
      "format: 1\npack: a\nrules:\n  x:\n    watch: median(air_temperature)\n    low: "
      "some_curve_from_elsewhere - 2 K\n    priority: note\n";
  EXPECT_TRUE(check_file("a.yaml", pack, zone_named).empty());
  // Which zone the farm is in is not known either.
  const std::string flock =
      "format: 1\nflock: a\nhouse: b\nplaced: 2026-10-25 01:30 second\nbirds: 1\nchick_weight: 42 g\npacks: "
      "[c]\n";
  EXPECT_TRUE(check_file("flocks/a.yaml", flock, zone_named).empty());
  const auto issues = check_file("b.yaml", "format: 1\n", zone_named);
  ASSERT_EQ(issues.size(), 1u);
  EXPECT_EQ(issues[0].text,
            "this file has none of the keys 'farm', 'flock', 'pack' and 'language', which say what it describes");
}

}  // namespace
}  // namespace underwing
