// Goal: what plugins/README.md shows is what happens. Method: every block marked "protocol NAME" there is
// played to the plugin NAME: lines "> " go in, lines "< " must come out, in this order, compared as JSON.
#include <gtest/gtest.h>

#include <sstream>

#include "tests/plugins/child.hpp"

namespace underwing::test {
namespace {

struct Example {
  std::string plugin;
  std::vector<std::string> lines;
};

std::vector<Example> examples() {
  std::istringstream page(read_file(std::string(UNDERWING_SOURCE_DIR) + "/plugins/README.md"));
  std::vector<Example> found;
  bool inside = false;
  for (std::string line; std::getline(page, line);) {
    if (line.starts_with("```protocol ")) {
      found.push_back({line.substr(12), {}});
      inside = true;
    } else if (line.starts_with("```")) {
      inside = false;
    } else if (inside) {
      found.back().lines.push_back(line);
    }
  }
  return found;
}

TEST(Readme, ShowsWhatHappens) {
  const auto all = examples();
  ASSERT_GE(all.size(), 3U);
  for (const Example& example : all) {
    SCOPED_TRACE(example.plugin);
    Child child({plugin(example.plugin)});
    for (const std::string& line : example.lines) {
      if (line.starts_with("> ")) child.send(std::string_view(line).substr(2));
      if (!line.starts_with("< ")) continue;
      const auto answer = child.line();
      ASSERT_TRUE(answer) << line;
      EXPECT_EQ(nlohmann::json::parse(*answer), nlohmann::json::parse(line.substr(2)));
    }
  }
}

}  // namespace
}  // namespace underwing::test
