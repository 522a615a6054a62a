// underwing place: a flock file for birds that have come, from options or from a few questions.
#include <fmt/format.h>
#include <unistd.h>

#include <algorithm>
#include <cmath>
#include <filesystem>
#include <functional>
#include <iostream>
#include <nlohmann/json.hpp>
#include <set>

#include "daemon/tool/chosen.hpp"
#include "daemon/tool/flock_file.hpp"
#include "daemon/tool/terminal.hpp"
#include "daemon/zone_files.hpp"
#include "rules/explain/by_age.hpp"
#include "rules/explain/words.hpp"

namespace underwing::tool {

namespace {

struct Options {
  std::string farm = ".";
  NewFlock flock;
  std::string parents;
  std::string output;
  bool replace = false;
};

/// One thing to know about the new flock.
struct Question {
  const char* option;
  const char* key;          ///< under which the answer stands in the flock's file
  std::string text;
  std::string* answer;
  std::string suggestion;  ///< taken where nothing is said; may be empty
  bool needed = true;
};

constexpr const char* kNoPlan = "none";  ///< said of lights: no plan

/// The packs of the flock that was placed last: most flocks are watched like the one before them.
std::string packs_before(const RuleSet& rules) {
  const auto last = std::max_element(rules.flocks.begin(), rules.flocks.end(),
                                     [](const Flock& a, const Flock& b) { return a.placed < b.placed; });
  return last == rules.flocks.end() ? "" : fmt::format("{}", fmt::join(last->packs, ", "));
}

/// The flock placed last in that house for which lights are planned, or null.
const Flock* lights_before(const RuleSet& rules, const std::string& house) {
  const Flock* last = nullptr;
  for (const Flock& flock : rules.flocks) {
    if (rules.houses[flock.house].name != house || flock.lights.empty()) continue;
    if (last == nullptr || flock.placed > last->placed) last = &flock;
  }
  return last;
}

std::string names_of_houses(const RuleSet& rules) {
  std::vector<std::string> houses;
  for (const House& house : rules.houses) houses.push_back(house.name);
  return join_words(houses, "or");
}

std::vector<Question> questions(Options& options, const RuleSet& rules) {
  NewFlock& flock = options.flock;
  const bool us = rules.farm.units == Units::us;
  return {
      {"--house", "house", "Which house (" + names_of_houses(rules) + ")", &flock.house, rules.houses.size() == 1 ? rules.houses.front().name : ""},
      {"--placed", "placed", "When the chicks were placed, such as \"2026-04-20 09:00\"", &flock.placed, ""},
      {"--birds", "birds", "How many were placed, such as 17000", &flock.birds, ""},
      {"--chick-weight", "chick_weight", us ? "Mean weight of a chick, such as 0.093lb" : "Mean weight of a chick, such as 42g", &flock.chick_weight, ""},
      {"--parents", "", "Age of their parents in weeks, such as 28wk", &options.parents, "", false},
      {"--packs", "packs", "Packs that watch over them, such as air,humidity", &flock.packs, packs_before(rules)},
      {"--goal", "goal_day_7", us ? "Mean weight to reach on day 7, such as 0.42lb" : "Mean weight to reach on day 7, such as 190g", &flock.goal, "", false},
      {"--unloading", "unloading", "Hours with open doors on that day, such as 08:30-11:00", &flock.unloading, "", false},
  };
}

/// What is wrong with an answer; empty: nothing.
using Judge = std::function<std::string(const Question&)>;

void say_unfit(const std::string& wrong) { fmt::print(stderr, "That will not do: {}{}\n", wrong, wrong.ends_with('?') ? "" : "."); }

/// Asks until something is said that will do; false at the end of the input.
bool ask(const Question& question, const Judge& judge) {
  for (;;) {
    const std::string hint = !question.suggestion.empty() ? fmt::format(" [{}]", question.suggestion)
                             : question.needed            ? ""
                                                          : " (may be left empty)";
    fmt::print(stderr, "{}{}: ", question.text, hint);
    std::string line;
    if (!std::getline(std::cin, line)) return false;
    const std::size_t begin = line.find_first_not_of(' ');
    *question.answer = begin == std::string::npos
                           ? question.suggestion
                           : line.substr(begin, line.find_last_not_of(" \r") + 1 - begin);
    if (question.answer->empty()) {
      if (!question.needed) return true;
      continue;
    }
    const std::string wrong = judge(question);
    if (wrong.empty()) return true;
    say_unfit(wrong);
    question.answer->clear();
  }
}

enum class Filled { yes, missing, ended };

/// What is said, asked for, or suggested.
Filled fill_in(const Question& question, bool may_ask, const Judge& judge) {
  if (!question.answer->empty()) {
    const std::string wrong = may_ask ? judge(question) : "";
    if (wrong.empty()) return Filled::yes;
    // Said on the command line, and wrong: better asked for now than refused after all the other questions.
    say_unfit(wrong);
    question.answer->clear();
  }
  if (may_ask) return ask(question, judge) ? Filled::yes : Filled::ended;
  *question.answer = question.suggestion;
  return question.answer->empty() && question.needed ? Filled::missing : Filled::yes;
}

void say_missing(const Question& question, const std::string& more = "") {
  std::string text = question.text;
  text[0] = static_cast<char>(std::tolower(static_cast<unsigned char>(text[0])));
  fmt::print(stderr, "underwing: {} is missing: {}{}\n", question.option, text, more);
}

/// About lights, once the house is known; where the flock before had a plan, that is suggested. False at the end of the input, or
/// where the time at which the light comes on is missing, which has been said.
bool complete_lights(Options& options, const RuleSet& rules, bool may_ask, const Judge& judge) {
  NewFlock& flock = options.flock;
  const Flock* before = lights_before(rules, flock.house);
  const std::string plan = before ? fmt::format("{}", fmt::join(steps_of_light(before->lights), ", ")) : "";
  if (fill_in({"--lights", "lights", "Hours of light by age, such as \"0 d: 23 h, 7 d: 18 h\", or none", &flock.lights, plan, false}, may_ask, judge) == Filled::ended) return false;
  if (flock.lights == kNoPlan) flock.lights.clear();
  if (flock.lights.empty()) return true;
  const bool carried = before != nullptr && flock.lights == plan, said = !flock.lights_on.empty();
  if (carried) flock.lights_of = before->name;
  const Question on{"--lights-on", "lights_on", "When the light comes on, such as 05:00", &flock.lights_on, before != nullptr ? clock_of(before->lights_on) : ""};
  const Filled filled = fill_in(on, may_ask, judge);
  if (filled == Filled::missing) say_missing(on);
  if (filled == Filled::yes && !said && !may_ask && !carried) fmt::print(stderr, "The light comes on at {}, as for {}; --lights-on sets another time.\n", flock.lights_on, before->name);
  return filled == Filled::yes;
}

/// Whether one of the flock's packs has a list for chicks of young parents beside the target that takes it.
bool has_young_list(const FarmFiles& files, const std::vector<std::string>& packs) {
  for (const auto* group : {&files.packs, &files.shipped}) {
    for (const auto& [path, text] : *group) {
      if (text.find(fmt::format("\n  {}:", kYoungList)) == std::string::npos || text.find("\n  air_target:") == std::string::npos) continue;
      if (std::find(packs.begin(), packs.end(), pack_named_in(text)) != packs.end()) return true;
    }
  }
  return false;
}

/// Reads the age of the parents; false where it is none, which has been said.
bool take_parents(Options& options, const FarmFiles& files) {
  NewFlock& flock = options.flock;
  if (options.parents.empty()) return true;
  flock.parents_wk = parse_weeks(options.parents);
  if (!flock.parents_wk) {
    fmt::print(stderr, "underwing: --parents wants an age in weeks from 15 to 100, such as 28wk, not '{}'\n", options.parents);
    return false;
  }
  flock.warmer = *flock.parents_wk < kYoungParents_wk && has_young_list(files, split_names(flock.packs));
  return true;
}

std::string name_of(const NewFlock& flock) { return !flock.name.empty() ? flock.name : flock.house + "-" + flock.placed.substr(0, 10); }

std::filesystem::path path_of(const Options& options) {
  if (!options.output.empty()) return options.output;
  return std::filesystem::path(options.farm) / "flocks" / (name_of(options.flock) + ".yaml");
}

/// The farm's files with the new one among them, in place of the one that it replaces.
FarmFiles with_flock(FarmFiles files, const std::filesystem::path& path, const std::string& text) {
  std::error_code code;
  for (auto it = files.flocks.begin(); it != files.flocks.end();) {
    it = std::filesystem::equivalent(it->first, path, code) ? files.flocks.erase(it) : std::next(it);
  }
  files.flocks[path.string()] = text;
  return files;
}

/// Judges one answer as the loader will, in a file in which what has not been said yet is made up.
std::string wrong_with(const Options& options, const Question& question, const RuleSet& rules, const FarmFiles& files) {
  if (question.answer == &options.parents) {
    return parse_weeks(options.parents) ? "" : fmt::format("an age in weeks from 15 to 100 is wanted, such as 28wk, not '{}'", options.parents);
  }
  if (question.answer == &options.flock.lights && options.flock.lights == kNoPlan) return "";
  if (question.answer == &options.flock.house && !options.replace) {
    // No time of placement mends this, so it must not wait for the next question.
    for (const Flock& flock : rules.flocks) {
      if (rules.houses[flock.house].name == options.flock.house && !flock.cleared) return fmt::format("'{}' is still in {}; its file has no 'cleared'", flock.name, options.flock.house);
    }
  }
  NewFlock trial = options.flock;
  if (trial.lights == kNoPlan) trial.lights.clear();
  const auto make_up = [](std::string& answer, const std::string& value) {
    if (answer.empty()) answer = value;
  };
  make_up(trial.name, "on-trial");
  make_up(trial.house, rules.houses.front().name);
  make_up(trial.placed, "2026-01-01 09:00");
  make_up(trial.birds, "1000");
  make_up(trial.chick_weight, "42 g");
  make_up(trial.packs, pack_names(files).front());
  if (!trial.lights.empty()) make_up(trial.lights_on, "05:00");
  const std::string text = flock_file_text(trial, rules.farm.zone.name), path = options.replace ? path_of(options).string() : "on-trial.yaml";
  const Loaded loaded = load_farm(with_flock(files, path, text), load_zone);
  const std::size_t at = text.find(fmt::format("\n{}:", question.key));
  const auto line = static_cast<std::size_t>(std::count(text.begin(), text.begin() + static_cast<std::ptrdiff_t>(std::min(at, text.size() - 1)) + 1, '\n')) + 1;
  for (const Issue& issue : loaded.issues) {
    // The farm has no errors of its own: one in another file says that the new flock is in its way.
    const bool concerns_it = issue.file == path ? issue.line == line : question.answer == &options.flock.placed;
    if (issue.severity == Issue::Severity::error && concerns_it) return issue.text;
  }
  return "";
}

/// Fills in what is missing; false where something stays missing, which has been said.
bool complete(Options& options, const RuleSet& rules, const FarmFiles& files, bool may_ask) {
  bool whole = true;
  const Judge judge = [&](const Question& question) { return wrong_with(options, question, rules, files); };
  for (const Question& question : questions(options, rules)) {
    const Filled filled = fill_in(question, may_ask, judge);
    if (filled == Filled::ended) return false;
    if (filled == Filled::yes) continue;
    whole = false;
    if (question.answer == &options.flock.packs) say_missing(question, "; there are " + join_words(pack_names(files)));
    else say_missing(question);
  }
  if (!complete_lights(options, rules, may_ask, judge) || !take_parents(options, files)) return false;
  options.flock.name = name_of(options.flock);
  return whole;
}

std::size_t print_errors(const Loaded& loaded, const FarmFiles& files, const std::string& path,
                         const Common& common) {
  std::vector<Issue> shown;
  for (const Issue& issue : loaded.issues) {
    // What else is odd on the farm is the business of 'check'.
    if (issue.severity != Issue::Severity::caution || issue.file == path) shown.push_back(issue);
  }
  return print_issues(shown, files, common.json, true);
}

constexpr int kDaysShown = 8;  ///< the first seven days: ages of 0 d to 7 d

/// Limits of the first week as rows; rules whose limits are no numbers by age are named in `others`.
std::vector<std::vector<std::string>> first_week(const RuleSet& rules, std::size_t flock,
                                                 std::vector<std::string>& others, bool for_people) {
  std::vector<std::string> head{"", ""};
  for (int day = 0; day < kDaysShown; ++day) head.push_back(fmt::format("{} d", day));
  std::vector<std::vector<std::string>> rows{head};
  std::set<std::string> seen;
  for (const WatchedRule& rule : rules.rules) {
    if (rule.flock != flock || !seen.insert(rule.name).second) continue;
    const Unit unit = for_people ? shown_in(rule.unit, rules.farm.units) : rule.unit;
    bool numbers = false;
    for (const Limit& limit : rule.limits) {
      std::vector<std::string> row{
          rule.name, name_of_limit(rule, limit) + (unit.text.empty() ? "" : " " + unit.text)};
      bool any = false;
      for (int day = 0; day < kDaysShown; ++day) {
        const Duration age = std::chrono::hours(24) * day;
        const double value = limit_at(rule, limit, &rules.flocks[flock], age);
        any = any || !std::isnan(value);
        row.push_back(in_force_at(rule, age) && !std::isnan(value)
                          ? plain_number(unit.from_canonical(value))
                          : "-");
      }
      numbers = numbers || any;
      if (any) rows.push_back(std::move(row));
    }
    if (!numbers) others.push_back(rule.name);
  }
  return rows;
}

std::size_t index_of(const RuleSet& rules, const std::string& flock) {
  const auto found = std::find_if(rules.flocks.begin(), rules.flocks.end(),
                                  [&](const Flock& it) { return it.name == flock; });
  return static_cast<std::size_t>(found - rules.flocks.begin());
}

void print_result(const Options& options, const RuleSet& rules, const std::string& path,
                  const Common& common) {
  std::vector<std::string> others;
  const auto rows = first_week(rules, index_of(rules, options.flock.name), others, !common.json);
  if (common.json) {
    nlohmann::ordered_json limits = nlohmann::ordered_json::array();
    for (std::size_t i = 1; i < rows.size(); ++i) {
      nlohmann::ordered_json by_day = nlohmann::ordered_json::array();
      for (std::size_t cell = 2; cell < rows[i].size(); ++cell) {
        by_day.push_back(rows[i][cell] == "-" ? nlohmann::ordered_json(nullptr)
                                              : nlohmann::ordered_json(std::stod(rows[i][cell])));
      }
      limits.push_back({{"rule", rows[i][0]}, {"limit", rows[i][1]}, {"by_day", std::move(by_day)}});
    }
    fmt::print("{}\n",
               nlohmann::ordered_json(
                   {{"file", path}, {"flock", options.flock.name}, {"limits", limits}, {"others", others}})
                   .dump());
    return;
  }
  fmt::print("Wrote {}.\n", path);
  if (rows.size() > 1)
    fmt::print("\nLimits at the ages of the first seven days; - where a rule is not in force\n\n{}",
               grid(rows, 2));
  if (!others.empty()) {
    fmt::print("\n{}", wrapped(fmt::format("In force, too, without a number by age: {}. 'underwing explain "
                                           "NAME' says what each one watches.",
                                           join_words(others)),
                               text_columns()));
  }
  fmt::print("\n{}",
             wrapped("A watch that is running takes the flock in with 'underwing reload'.", text_columns()));
}

int run(Options options, const Common& common) {
  const Opened opened = open_farm(options.farm);
  if (!opened.readable) return 2;
  if (!opened.loaded.ok()) {
    print_issues(opened.loaded.issues, opened.files, common.json, false);
    return 1;
  }
  if (!complete(options, *opened.loaded.rules, opened.files, ::isatty(STDIN_FILENO) == 1 && !common.json))
    return 2;

  const std::filesystem::path path = path_of(options);
  if (std::filesystem::exists(path) && !options.replace) {
    fmt::print(stderr, "underwing: {} is there already; with --replace it is written anew\n", path.string());
    return 1;
  }
  const std::string text = flock_file_text(options.flock, opened.loaded.rules->farm.zone.name);
  const FarmFiles files = with_flock(opened.files, path, text);
  const Loaded loaded = load_farm(files, load_zone);
  print_errors(loaded, files, path.string(), common);
  if (!loaded.ok()) {
    if (!common.json) fmt::print("Nothing was written.\n");
    return 1;
  }
  const auto written = write_flock_file(path, text, options.replace ? IfThere::replace : IfThere::refuse);
  if (!written.ok()) {
    fmt::print(stderr, "underwing: {}\n", written.error());
    return 2;
  }
  print_result(options, *loaded.rules, path.string(), common);
  return 0;
}

}  // namespace

void add_place(CLI::App& app, Common& common) {
  auto* command = app.add_subcommand(
      "place", "Write the file of a new flock, check it, and show the limits of its first seven days");
  auto options = std::make_shared<Options>();
  command->add_option("--farm", options->farm, "The farm's folder (holds farm.yaml, flocks/, rules/)")
      ->capture_default_str();
  command->add_option("--house", options->flock.house, "The house; may be left out where the farm has one");
  command->add_option("--placed", options->flock.placed,
                      "When the chicks were placed, on the farm's clocks: \"2026-04-20 09:00\"");
  command->add_option("--birds", options->flock.birds, "How many were placed");
  command->add_option("--chick-weight", options->flock.chick_weight, "Mean weight of a chick: 42g");
  command->add_option("--parents", options->parents,
                      "Age of the parent flock: 28wk; below 30 weeks the chicks are watched by the list for young parents");
  command->add_option("--packs", options->flock.packs,
                      "Packs that watch over them: air,humidity; left out: those of the flock before");
  command->add_option("--goal", options->flock.goal, "Mean weight to reach on day 7: 190g");
  command->add_option("--unloading", options->flock.unloading,
                      "Hours with open doors on that day: 08:30-11:00");
  command->add_option("--lights", options->flock.lights,
                      "Hours of light by age: \"0 d: 23 h, 7 d: 18 h\", or none; left out: those of the flock before in that house");
  command->add_option("--lights-on", options->flock.lights_on, "When the light comes on: 05:00");
  command->add_option("--name", options->flock.name, "Name of the flock; left out: house and date");
  command->add_option("--output", options->output,
                      "The file to write; left out: flocks/NAME.yaml in the farm's folder");
  command->add_flag("--replace", options->replace, "Write the file anew if it is there already");
  command->callback([&common, options] { common.status = run(*options, common); });
}

}  // namespace underwing::tool
