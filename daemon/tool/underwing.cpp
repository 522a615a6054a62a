#include <fmt/format.h>

#include <algorithm>
#include <string_view>

#include "daemon/tool/chosen.hpp"
#include "daemon/tool/tool.hpp"
#include "rules/explain/words.hpp"

namespace {

/// The first word that is neither an option nor the value of one: the command, as it was meant.
std::string command_word(int argc, char** argv) {
  for (int i = 1; i < argc; ++i) {
    const std::string_view word = argv[i];
    if (word == "--socket") ++i;
    else if (!word.starts_with('-')) return std::string(word);
  }
  return "";
}

/// What is wrong with the command line when it names a command that there is not; empty: it names none, or one.
std::string unknown_command(const CLI::App& app, int argc, char** argv) {
  const std::string word = command_word(argc, argv);
  std::vector<std::string> names;
  for (const CLI::App* command : app.get_subcommands([](const CLI::App*) { return true; })) names.push_back(command->get_name());
  if (word.empty() || std::find(names.begin(), names.end(), word) != names.end()) return "";
  const std::string near = underwing::tool::suggestion(word, names);
  return fmt::format("no command '{}'{}", word, near.empty() ? "; 'underwing --help' names all" : near);
}

/// For whoever names no command: what there is.
std::string commands_in_words(const CLI::App& app) {
  std::string text = "underwing: say what you want to know or do; 'underwing COMMAND --help' says more.\n\n";
  for (const CLI::App* command : app.get_subcommands([](const CLI::App*) { return true; })) {
    text += underwing::wrapped(command->get_description(), 80, fmt::format("  {:<12} ", command->get_name()));
  }
  return text;
}

}  // namespace

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
  add_report(app, common);
  add_schema(app, common);
  add_talk(app, common);
  if (const std::string wrong = unknown_command(app, argc, argv); !wrong.empty()) {
    fmt::print(stderr, "underwing: {}\n", wrong);
    return 2;
  }
  try {
    app.parse(argc, argv);
  } catch (const CLI::RequiredError& error) {
    if (!app.get_subcommands().empty()) return app.exit(error) == 0 ? 0 : 2;
    fmt::print(stderr, "{}", commands_in_words(app));
    return 2;
  } catch (const CLI::ParseError& error) {
    return app.exit(error) == 0 ? 0 : 2;
  } catch (const std::exception& error) {
    fmt::print(stderr, "underwing: {}\n", error.what());
    return 2;
  }
  return common.status;
}
