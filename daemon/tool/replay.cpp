// underwing replay: what the rules would have said on recorded tapes.
#include <fmt/format.h>

#include <cstdio>
#include <map>
#include <nlohmann/json.hpp>

#include "daemon/replay.hpp"
#include "daemon/story.hpp"
#include "daemon/tool/tool.hpp"

namespace underwing::tool {

namespace {

struct Options {
  std::string farm = ".";
  std::vector<std::string> tapes;
  std::string answer_after;
};

/// A calm account for a person.
class Account {
 public:
  explicit Account(const RuleSet& rules) : story_(rules) {}

  void hear(const Effect& effect) {
    const std::string sentence = story_.sentence(effect);
    if (sentence.empty()) return;
    fmt::print("{}  {}\n", story_.stamp(effect.time), sentence);
    if (effect.kind != Effect::Kind::event) return;
    const auto event = nlohmann::json::parse(effect.json, nullptr, false);
    if (event.value("event", "") == "raised") ++raised_;
    if (event.value("event", "") == "told") ++told_[event.value("who", "")];
  }

  void close(const Replayed& replayed) const {
    fmt::print("\n{} readings from {} to {}. {} alarm{}.", replayed.readings, story_.stamp(replayed.begin),
               story_.stamp(replayed.end), raised_, raised_ == 1 ? "" : "s");
    for (const auto& [who, times] : told_) fmt::print(" {} told {} time{}.", who, times, times == 1 ? "" : "s");
    fmt::print("\n");
    if (replayed.not_understood > 0) fmt::print("{} lines could not be understood.\n", replayed.not_understood);
    for (const std::string& loss : replayed.losses) fmt::print("{}\n", loss);
  }

 private:
  Story story_;
  std::map<std::string, int> told_;
  int raised_ = 0;
};

int run(const Options& options, const Common& common) {
  const Opened opened = open_farm(options.farm);
  if (!opened.readable) return 2;
  if (!opened.loaded.ok()) {
    print_issues(opened.loaded.issues, opened.files, common.json, false);
    return 1;
  }
  ReplayOptions replaying;
  if (!options.answer_after.empty()) {
    replaying.answer_after = to_duration(options.answer_after);
    if (!replaying.answer_after) {
      fmt::print(stderr, "underwing: --answer-after wants a time such as '4 min', not '{}'\n", options.answer_after);
      return 2;
    }
  }
  Account account(*opened.loaded.rules);
  const auto sink = [&](const Effect& effect) {
    if (!common.json) return account.hear(effect);
    if (effect.kind == Effect::Kind::event) std::fwrite((effect.json + "\n").data(), 1, effect.json.size() + 1, stdout);
  };
  const std::vector<std::filesystem::path> tapes(options.tapes.begin(), options.tapes.end());
  const auto replayed = replay(opened.loaded.rules, tapes, replaying, sink);
  if (!replayed.ok()) {
    fmt::print(stderr, "underwing: {}\n", replayed.error());
    return 2;
  }
  if (!common.json) account.close(*replayed);
  return 0;
}

}  // namespace

void add_replay(CLI::App& app, Common& common) {
  auto* command = app.add_subcommand("replay", "Run recorded tapes through a farm's rules and say what would have happened");
  auto options = std::make_shared<Options>();
  command->add_option("--farm", options->farm, "The farm's folder (holds farm.yaml, flocks/, rules/)")->capture_default_str();
  command->add_option("--answer-after", options->answer_after, "Act as if whoever is told answers after this time, such as '4 min'; left out: nobody ever answers");
  command->add_option("tape", options->tapes, "Tapes in the order of time, .senml or .senml.zst")->required();
  command->callback([&common, options] { common.status = run(*options, common); });
}

}  // namespace underwing::tool
