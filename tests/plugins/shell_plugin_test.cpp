// Goal: ten lines of shell are a plugin. Method: the example under the protocol.
#include <gtest/gtest.h>

#include "tests/plugins/child.hpp"

namespace underwing::test {
namespace {

std::string script() {
  return std::string(UNDERWING_SOURCE_DIR) + "/examples/shell-plugin.sh";
}

TEST(ShellPlugin, ReportsUntilItIsStopped) {
  const TemporaryFolder folder;
  Child shell({script(), folder.write("temperature", "21437\n"), "house-1/air_temperature/gateway", "0.01"});
  EXPECT_EQ(shell.message("hello")["does"], nlohmann::json({"read"}));
  shell.send_message(settings_message(nlohmann::json::object()));
  EXPECT_EQ(shell.reading(),
            nlohmann::json({{"n", "house-1/air_temperature/gateway"}, {"u", "Cel"}, {"v", 21.437}}));
  folder.write("temperature", "-500\n");
  EXPECT_FALSE(
      shell.line_where([](const auto& json) { return json.is_array() && json[0]["v"] == -0.5; }).is_null());
  shell.send(R"({"jsonrpc":"2.0","method":"stop"})");
  EXPECT_EQ(shell.status(), 0);
}

TEST(ShellPlugin, EndsWithItsInput) {
  const TemporaryFolder folder;
  Child shell({script(), folder.write("temperature", "21437\n"), "a/b/c", "5"});
  ASSERT_FALSE(shell.message("hello").is_null());
  shell.close_input();
  EXPECT_EQ(shell.status(), 0);
}

}  // namespace
}  // namespace underwing::test
