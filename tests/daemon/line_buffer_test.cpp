// Goal: lines come out whole however the bytes arrive. Method: one stream cut at every place.

#include "daemon/line_buffer.hpp"

#include <string>
#include <vector>

#include <gtest/gtest.h>

namespace underwing {
namespace {

TEST(LineBuffer, GivesTheSameLinesHoweverTheBytesAreCut) {
  const std::string stream = "one\ntwo\r\n\nfar too long a line\nshort\nend";
  for (std::size_t cut = 0; cut <= stream.size(); ++cut) {
    LineBuffer buffer(10);
    std::vector<std::string> lines;
    const auto keep = [&](std::string_view line) { lines.emplace_back(line); };
    buffer.feed(std::string_view(stream).substr(0, cut), keep);
    buffer.feed(std::string_view(stream).substr(cut), keep);
    buffer.finish(keep);
    EXPECT_EQ(lines, (std::vector<std::string>{"one", "two", "", "short", "end"})) << cut;
    EXPECT_EQ(buffer.too_long(), 1U) << cut;
  }
}

TEST(LineBuffer, AnEndlessLineIsCountedOnceAndHeldNowhere) {
  LineBuffer buffer(10);
  std::vector<std::string> lines;
  const auto keep = [&](std::string_view line) { lines.emplace_back(line); };
  for (int i = 0; i < 1000; ++i) buffer.feed("xxxxxxxx", keep);
  buffer.feed("x\nnext\n", keep);
  EXPECT_EQ(lines, std::vector<std::string>{"next"});
  EXPECT_EQ(buffer.too_long(), 1U);
}

TEST(LineBuffer, PrintableTextIsSafeToShow) {
  EXPECT_EQ(printable("28.6 °C", 100), "28.6 °C");
  EXPECT_EQ(printable("28.6 °C", 6), "28.6 ");
  EXPECT_EQ(printable("a\x1b[31m\tb\x7f", 100), "a?[31m?b?");
  EXPECT_EQ(printable("bad \xff\xc2\xb0", 100), "bad ???");
  EXPECT_EQ(printable("abcdef", 3), "abc");
}

}  // namespace
}  // namespace underwing
