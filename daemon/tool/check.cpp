// underwing check: what is wrong in a farm's files, before they are in force.
#include <fmt/format.h>

#include <algorithm>
#include <filesystem>
#include <fstream>
#include <nlohmann/json.hpp>
#include <sstream>

#include "daemon/tool/terminal.hpp"
#include "daemon/tool/tool.hpp"
#include "daemon/words.hpp"
#include "daemon/zone_files.hpp"
#include "rules/explain/unseen.hpp"
#include "rules/explain/words.hpp"

namespace underwing::tool {

namespace {

/// "; see 2 cautions and 1 DANGER above".
std::string pointer_to(const std::vector<Issue>& issues) {
  if (issues.empty()) return "";
  const auto dangers =
      static_cast<std::size_t>(std::count_if(issues.begin(), issues.end(), [](const Issue& issue) {
        return issue.severity == Issue::Severity::danger;
      }));
  std::vector<std::string> words;
  if (dangers < issues.size()) words.push_back(counted(issues.size() - dangers, "caution"));
  if (dangers > 0) words.push_back(dangers == 1 ? "1 DANGER" : fmt::format("{} DANGERS", dangers));
  return fmt::format("; see {} above", join_words(words));
}

/// Rules that look at the house whatever flock is in it.
std::vector<std::string> rules_of_farm(const RuleSet& rules, std::size_t house) {
  std::vector<std::string> names;
  for (const WatchedRule& rule : rules.rules) {
    if (rule.house == house && !rule.flock && (names.empty() || names.back() != rule.name))
      names.push_back(rule.name);
  }
  return names;
}

/// Probes in a part of the house that has no birds at first.
std::string waiting_in_words(const RuleSet& rules, const Flock& flock) {
  std::string text;
  for (const auto& [probe, age] : flock.counts_from) {
    text += fmt::format("{}{} {}, {}", text.empty() ? "" : "; ", spaced(rules.measures[rules.probes[probe].measure].name),
                        rules.probes[probe].name, not_counted_until(flock, rules.farm.zone, age));
  }
  return text;
}

/// What is in order, and yet not seen: ages without any limit, houses without a flock.
void print_unseen(const RuleSet& rules) {
  std::vector<std::pair<std::string, std::string>> lines;
  std::string before;
  for (std::size_t flock = 0; flock < rules.flocks.size(); ++flock) {
    const std::string text = unseen_in_words(rules, flock);
    if (!text.empty()) lines.emplace_back(rules.flocks[flock].name, text == before ? "the same" : text);
    before = text;
    const std::string waiting = waiting_in_words(rules, rules.flocks[flock]);
    if (!waiting.empty()) lines.emplace_back(rules.flocks[flock].name, waiting);
  }
  for (std::size_t house = 0; house < rules.houses.size(); ++house) {
    const bool used = std::any_of(rules.flocks.begin(), rules.flocks.end(),
                                  [house](const Flock& flock) { return flock.house == house; });
    const std::vector<std::string> names = rules_of_farm(rules, house);
    if (!used)
      lines.emplace_back(rules.houses[house].name,
                         names.empty() ? "no flock has a file, so nothing is watched"
                                       : fmt::format("no flock has a file, so only {} {} watched",
                                                     join_words(names), names.size() == 1 ? "is" : "are"));
  }
  for (std::size_t house = 0; house < rules.houses.size(); ++house) {
    const std::string text = time_left_unseen_in_words(rules, house);
    if (!text.empty()) lines.emplace_back(rules.houses[house].name, text);
  }
  if (lines.empty()) return;
  fmt::print("\nWhat the watch will not see, though nothing is wrong (ages of the flock):\n");
  std::size_t width = 0;
  for (const auto& [name, text] : lines) width = std::max(width, columns_of(name));
  for (const auto& [name, text] : lines)
    fmt::print("{}", wrapped(text, text_columns(), "  " + left_aligned(name, width + 2)));
}

void print_unseen_as_json(const RuleSet& rules) {
  for (const UnseenAges& unseen : unseen_ages(rules)) {
    for (const std::size_t measure : unseen.measures) {
      for (const auto& [from, until] : unseen.gaps) {
        fmt::print("{}\n",
                   nlohmann::ordered_json({{"unseen", rules.measures[measure].name},
                                           {"flock", rules.flocks[unseen.flock].name},
                                           {"from_age_h", hours_of(from)},
                                           {"until_age_h", until ? nlohmann::ordered_json(hours_of(*until))
                                                                 : nlohmann::ordered_json(nullptr)}})
                       .dump());
      }
    }
  }
}

void print_time_left_unseen_as_json(const RuleSet& rules) {
  for (std::size_t house = 0; house < rules.houses.size(); ++house) {
    const std::vector<std::string> keys = lacking_for_time_left(rules, house);
    if (keys.empty()) continue;
    fmt::print("{}\n", nlohmann::ordered_json({{"unseen", "time left"}, {"house", rules.houses[house].name}, {"lacks", keys}}).dump());
  }
}

int check_folder(const std::string& folder, const Common& common) {
  const Opened opened = open_farm(folder);
  if (!opened.readable) return 2;
  const std::size_t errors = print_issues(opened.loaded.issues, opened.files, common.json, true);
  if (errors > 0) {
    if (!common.json)
      fmt::print("{}. A watch that runs keeps the rules that it has; none starts with these.\n",
                 counted(errors, "mistake"));
    return 1;
  }
  const RuleSet& rules = *opened.loaded.rules;
  if (common.json) {
    print_unseen_as_json(rules);
    print_time_left_unseen_as_json(rules);
    return 0;
  }
  fmt::print("{} can be watched: {}, {}, {}, {}{}.\n", rules.farm.name, counted(rules.houses.size(), "house"),
             counted(rules.probes.size(), "probe"), counted(rules.flocks.size(), "flock"),
             counted(rules.rules.size(), "rule"), pointer_to(opened.loaded.issues));
  print_unseen(rules);
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
  auto* command = app.add_subcommand(
      "check",
      "Look for mistakes in a farm's folder, or in single files, and say what the watch will not see");
  auto paths = std::make_shared<std::vector<std::string>>();
  command->add_option(
      "path", *paths,
      "A farm's folder (holds farm.yaml, flocks/, rules/) or single files; left out: this folder");
  command->callback([&common, paths] {
    if (paths->empty()) paths->push_back(".");
    for (const std::string& path : *paths) {
      const int status =
          std::filesystem::is_directory(path) ? check_folder(path, common) : check_single(path, common);
      common.status = std::max(common.status, status);
    }
  });
}

}  // namespace underwing::tool
