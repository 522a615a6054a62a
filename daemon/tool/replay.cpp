// underwing replay: what the rules would have said on recorded tapes.
#include <fmt/format.h>

#include <algorithm>
#include <cstdio>
#include <nlohmann/json.hpp>

#include "daemon/replay.hpp"
#include "daemon/story.hpp"
#include "daemon/tool/account.hpp"
#include "daemon/tool/against.hpp"
#include "daemon/tool/tool.hpp"

namespace underwing::tool {

namespace {

struct Options {
  std::string farm = ".";
  std::string against;
  std::vector<std::string> tapes;
  std::string answer_after;
};

void say(const std::vector<std::string>& lines) {
  for (const std::string& line : lines) fmt::print("{}\n", line);
}

std::optional<ReplayOptions> replay_options(const Options& options) {
  ReplayOptions replaying;
  if (options.answer_after.empty()) return replaying;
  replaying.answer_after = to_duration(options.answer_after);
  if (replaying.answer_after) return replaying;
  fmt::print(stderr, "underwing: --answer-after wants a time such as '4 min', not '{}'\n", options.answer_after);
  return std::nullopt;
}

/// Loads a farm for a replay; on failure `status` says how to exit.
std::shared_ptr<const RuleSet> load_for_replay(const std::string& folder, const Common& common, int& status) {
  const Opened opened = open_farm(folder);
  status = opened.readable ? 1 : 2;
  if (opened.readable && !opened.loaded.ok()) print_issues(opened.loaded.issues, opened.files, common.json, false);
  return opened.loaded.rules;
}

int run(const Options& options, const Common& common) {
  const auto replaying = replay_options(options);
  if (!replaying) return 2;
  int status = 0;
  const auto rules = load_for_replay(options.farm, common, status);
  if (!rules) return status;
  Account account(*rules);
  const auto sink = [&](const Effect& effect) {
    if (!common.json) return say(account.hear(effect));
    if (effect.kind == Effect::Kind::event) std::fwrite((effect.json + "\n").data(), 1, effect.json.size() + 1, stdout);
  };
  const std::vector<std::filesystem::path> tapes(options.tapes.begin(), options.tapes.end());
  const auto replayed = replay(rules, tapes, *replaying, sink);
  if (!replayed.ok()) {
    fmt::print(stderr, "underwing: {}\n", replayed.error());
    return 2;
  }
  if (common.json) return 0;
  say(account.close(replayed->end));
  fmt::print("{} readings from {} to {}.\n", replayed->readings, account.story().stamp(replayed->begin), account.story().stamp(replayed->end));
  if (replayed->not_understood > 0) fmt::print("{} lines could not be understood.\n", replayed->not_understood);
  say(replayed->losses);
  return 0;
}

std::string in_words(const Difference& difference) {
  const Stood& alarm = difference.alarm;
  const std::string what = fmt::format("{}{}: {} ({})", alarm.house, alarm.probe.empty() ? "" : " " + alarm.probe, alarm.rule, to_string(alarm.priority));
  switch (difference.kind) {
    case Difference::Kind::falls_away: return what + " falls away";
    case Difference::Kind::comes_in: return what + " comes in";
    case Difference::Kind::earlier: return fmt::format("{} comes {} earlier", what, to_words(difference.apart));
    case Difference::Kind::later: return fmt::format("{} comes {} later", what, to_words(difference.apart));
    case Difference::Kind::other_priority: return fmt::format("{} was {} before", what, to_string(difference.before));
    case Difference::Kind::missed: return what + " WOULD BE MISSED: nothing urgent stands in that house meanwhile";
  }
  return what;
}

/// The same tapes under the rules of `farm` and, against them, those of another folder.
int run_against(const Options& options, const Common& common) {
  const auto replaying = replay_options(options);
  if (!replaying) return 2;
  const std::vector<std::filesystem::path> tapes(options.tapes.begin(), options.tapes.end());
  StoodList lists[2];
  std::shared_ptr<const RuleSet> rules[2];
  for (const std::size_t i : {0U, 1U}) {
    int status = 0;
    rules[i] = load_for_replay(i == 0 ? options.farm : options.against, common, status);
    if (!rules[i]) return status;
    const auto replayed = replay(rules[i], tapes, *replaying, [&](const Effect& effect) { lists[i].hear(effect); });
    if (!replayed.ok()) {
      fmt::print(stderr, "underwing: {}\n", replayed.error());
      return 2;
    }
  }
  const std::vector<Difference> differences = compare(lists[0].alarms(), lists[1].alarms());
  const Story story(*rules[0]);
  for (const Difference& difference : differences) {
    if (common.json) {
      fmt::print("{}\n", nlohmann::ordered_json({{"time", to_rfc3339(difference.alarm.raised)}, {"difference", to_string(difference.kind)},
                                                 {"house", difference.alarm.house}, {"rule", difference.alarm.rule},
                                                 {"probe", difference.alarm.probe.empty() ? nlohmann::ordered_json() : nlohmann::ordered_json(difference.alarm.probe)},
                                                 {"priority", to_string(difference.alarm.priority)},
                                                 {"minutes", hours_of(difference.apart) * 60.0}}).dump());
    } else {
      fmt::print("{}  {}\n", story.stamp(difference.alarm.raised), in_words(difference));
    }
  }
  if (!common.json) {
    fmt::print("{}{}: {} alarms, {} of them urgent. {}: {} alarms, {} urgent. {}\n", differences.empty() ? "" : "\n", options.farm,
               lists[0].alarms().size(), lists[0].urgent(), options.against, lists[1].alarms().size(), lists[1].urgent(),
               differences.empty() ? "No difference on these tapes." : fmt::format("{} differences.", differences.size()));
  }
  const bool missed = std::any_of(differences.begin(), differences.end(), [](const Difference& d) { return d.kind == Difference::Kind::missed; });
  return missed ? 1 : 0;
}

}  // namespace

void add_replay(CLI::App& app, Common& common) {
  auto* command = app.add_subcommand("replay", "Run recorded tapes through a farm's rules and say what would have happened");
  auto options = std::make_shared<Options>();
  command->add_option("--farm", options->farm, "The farm's folder (holds farm.yaml, flocks/, rules/)")->capture_default_str();
  command->add_option("--answer-after", options->answer_after, "Act as if whoever is told answers after this time, such as '4 min'; left out: nobody ever answers");
  command->add_option("tape", options->tapes, "Tapes in the order of time, .senml or .senml.zst")->required();
  command->add_option("--against", options->against, "Another farm folder: play the same tapes under its rules too, and say what would differ");
  command->callback([&common, options] {
    common.status = options->against.empty() ? run(*options, common) : run_against(*options, common);
  });
}

}  // namespace underwing::tool
