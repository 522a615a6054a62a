#pragma once

#include <CLI/CLI.hpp>
#include <memory>
#include <optional>
#include <string>

#include "rules/base/result.hpp"
#include "rules/files/load.hpp"

/// The command-line tool: one file a group of commands. A command returns the exit status: 0 fine, 1 found
/// something wrong, 2 could not run.
namespace underwing::tool {

struct Common {
  bool json = false;          ///< one JSON object a line
  std::string socket;         ///< of the daemon
  int status = 0;             ///< exit status of the command that ran
};

/// Where the daemon listens unless told otherwise: UNDERWING_SOCKET, else /run/underwing/underwing.sock.
[[nodiscard]] std::string default_socket();

void add_check(CLI::App& app, Common& common);
void add_replay(CLI::App& app, Common& common);
void add_duty(CLI::App& app, Common& common);
void add_explain(CLI::App& app, Common& common);
void add_place(CLI::App& app, Common& common);
void add_report(CLI::App& app, Common& common);
void add_schema(CLI::App& app, Common& common);
void add_talk(CLI::App& app, Common& common);

/// A farm's folder loaded; on failure the issues have been printed and `rules` is null.
struct Opened {
  FarmFiles files;
  Loaded loaded;
  bool readable = false;
};
[[nodiscard]] Opened open_farm(const std::string& folder);

/// Prints issues as text, or with `json` one object a line. Cautions only if wanted. Returns the number of errors.
std::size_t print_issues(const std::vector<Issue>& issues, const FarmFiles& files, bool json, bool cautions);

/// A span in whole minutes, as it is only below one: "41 min", "12 s".
[[nodiscard]] std::string in_minutes(Duration span);

/// A time as people write it: "10 min", "90s", "1 h"; nullopt where it is none.
[[nodiscard]] std::optional<Duration> to_duration(const std::string& text);

}  // namespace underwing::tool
