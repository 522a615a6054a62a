// Goal: the model house as a plugin goes in the daemon's steps, and repeats itself. Method: the real program.
#include <gtest/gtest.h>

#include "tests/plugins/child.hpp"

namespace underwing::test {
namespace {

constexpr double kStart_s = 1772483400;  // 2026-03-02 20:30 UTC

nlohmann::json settings() {
  return {{"stepped", true},
          {"start", "2026-03-02 20:30"},
          {"every", "10 s"},
          {"houses", {{{"house", "house-1"}, {"placed", "2026-03-02 09:30"}}}}};
}

std::vector<std::string> night(std::initializer_list<int> steps_min) {
  Child model({plugin("model-house")});
  model.send_message(settings_message(settings()));
  int id = 0;
  for (const int minute : steps_min) {
    model.send_message(nlohmann::json{{"jsonrpc", "2.0"},
                                      {"id", ++id},
                                      {"method", "step"},
                                      {"params", {{"time", kStart_s + minute * 60}}}});
  }
  model.close_input();
  std::vector<std::string> readings;
  for (auto& line : model.lines_to_end()) {
    if (line.starts_with("[")) readings.push_back(std::move(line));
  }
  return readings;
}

TEST(ModelHouse, GoesWithTheStepsAndRepeatsItself) {
  const auto once = night({60});
  EXPECT_GT(once.size(), 60U * 6 * 4);
  EXPECT_EQ(once, night({1, 2, 30, 59, 60}));
}

TEST(ModelHouse, AnswersAStepAfterItsReadings) {
  Child model({plugin("model-house")});
  model.send_message(settings_message(settings()));
  ASSERT_FALSE(model.message("hello").is_null());
  model.send_message(nlohmann::json{
      {"jsonrpc", "2.0"}, {"id", 5}, {"method", "step"}, {"params", {{"time", kStart_s + 10}}}});
  EXPECT_EQ(model.reading()["t"], kStart_s + 10);
  EXPECT_EQ(model.line_where([](const auto& json) { return json.is_object(); })["id"], 5);
}

TEST(ModelHouse, SaysWhichSettingIsWrong) {
  Child model({plugin("model-house")});
  model.send_message(settings_message({{"houses", {{{"house", "h"}, {"floor_area", 3}}}}}));
  EXPECT_EQ(model.message("health")["text"],
            "settings.houses[1] has the key 'floor_area', which nobody knows here.");
}

}  // namespace
}  // namespace underwing::test
