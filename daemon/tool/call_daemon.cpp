#include "daemon/tool/call_daemon.hpp"

#include <fmt/format.h>

#include <cstdlib>
#include <nlohmann/json.hpp>

#include "daemon/control_client.hpp"
#include "rules/languages/texts.hpp"

namespace underwing::tool {

int call_daemon(const Common& common, const std::string& method, const nlohmann::json& params, nlohmann::json& answer) {
  auto client = ControlClient::connect(common.socket);
  if (!client.ok()) {
    fmt::print(stderr, "underwing: {}\n", client.error());
    return 2;
  }
  auto said = client->call(method, params);
  if (!said.ok()) {
    fmt::print(stderr, "underwing: {}\n", said.error());
    return 1;
  }
  answer = std::move(*said);
  return 0;
}

std::string user_here() {
  const char* user = std::getenv("USER");
  return user ? user : say(english(), "somebody_here");
}

}  // namespace underwing::tool
