// Goal: the plot shows the limits where they are, at any width, in blocks and in plain characters, and as a
// picture that stands by itself. Method: whole plots compared as text; properties over many widths.
#include "rules/explain/plot.hpp"

#include <gtest/gtest.h>

#include <sstream>

#include "rules/explain/words.hpp"

namespace underwing {
namespace {

Plot sample() {
  Plot plot;
  plot.title = "cold-air & <friends>";
  plot.unit = "°C";
  plot.lines = {{"low", Limit::Side::low, {{0, 31}, {7, 26}}},
                {"high", Limit::Side::high, {{0, 35}, {7, 30}}}};
  plot.begin_d = 0;
  plot.end_d = 7;
  plot.mark_d = 3;
  plot.mark = "now, 3 d";
  return plot;
}

std::size_t count_of(const std::string& text, const std::string& part) {
  std::size_t count = 0;
  for (std::size_t at = text.find(part); at != std::string::npos; at = text.find(part, at + 1)) ++count;
  return count;
}

TEST(Plot, PlainCharacters) {
  EXPECT_EQ("\n" + plot_as_text(sample(), 48, 9, Glyphs::ascii), R"(
°C
   |                :
35 +##########      :
   |..........##########
   |................:...##########
30 +#########.......:.............######### high
   |         ##########....................
   |                :  ##########..........
   |                :            ########## low
25 +                :
   ++----------+----------+----------+-----
   0 d        2 d        4 d        6 d
                    ^ now, 3 d
)");
}

TEST(Plot, FitsItsWidth) {
  for (std::size_t width = 40; width <= 140; width += 7) {
    std::istringstream lines(plot_as_text(sample(), width, 12, Glyphs::blocks));
    for (std::string line; std::getline(lines, line);) EXPECT_LE(columns_of(line), width) << line;
  }
}

TEST(Plot, LimitsWithoutASecondSideShadeToTheEdge) {
  Plot plot = sample();
  plot.lines.erase(plot.lines.begin());
  plot.mark_d.reset();
  const std::string text = plot_as_text(plot, 60, 9, Glyphs::ascii);
  EXPECT_EQ(text.find(" low"), std::string::npos);
  EXPECT_NE(text.find("....."), std::string::npos);
  EXPECT_EQ(text.find('^'), std::string::npos);
}

TEST(Plot, TicksAreRound) {
  EXPECT_EQ(round_ticks(0, 10, 5), (std::vector<double>{0, 2, 4, 6, 8, 10}));
  EXPECT_EQ(round_ticks(25.3, 33.1, 4), (std::vector<double>{26, 28, 30, 32}));
  EXPECT_EQ(age_ticks(-1, 7, 10), (std::vector<double>{-1, 0, 1, 2, 3, 4, 5, 6, 7}));
  EXPECT_EQ(age_ticks(0, 42, 8), (std::vector<double>{0, 7, 14, 21, 28, 35, 42}));
}

TEST(Plot, ThePictureNeedsNothingFromElsewhere) {
  const std::string svg = plot_as_svg(sample());
  EXPECT_EQ(svg.rfind("<svg xmlns=\"http://www.w3.org/2000/svg\"", 0), 0U);
  EXPECT_NE(svg.find("cold-air &amp; &lt;friends&gt;"), std::string::npos);
  EXPECT_EQ(count_of(svg, "<polyline"), 2U);
  EXPECT_NE(svg.find(">now, 3 d<"), std::string::npos);
  for (const char* foreign : {"href", "<script", "<style", "url(", "<image", "@import"}) {
    EXPECT_EQ(svg.find(foreign), std::string::npos) << foreign;
  }
}

}  // namespace
}  // namespace underwing
