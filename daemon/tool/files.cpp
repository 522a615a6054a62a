// Opening a farm's folder for the commands that need no daemon.
#include <fmt/format.h>

#include <cstdio>
#include <cstdlib>
#include <nlohmann/json.hpp>

#include "daemon/farm_files.hpp"
#include "daemon/tool/tool.hpp"
#include "daemon/zone_files.hpp"

namespace underwing::tool {

namespace {

const std::string* text_of(const FarmFiles& files, const std::string& path) {
  if (path == files.farm_path) return &files.farm_text;
  for (const auto* group : {&files.flocks, &files.packs, &files.shipped}) {
    const auto found = group->find(path);
    if (found != group->end()) return &found->second;
  }
  return nullptr;
}

}  // namespace

std::string default_socket() {
  const char* named = std::getenv("UNDERWING_SOCKET");
  return named ? named : "/run/underwing/underwing.sock";
}

Opened open_farm(const std::string& folder) {
  Opened opened;
  auto files = read_farm_files(folder);
  if (!files.ok()) {
    fmt::print(stderr, "underwing: {}\n", files.error());
    return opened;
  }
  opened.readable = true;
  opened.files = std::move(*files);
  opened.loaded = load_farm(opened.files, load_zone);
  return opened;
}

std::size_t print_issues(const std::vector<Issue>& issues, const FarmFiles& files, bool json, bool cautions) {
  std::size_t errors = 0;
  for (const Issue& issue : issues) {
    const bool error = issue.severity == Issue::Severity::error;
    errors += error;
    if (!error && !cautions) continue;
    if (json) {
      fmt::print("{}\n", nlohmann::ordered_json({{"severity", error ? "error" : "caution"}, {"file", issue.file}, {"line", issue.line},
                                                 {"column", issue.column}, {"text", issue.text}}).dump());
      continue;
    }
    const std::string* text = text_of(files, issue.file);
    fmt::print("{}\n", to_text(issue, text ? *text : std::string()));
  }
  return errors;
}

}  // namespace underwing::tool
