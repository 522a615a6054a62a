// Goal: topics resolve to names, level by level. Method: a table of patterns and topics.
#include "plugins/mqtt/topic_pattern.hpp"

#include <fmt/format.h>
#include <gtest/gtest.h>

namespace underwing {
namespace {

/// "house=h1 probe=north", "no" where the topic does not fit, the message where the pattern is refused.
std::string resolve(std::string_view pattern_text, std::string_view topic) {
  std::string error;
  const auto pattern = TopicPattern::parse(pattern_text, error);
  if (!pattern) return error;
  const auto levels = pattern->match(topic);
  if (!levels) return "no";
  std::string text;
  for (const auto& [name, level] : *levels)
    text += fmt::format("{}{}={}", text.empty() ? "" : " ", name, level);
  return text;
}

struct Case {
  const char* pattern;
  const char* topic;
  const char* result;
};

TEST(TopicPattern, ResolvesTopics) {
  const Case cases[] = {
      {"farm/{house}/climate/{probe}", "farm/house-1/climate/north", "house=house-1 probe=north"},
      {"farm/{house}/climate/{probe}", "farm/house-1/climate", "no"},
      {"farm/{house}/climate/{probe}", "farm/house-1/climate/north/x", "no"},
      {"farm/{house}/climate/{probe}", "farm/house-1/gas/north", "no"},
      {"farm/{house}/climate/{probe}", "Farm/house-1/climate/north", "no"},
      {"{site}/{house}/{measure}/{probe}", "a/b/c/d", "site=a house=b measure=c probe=d"},
      {"a/{house}", "a/", "house="},
      {"a", "a", ""},
      {"/a/{house}", "/a/b", "house=b"},
      {"/a/{house}", "a/b", "no"},
  };
  for (const Case& c : cases) EXPECT_EQ(resolve(c.pattern, c.topic), c.result) << c.pattern << " " << c.topic;
}

TEST(TopicPattern, SaysWhatIsWrong) {
  const Case cases[] = {
      {"", "x", "is empty"},
      {"farm/+/x", "x", "holds '+' or '#'; write {name} for a level that varies"},
      {"farm/#", "x", "holds '+' or '#'; write {name} for a level that varies"},
      {"farm/h{house}", "x", "holds the level 'h{house}'; {name} must stand for a whole level"},
      {"farm/{}", "x", "holds the level '{}'; {name} must stand for a whole level"},
      {"farm/{House}", "x", "holds the level '{House}'; {name} must stand for a whole level"},
      {"{house}/{house}", "x", "holds {house} twice"},
  };
  for (const Case& c : cases) EXPECT_EQ(resolve(c.pattern, c.topic), c.result) << c.pattern;
}

TEST(TopicPattern, SubscribesWithOneWildcardForEachName) {
  std::string error;
  EXPECT_EQ(TopicPattern::parse("farm/{house}/climate/{probe}", error)->filter(), "farm/+/climate/+");
  EXPECT_EQ(TopicPattern::parse("farm/total", error)->filter(), "farm/total");
}

}  // namespace
}  // namespace underwing
