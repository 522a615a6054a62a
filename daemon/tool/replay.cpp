// underwing replay: what the rules would have said on recorded tapes.
#include <fmt/format.h>

#include <algorithm>
#include <cstdio>
#include <nlohmann/json.hpp>
#include <set>

#include "daemon/replay.hpp"
#include "daemon/story.hpp"
#include "daemon/tool/account.hpp"
#include "daemon/tool/against.hpp"
#include "daemon/tool/tool.hpp"
#include "daemon/words.hpp"
#include "rules/explain/words.hpp"

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

/// What could not be read of the tapes, and what was read but is not the farm's.
std::vector<std::string> flaws_of(const Replayed& replayed, const Zone& zone) {
  std::vector<std::string> flaws = replayed.losses;
  for (const Replayed::Overlap& overlap : replayed.overlaps) {
    flaws.push_back(fmt::format("{} begins at {}, before {} ends at {}: they overlap, and what it holds of that time comes too late", overlap.later,
                                date_and_time(zone, overlap.begin), overlap.earlier, date_and_time(zone, overlap.end)));
  }
  if (replayed.late > 0) {
    flaws.push_back(fmt::format("{} came too late to count, the first of {} for {}", counted(replayed.late, "reading"), replayed.late_first,
                                date_and_time(zone, replayed.late_first_time)));
  }
  if (replayed.not_understood > 0) {
    flaws.push_back(fmt::format("{} could not be understood, the first is line {}", counted(replayed.not_understood, "line"), replayed.not_understood_first));
  }
  if (replayed.unknown > 0) {
    flaws.push_back(fmt::format("{} of {} did not count, such as {}", counted(replayed.unknown, "reading"), counted(replayed.unknown_names, "name"), replayed.unknown_example));
  }
  return flaws;
}

/// 0: all was read; 1: something is damaged, or two tapes overlap; 2: there is nothing that the farm's rules could judge, which is said.
int judge(const Result<Replayed>& replayed, const std::string& folder, const Zone& zone) {
  std::fflush(stdout);
  if (!replayed.ok()) {
    fmt::print(stderr, "underwing: {}\n", replayed.error());
    return 2;
  }
  if (replayed->readings > 0) return replayed->losses.empty() && replayed->overlaps.empty() && replayed->not_understood == 0 ? 0 : 1;
  for (const std::string& flaw : flaws_of(*replayed, zone)) fmt::print(stderr, "underwing: {}\n", flaw);
  fmt::print(stderr, "underwing: these tapes hold no reading of a probe of the farm in '{}': nothing can be said of them\n", folder);
  return 2;
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
  status = judge(replayed, options.farm, rules->farm.zone);
  if (status == 2) return status;
  const std::vector<std::string> flaws = flaws_of(*replayed, rules->farm.zone);
  if (common.json) {
    for (const std::string& flaw : flaws) fmt::print(stderr, "underwing: {}\n", flaw);
    return status;
  }
  say(account.close(replayed->end));
  fmt::print("{} from {} to {}.\n", counted(replayed->readings, "reading"), account.story().stamp(replayed->begin), account.story().stamp(replayed->end));
  say(flaws);
  return status;
}

nlohmann::ordered_json to_json(const std::optional<Stood>& alarm) {
  if (!alarm) return {};
  const auto time = [](const std::optional<Instant>& at) { return at ? nlohmann::ordered_json(to_rfc3339(*at)) : nlohmann::ordered_json(); };
  return {{"priority", to_string(alarm->priority)}, {"raised", to_rfc3339(alarm->raised)}, {"urgent", time(alarm->wakes())}, {"returned", time(alarm->returned)}};
}

nlohmann::ordered_json to_json(const Difference& difference) {
  const Stood& alarm = difference.alarm();
  const auto text = [](const std::string& name) { return name.empty() ? nlohmann::ordered_json() : nlohmann::ordered_json(name); };
  static constexpr const char* kSubjects[] = {"condition", "blindness", "trouble"};
  nlohmann::ordered_json line = {
      {"time", to_rfc3339(difference.time())}, {"difference", to_string(difference.kind)}, {"wake_up", difference.of_a_wake_up()},
      {"subject", kSubjects[static_cast<std::size_t>(alarm.subject)]},
      {"house", text(alarm.house)}, {"rule", text(alarm.rule)}, {"probe", text(alarm.probe)}, {"priority", to_string(alarm.priority)},
      {"minutes", hours_of(difference.apart) * 60.0}, {"instead", text(difference.instead)},
      {"before", to_json(difference.was)}, {"now", to_json(difference.is)}};
  if (alarm.subject != Alarm::Subject::blindness) return line;
  line["measure"] = text(alarm.measure);
  line["rules"] = alarm.rules;
  return line;
}

/// What one set of rules makes of the tapes.
struct Side {
  std::string folder;
  std::shared_ptr<const RuleSet> rules;
  std::unique_ptr<Account> account;
  std::unique_ptr<StoodList> list;
  std::vector<std::string> flaws;

  [[nodiscard]] std::string sum() const {
    return fmt::format("{}: {}, {} urgent.", folder, account->alarms(), account->urgent() == 0 ? "none" : fmt::format("{}", account->urgent()));
  }
};

/// Who is told how often, in whichever order the files name them.
std::multiset<std::string> told(const Side& side) {
  const std::vector<std::string> people = side.account->people();
  return {people.begin(), people.end()};
}

void say_sums(const Side& older, const Side& newer, const std::vector<Difference>& differences) {
  for (const Side* side : {&older, &newer}) {
    fmt::print("{}\n", side->sum());
    for (const std::string& sentence : side->account->people()) fmt::print("  {}\n", sentence);
    for (const std::string& flaw : side->flaws) fmt::print("  {}\n", flaw);
  }
  if (!differences.empty()) fmt::print("{}\n", sum_of(differences));
  else if (told(older) != told(newer)) fmt::print("The same alarms at the same times, but people are told differently.\n");
  else fmt::print("No difference on these tapes.\n");
}

/// The same tapes under the rules of `farm` and, against them, those of another folder.
int run_against(const Options& options, const Common& common) {
  const auto replaying = replay_options(options);
  if (!replaying) return 2;
  const std::vector<std::filesystem::path> tapes(options.tapes.begin(), options.tapes.end());
  int worst = 0;
  Side sides[2] = {{options.farm, nullptr, nullptr, nullptr, {}}, {options.against, nullptr, nullptr, nullptr, {}}};
  for (Side& side : sides) {
    int status = 0;
    side.rules = load_for_replay(side.folder, common, status);
    if (!side.rules) return status;
    side.account = std::make_unique<Account>(*side.rules);
    side.list = std::make_unique<StoodList>(side.rules);
    const auto replayed = replay(side.rules, tapes, *replaying, [&side](const Effect& effect) {
      side.list->hear(effect);
      static_cast<void>(side.account->hear(effect));
    });
    const int judged = judge(replayed, side.folder, side.rules->farm.zone);
    if (judged == 2) return 2;
    worst = std::max(worst, judged);
    side.flaws = flaws_of(*replayed, side.rules->farm.zone);
    if (common.json) {
      for (const std::string& flaw : side.flaws) fmt::print(stderr, "underwing: {}: {}\n", side.folder, flaw);
    }
  }
  const std::vector<Difference> differences = compare(sides[0].list->alarms(), sides[1].list->alarms());
  const Story& story = sides[0].account->story();
  for (const Difference& difference : differences) {
    if (common.json) fmt::print("{}\n", to_json(difference).dump());
    else fmt::print("{}  {}\n", story.stamp(difference.time()), in_words(difference, [&](Instant time) { return story.clock(time); }));
  }
  if (!common.json) {
    if (!differences.empty()) fmt::print("\n");
    say_sums(sides[0], sides[1], differences);
  }
  const bool missed = std::any_of(differences.begin(), differences.end(), [](const Difference& d) { return d.kind == Difference::Kind::missed; });
  return missed ? 1 : worst;
}

}  // namespace

void add_replay(CLI::App& app, Common& common) {
  auto* command = app.add_subcommand("replay", "Run recorded tapes through a farm's rules and say what would have happened");
  auto options = std::make_shared<Options>();
  command->add_option("--farm", options->farm, "The farm's folder (holds farm.yaml, flocks/, rules/)")->capture_default_str();
  command->add_option("--answer-after", options->answer_after, "Act as if whoever is told answers after this time, such as '4 min', and is in the house after their `away`; left out: nobody ever answers");
  command->add_option("tape", options->tapes, "Tapes, .senml or .senml.zst; they are played in the order in which their times begin")->required();
  command->add_option("--against", options->against, "Another farm folder: play the same tapes under its rules too, and say what would differ");
  command->callback([&common, options] {
    common.status = options->against.empty() ? run(*options, common) : run_against(*options, common);
  });
}

}  // namespace underwing::tool
