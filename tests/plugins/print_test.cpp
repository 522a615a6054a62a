// Goal: print shows a text once, says so, and hands on answers. Method: the real program over pipes.
#include <gtest/gtest.h>

#include <fstream>

#include "tests/plugins/child.hpp"

namespace underwing::test {
namespace {

nlohmann::json delivery(const char* id, const char* who, const char* to, const char* text) {
  return {{"jsonrpc", "2.0"},
          {"method", "deliver"},
          {"params", {{"delivery", id}, {"to", to}, {"by", "text"}, {"who", who}, {"text", text}}}};
}

nlohmann::json step(int id, double time) {
  return {{"jsonrpc", "2.0"}, {"id", id}, {"method", "step"}, {"params", {{"time", time}}}};
}

TEST(Print, ShowsATextOnceAndAnswersTwice) {
  const TemporaryFolder folder;
  Child print({plugin("print")});
  print.send_message(settings_message({{"show", folder.path("texts")}}));
  EXPECT_EQ(print.message("hello")["does"], nlohmann::json({"deliver", "step"}));
  print.send_message(step(1, 1772443800));
  print.send_message(delivery("d-1", "ines", "+44 7700 900101", "H1 COLD"));
  EXPECT_EQ(print.message("receipt"),
            nlohmann::json({{"delivery", "d-1"}, {"outcome", "delivered"}, {"text", "shown"}}));
  print.send_message(delivery("d-1", "ines", "+44 7700 900101", "H1 COLD"));
  EXPECT_EQ(print.message("receipt")["delivery"], "d-1");
  print.send_message(nlohmann::json{{"jsonrpc", "2.0"}, {"method", "stop"}});
  EXPECT_EQ(print.status(), 0);
  EXPECT_EQ(read_file(folder.path("texts")), "09:30  text to ines (+44 7700 900101): H1 COLD\n");
}

TEST(Print, AnswersByScriptInEngineTime) {
  const TemporaryFolder folder;
  Child print({plugin("print")});
  print.send_message(
      settings_message({{"show", folder.path("texts")},
                        {"people",
                         {{{"who", "tomas"}, {"when_told", 2}, {"after", "2 min"}, {"say", "OK"}},
                          {{"who", "ines"}, {"contains", "COLD"}, {"say", "PASS"}}}}}));
  print.send_message(step(1, 1000));
  print.send_message(delivery("d-1", "tomas", "+44 7700 900102", "one"));
  print.send_message(delivery("d-2", "ines", "+44 7700 900101", "DRY"));
  print.send_message(step(2, 1120));
  print.send_message(delivery("d-3", "tomas", "+44 7700 900102", "two"));
  print.send_message(step(3, 1239));
  print.send_message(step(4, 1240));
  print.send_message(delivery("d-4", "ines", "+44 7700 900101", "COLD"));
  print.send_message(step(5, 1240));
  print.close_input();
  std::vector<std::string> story;
  for (const auto& line : print.lines_to_end()) {
    const auto json = nlohmann::json::parse(line);
    if (json.value("method", "") == "reply") {
      story.push_back(json["params"]["from"].get<std::string>() + " " +
                      json["params"]["text"].get<std::string>());
    }
    if (json.contains("result")) story.push_back(std::to_string(json["id"].get<int>()));
  }
  EXPECT_EQ(story, (std::vector<std::string>{"1", "2", "3", "+44 7700 900102 OK", "4", "+44 7700 900101 PASS",
                                             "5"}));
}

TEST(Print, TakesRepliesFromAFile) {
  const TemporaryFolder folder;
  Child print({plugin("print")});
  print.send_message(settings_message({{"replies", folder.path("replies")}, {"show", folder.path("texts")}}));
  ASSERT_FALSE(print.message("hello").is_null());
  std::ofstream(folder.path("replies"), std::ios::app) << "+44 7700 900101 OK K7\nines HERE\n\nnonsense\n";
  EXPECT_EQ(print.message("reply"),
            nlohmann::json({{"from", "+44 7700 900101"}, {"by", "text"}, {"text", "OK K7"}}));
  EXPECT_EQ(print.message("reply"), nlohmann::json({{"from", "ines"}, {"by", "text"}, {"text", "HERE"}}));
}

TEST(Print, SaysWhichSettingIsWrong) {
  Child print({plugin("print")});
  print.send_message(settings_message({{"shwo", "x"}}));
  EXPECT_EQ(
      print.message("health"),
      nlohmann::json({{"ok", false}, {"text", "settings has the key 'shwo', which nobody knows here."}}));
}

TEST(Print, AnswersAMethodThatItDoesNotHave) {
  Child print({plugin("print")});
  print.send(R"({"jsonrpc":"2.0","id":9,"method":"dance"})");
  print.send("no JSON at all");
  print.close_input();
  const auto lines = print.lines_to_end();
  ASSERT_EQ(lines.size(), 1U);
  EXPECT_EQ(nlohmann::json::parse(lines[0])["error"]["code"], -32601);
  EXPECT_EQ(print.status(), 0);
}

TEST(EveryPlugin, HasHelpAndAVersion) {
  for (const char* name : {"mail", "mqtt", "model-house", "print", "sms", "tape", "web-hook"}) {
    for (const char* option : {"--help", "--version"}) {
      Child child({plugin(name), option});
      const auto lines = child.lines_to_end();
      ASSERT_FALSE(lines.empty()) << name << option;
      EXPECT_NE(lines[0].find("underwing-" + std::string(name)), std::string::npos) << name << option;
      EXPECT_EQ(child.status(), 0) << name << option;
    }
    Child child({plugin(name), "--dance"});
    EXPECT_EQ(child.status(), 2) << name;
  }
}

}  // namespace
}  // namespace underwing::test
