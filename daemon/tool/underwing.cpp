#include <fmt/format.h>

#include "daemon/tool/tool.hpp"

int main(int argc, char** argv) {
  using namespace underwing::tool;
  CLI::App app{
      "Underwing keeps watch over young broiler flocks while people sleep.\n"
      "It is no certified life-safety or fire alarm, and replaces neither the house's own thermostat back-up\n"
      "nor the alarm that local rules require.",
      "underwing"};
  Common common;
  common.socket = default_socket();
  app.set_version_flag("--version", UNDERWING_VERSION);
  app.add_flag("--json", common.json, "Print one JSON object a line");
  app.add_option("--socket", common.socket, "Where the daemon listens")->capture_default_str();
  app.fallthrough();
  app.require_subcommand(1);
  add_check(app, common);
  add_duty(app, common);
  add_explain(app, common);
  add_place(app, common);
  add_replay(app, common);
  add_schema(app, common);
  add_talk(app, common);
  try {
    app.parse(argc, argv);
  } catch (const CLI::ParseError& error) {
    return app.exit(error) == 0 ? 0 : 2;
  } catch (const std::exception& error) {
    fmt::print(stderr, "underwing: {}\n", error.what());
    return 2;
  }
  return common.status;
}
