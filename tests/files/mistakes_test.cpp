// Goal: every mistake in a farm's files is refused at its exact place, with the exact sentence that a grower
// reads. Method: a table of small changes to sound files (mistakes.txt), the whole list of issues compared as
// text.

#include <gtest/gtest.h>

#include <cstdlib>
#include <fstream>
#include <map>
#include <vector>

#include "rules/files/load.hpp"
#include "tests/files/support.hpp"

namespace underwing {
namespace {

using testing::whole_file;
using testing::zone_named;

const std::string kTable = std::string(UNDERWING_SOURCE_DIR) + "/tests/files/mistakes.txt";

struct Case {
  std::string name;
  std::vector<std::string> changes;  ///< lines that begin with "~"
  std::vector<std::string> expected;
};

struct Table {
  std::vector<std::string> head;  ///< all lines before the first case, as they stand
  std::map<std::string, std::string> files;
  std::vector<Case> cases;
};

Table read_table() {
  Table table;
  std::istringstream text(whole_file(kTable));
  std::string file;
  for (std::string line; std::getline(text, line);) {
    if (line.starts_with("== ")) {
      table.cases.push_back({line.substr(3), {}, {}});
    } else if (!table.cases.empty()) {
      (line.starts_with("~ ") ? table.cases.back().changes : table.cases.back().expected).push_back(line);
    } else {
      table.head.push_back(line);
      if (line.starts_with("-- ")) {
        file = line.substr(3);
      } else if (!file.empty()) {
        table.files[file] += line + '\n';
      }
    }
  }
  return table;
}

std::string unescaped(std::string_view text) {
  std::string out;
  for (std::size_t i = 0; i < text.size(); ++i) {
    if (text[i] != '\\' || i + 1 >= text.size()) {
      out += text[i];
    } else if (text[++i] == 'x') {
      out += static_cast<char>(std::stoi(std::string(text.substr(i + 1, 2)), nullptr, 16));
      i += 2;
    } else {
      out += text[i] == 't' ? '\t' : '\n';
    }
  }
  return out;
}

std::string trimmed(std::string_view text, bool left) {
  if (left && text.starts_with(' ')) text.remove_prefix(1);
  if (text.ends_with(' ')) text.remove_suffix(1);
  return std::string(text);
}

/// "~ file | old | new"
void change(std::map<std::string, std::string>& files, const std::string& line) {
  const std::size_t first = line.find('|');
  const std::size_t second = line.find('|', first + 1);
  const std::string file = trimmed(std::string_view(line).substr(2, first - 2), false);
  const std::string before =
      unescaped(trimmed(std::string_view(line).substr(first + 1, second - first - 1), true));
  const std::string after = unescaped(trimmed(std::string_view(line).substr(second + 1), true));
  if (before.empty()) {
    files[file] = after;
    return;
  }
  const std::size_t at = files[file].find(before);
  ASSERT_NE(at, std::string::npos) << "'" << before << "' does not stand in " << file;
  files[file].replace(at, before.size(), after);
}

std::vector<std::string> issues_of(std::map<std::string, std::string> texts, bool& loaded) {
  FarmFiles files;
  files.farm_path = "farm.yaml";
  for (auto& [path, text] : texts) {
    if (path == files.farm_path) {
      files.farm_text = text;
    } else {
      (path.starts_with("flocks/") ? files.flocks : files.packs)[path] = text;
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
  Table table = read_table();
  ASSERT_GT(table.cases.size(), 80u);
  for (Case& it : table.cases) {
    SCOPED_TRACE(it.name);
    std::map<std::string, std::string> files = table.files;
    for (const std::string& line : it.changes) change(files, line);
    bool loaded = false;
    const std::vector<std::string> said = issues_of(files, loaded);
    EXPECT_EQ(joined(said), joined(it.expected));
    bool has_error = false;
    for (const std::string& line : said)
      has_error = has_error || line.find(": caution: ") == std::string::npos;
    EXPECT_EQ(loaded, !has_error);
    it.expected = said;
  }
  if (std::getenv("UNDERWING_REWRITE") == nullptr) return;
  std::ofstream out(kTable, std::ios::binary);
  out << joined(table.head);
  for (const Case& it : table.cases)
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
            "this file has none of the keys 'farm', 'flock' and 'pack', which say what it describes");
}

}  // namespace
}  // namespace underwing
