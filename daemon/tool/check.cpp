// underwing check: what is wrong in a farm's files, before they are in force.
#include <fmt/format.h>

#include <filesystem>
#include <fstream>
#include <sstream>

#include "daemon/tool/tool.hpp"
#include "daemon/zone_files.hpp"

namespace underwing::tool {

namespace {

int check_folder(const std::string& folder, const Common& common) {
  const Opened opened = open_farm(folder);
  if (!opened.readable) return 2;
  const std::size_t errors = print_issues(opened.loaded.issues, opened.files, common.json, true);
  if (errors > 0) {
    if (!common.json) fmt::print("{} problem{} in {}. Nothing was put in force.\n", errors, errors == 1 ? "" : "s", folder);
    return 1;
  }
  if (!common.json) {
    const RuleSet& rules = *opened.loaded.rules;
    const std::size_t cautions = opened.loaded.issues.size();
    fmt::print("{}: {} is fine: {} house{}, {} probes, {} flock{}, {} rules watched{}.\n", folder, rules.farm.name, rules.houses.size(),
               rules.houses.size() == 1 ? "" : "s", rules.probes.size(), rules.flocks.size(), rules.flocks.size() == 1 ? "" : "s",
               rules.rules.size(), cautions == 0 ? "" : fmt::format("; {} caution{}", cautions, cautions == 1 ? "" : "s"));
  }
  return 0;
}

int check_single(const std::string& path, const Common& common) {
  std::ifstream in(path, std::ios::binary);
  std::ostringstream text;
  if (!in || !(text << in.rdbuf())) {
    fmt::print(stderr, "underwing: cannot read {}\n", path);
    return 2;
  }
  FarmFiles files;
  files.packs[path] = text.str();
  const std::vector<Issue> issues = check_file(path, text.str(), load_zone);
  const std::size_t errors = print_issues(issues, files, common.json, true);
  if (!common.json && errors == 0) fmt::print("{}: fine by itself.\n", path);
  return errors > 0 ? 1 : 0;
}

}  // namespace

void add_check(CLI::App& app, Common& common) {
  auto* command = app.add_subcommand("check", "Look for mistakes in a farm's folder, or in single files, and say what the watch will not see");
  auto paths = std::make_shared<std::vector<std::string>>();
  command->add_option("path", *paths, "A farm's folder (holds farm.yaml, flocks/, rules/) or single files; left out: this folder");
  command->callback([&common, paths] {
    if (paths->empty()) paths->push_back(".");
    for (const std::string& path : *paths) {
      const int status = std::filesystem::is_directory(path) ? check_folder(path, common) : check_single(path, common);
      common.status = std::max(common.status, status);
    }
  });
}

}  // namespace underwing::tool
