// Goal: a stream falls into the same lines however it arrives. Method: every cut of a short stream, and lines
// around the limit.
#include "plugins/shared/line_reader.hpp"

#include <gtest/gtest.h>

#include <vector>

namespace underwing {
namespace {

std::vector<std::string> all(LineReader& reader) {
  std::vector<std::string> lines;
  for (std::string_view line; reader.next(line);) lines.emplace_back(line);
  return lines;
}

TEST(LineReader, DoesNotMindWhereTheStreamIsCut) {
  const std::string stream = "one\r\n\ntwo\nthree";
  for (std::size_t cut = 0; cut <= stream.size(); ++cut) {
    LineReader reader;
    reader.feed(stream.substr(0, cut));
    auto lines = all(reader);
    reader.feed(stream.substr(cut));
    for (auto& line : all(reader)) lines.push_back(line);
    EXPECT_EQ(lines, (std::vector<std::string>{"one", "", "two"})) << cut;
    EXPECT_EQ(reader.rest(), "three");
  }
}

TEST(LineReader, DropsALineThatIsTooLongAndGoesOn) {
  for (const std::size_t over : {std::size_t{0}, std::size_t{1}, kLineBytesMax}) {
    LineReader reader;
    const std::string text = std::string(kLineBytesMax + over, 'x') + "\nnext\n";
    std::vector<std::string> lines;
    for (std::size_t at = 0; at < text.size(); at += 65536) {
      reader.feed(std::string_view(text).substr(at, 65536));
      for (auto& line : all(reader)) lines.push_back(line);
    }
    EXPECT_EQ(lines.back(), "next");
    EXPECT_EQ(lines.size(), over == 0 ? 2U : 1U);
    EXPECT_EQ(reader.too_long(), over == 0 ? 0U : 1U);
  }
}

}  // namespace
}  // namespace underwing
