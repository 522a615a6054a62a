// Goal: a place inside a text is found again in its file, however the text is written in YAML.
// Method: each text marks the place with '@'; the same place is marked in the file.

#include <gtest/gtest.h>

#include "rules/files/yaml_tree.hpp"

namespace underwing {
namespace {

TEST(Offsets, AreMappedBackToTheFile) {
  const std::string files[] = {
      "a: drunk + @x\n",
      "a: 'it''s @x'\n",
      "a: \"\\x64 \\\"q\\\" \\u00e9 @x\"\n",
      "a: \"first\n   second @x\"\n",
      "a: |\n  first\n    deeper\n  @x\n",
      "a: >\n  first\n\n\n  second @x\n  third\n",
      "a: >-  # why\n    first @x\n",
      "a: [one, two @x]\n",
      "a: {b: \"q @x\"}\n",
      "a: first\n  second\n  @x\n",
      "a: ünwëgen °C @x\n",
  };
  for (const std::string& text : files) {
    const Source source("a.yaml", text);
    IssueLog log;
    const YamlNode root = read_yaml(source, log);
    ASSERT_TRUE(root.is_map()) << text;
    const YamlNode* node = &root.entries.at(0).value;
    while (!node->is_scalar()) node = node->is_list() ? &node->items.back() : &node->entries.back().value;
    const std::size_t at = node->text.find('@');
    ASSERT_NE(at, std::string::npos) << text;
    EXPECT_EQ(offset_in_file(*node, at), text.find('@')) << text;
  }
}

}  // namespace
}  // namespace underwing
