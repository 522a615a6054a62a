// Opening a farm's folder for the commands that need no daemon.
#include <fmt/format.h>

#include <cstdio>
#include <cstdlib>
#include <map>
#include <nlohmann/json.hpp>

#include "daemon/farm_files.hpp"
#include "daemon/tool/tool.hpp"
#include "daemon/zone_files.hpp"

namespace underwing::tool {

namespace {

const std::string* text_of(const FarmFiles& files, const std::string& path) {
  if (path == files.farm_path) return &files.farm_text;
  for (const auto* group : {&files.flocks, &files.packs, &files.shipped, &files.tables, &files.languages, &files.shipped_languages}) {
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

std::string in_minutes(Duration span) { return to_words(span < std::chrono::minutes(1) ? span : std::chrono::round<std::chrono::minutes>(span)); }

std::optional<Duration> to_duration(const std::string& text) {
  char* end = nullptr;
  const double number = std::strtod(text.c_str(), &end);
  std::string unit(end);
  unit.erase(0, unit.find_first_not_of(' '));
  static const std::map<std::string, double> kSeconds{{"s", 1}, {"min", 60}, {"h", 3600}, {"d", 86400}};
  const auto found = kSeconds.find(unit);
  if (end == text.c_str() || found == kSeconds.end() || number < 0) return std::nullopt;
  return Duration(static_cast<std::int64_t>(number * found->second * 1000.0));
}

namespace {

const char* name_of(Issue::Severity severity) {
  switch (severity) {
    case Issue::Severity::error: return "error";
    case Issue::Severity::caution: return "caution";
    case Issue::Severity::danger: return "danger";
  }
  return "error";
}

void print_issue(const Issue& issue, const FarmFiles& files, bool json) {
  if (json) {
    fmt::print("{}\n", nlohmann::ordered_json({{"severity", name_of(issue.severity)},
                                               {"file", issue.file},
                                               {"line", issue.line},
                                               {"column", issue.column},
                                               {"text", issue.text}})
                           .dump());
    return;
  }
  const std::string* text = text_of(files, issue.file);
  fmt::print("{}\n", to_text(issue, text ? *text : std::string()));
}

}  // namespace

std::size_t print_issues(const std::vector<Issue>& issues, const FarmFiles& files, bool json, bool cautions) {
  std::size_t errors = 0;
  // Dangers come last, where the eye is when the command has ended.
  for (const bool dangers : {false, true}) {
    for (const Issue& issue : issues) {
      errors += !dangers && issue.severity == Issue::Severity::error;
      if ((issue.severity == Issue::Severity::danger) != dangers) continue;
      if (issue.severity == Issue::Severity::error || cautions) print_issue(issue, files, json);
    }
  }
  return errors;
}

}  // namespace underwing::tool
