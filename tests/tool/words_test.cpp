// Goal: numbers, times and ages read as a person would say them. Method: tables.
#include "rules/explain/words.hpp"

#include <gtest/gtest.h>

namespace underwing {
namespace {

using std::chrono::hours;
using std::chrono::minutes;

TEST(Words, SpansAreSaidInFull) {
  EXPECT_EQ(in_long_words(minutes(5)), "5 minutes");
  EXPECT_EQ(in_long_words(minutes(90)), "1 hour 30 minutes");
  EXPECT_EQ(in_long_words(hours(24 * 14)), "14 days");
  EXPECT_EQ(in_long_words(Duration(30'000)), "30 seconds");
  EXPECT_EQ(in_long_words(Duration::zero()), "no time");
}

TEST(Words, AgesCountFromPlacement) {
  EXPECT_EQ(age_in_words(hours(-6)), "6 hours before placement");
  EXPECT_EQ(age_in_words(hours(-1)), "1 hour before placement");
  EXPECT_EQ(age_in_words(hours(-24)), "24 hours before placement");
  EXPECT_EQ(age_in_words(minutes(-90)), "1 hour 30 minutes before placement");
  EXPECT_EQ(age_in_words(hours(-72)), "3 days before placement");
  EXPECT_EQ(age_in_words(Duration::zero()), "placement");
  EXPECT_EQ(age_in_words(hours(84)), "the age of 3 days 12 hours");
}

TEST(Words, AgesAreReadAsTheyAreTyped) {
  const std::vector<std::pair<const char*, std::optional<Duration>>> table{
      {"3d", hours(72)},      {"3 d", hours(72)},      {"36h", hours(36)},          {"-6 h", hours(-6)},
      {"- 6h", hours(-6)},    {"3 d 12 h", hours(84)}, {"1.5d", hours(36)},         {"90 min", minutes(90)},
      {"3", std::nullopt},    {"", std::nullopt},      {"soon", std::nullopt},      {"3 kg", std::nullopt},
      {"d", std::nullopt},    {"-", std::nullopt},     {"3 d later", std::nullopt}, {"900 d", std::nullopt},
      {"--3 d", std::nullopt}};
  for (const auto& [text, age] : table) EXPECT_EQ(parse_age(text), age) << text;
}

TEST(Words, NumbersHaveNoNeedlessZeros) {
  EXPECT_EQ(plain_number(29.0), "29");
  EXPECT_EQ(plain_number(30.333), "30.3");
  EXPECT_EQ(plain_number(1.25), "1.25");
  EXPECT_EQ(plain_number(0.0421), "0.042");
  EXPECT_EQ(plain_number(-0.0001), "0");
  EXPECT_EQ(plain_number(17000), "17000");
}

TEST(Words, ListsAreJoined) {
  EXPECT_EQ(join_words({}), "");
  EXPECT_EQ(join_words({"a"}), "a");
  EXPECT_EQ(join_words({"a", "b"}), "a and b");
  EXPECT_EQ(join_words({"a", "b", "c"}, "or"), "a, b or c");
}

TEST(Words, LinesBreakAtTheirWidthInCharacters) {
  EXPECT_EQ(wrapped("one two three", 7), "one two\nthree\n");
  EXPECT_EQ(wrapped("°°° °°° °", 7, ""), "°°° °°°\n°\n");
  EXPECT_EQ(wrapped("one two three", 10, "x: "), "x: one two\n   three\n");
  EXPECT_EQ(wrapped("averyveryverylongword", 5), "averyveryverylongword\n");
}

TEST(Words, GridsAlignToTheRight) {
  EXPECT_EQ(grid({{"age", "low °C"}, {"0 d", "31"}, {"12 d", "9.5"}}),
            "   age  low °C\n   0 d      31\n  12 d     9.5\n");
}

}  // namespace
}  // namespace underwing
