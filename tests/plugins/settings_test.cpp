// Goal: a wrong setting is refused in words that name it. Method: one getter at a time.
#include "plugins/shared/settings.hpp"

#include <gtest/gtest.h>

#include <functional>

namespace underwing {
namespace {

std::string refusal(const char* map, const std::function<void(Settings&)>& ask) {
  const auto json = nlohmann::json::parse(map);
  try {
    Settings settings(json, "settings");
    ask(settings);
    settings.finish();
  } catch (const SettingsError& problem) {
    return problem.what();
  }
  return "fine";
}

TEST(Settings, RefusesInWords) {
  EXPECT_EQ(refusal("[]", [](Settings&) {}), "settings must be a map of keys and values.");
  EXPECT_EQ(refusal("{}", [](Settings& s) { (void)s.text("file"); }), "settings.file is missing.");
  EXPECT_EQ(refusal(R"({"file":[]})", [](Settings& s) { (void)s.text("file"); }),
            "settings.file must be a text.");
  EXPECT_EQ(refusal(R"({"n":"x"})", [](Settings& s) { (void)s.number("n", 0, 0, 1); }),
            "settings.n must be a number.");
  EXPECT_EQ(refusal(R"({"n":2})", [](Settings& s) { (void)s.number("n", 0, 0, 1); }),
            "settings.n is 2, but must be between 0 and 1.");
  EXPECT_EQ(refusal(R"({"f":"yes"})", [](Settings& s) { (void)s.flag("f", false); }),
            "settings.f must be true or false.");
  EXPECT_EQ(refusal(R"({"t":5})", [](Settings& s) { (void)s.span("t", 0); }),
            "settings.t must be a time with its unit, such as 4 min.");
  EXPECT_EQ(refusal(R"({"brokr":"x"})", [](Settings& s) { (void)s.text("broker", ""); }),
            "settings has the key 'brokr', which nobody knows here.");
  EXPECT_EQ(refusal(R"({"l":[{}]})", [](Settings& s) { (void)s.list("l").at(0).text("who"); }),
            "settings.l[1].who is missing.");
}

TEST(Settings, ReadsATextThatYamlTookForANumber) {
  EXPECT_EQ(refusal(R"({"user":1234})", [](Settings& s) { EXPECT_EQ(s.text("user"), "1234"); }), "fine");
}

}  // namespace
}  // namespace underwing
