// underwing explain: a rule in plain words, its limits by day, and where its numbers come from.
#include "daemon/tool/explain.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <chrono>
#include <cmath>
#include <filesystem>
#include <fstream>
#include <nlohmann/json.hpp>

#include "daemon/farm_files.hpp"
#include "daemon/tool/chosen.hpp"
#include "daemon/tool/terminal.hpp"
#include "daemon/words.hpp"
#include "rules/base/limits.hpp"
#include "rules/explain/by_age.hpp"
#include "rules/explain/words.hpp"
#include "rules/language/check.hpp"

namespace underwing::tool {

namespace {

using nlohmann::ordered_json;

struct Options {
  std::string rule;
  std::string farm = ".";
  std::string flock;
  std::string age;
  std::string pack;
  std::string svg;
  bool now = false;
};

constexpr std::size_t kLabelColumns = 16;

int refuse(const std::string& text) {
  fmt::print(stderr, "underwing: {}\n", text);
  return 2;
}

void print_labelled(const std::string& label, const std::string& text) {
  if (text.empty()) return;
  fmt::print("{}", wrapped(text, text_columns(), left_aligned(label, kLabelColumns)));
}

/// The age to speak of: as asked, else the flock's age now; none for a rule without a flock.
std::optional<Duration> age_of(const Chosen& chosen, const std::optional<Duration>& asked) {
  if (!chosen.rule->flock) return std::nullopt;
  if (asked) return asked;
  if (!chosen.flock) return std::nullopt;
  return std::chrono::floor<std::chrono::minutes>(now_on_the_clock() - chosen.flock->placed);
}

std::string moment_in_words(const Chosen& chosen, Duration age) {
  if (!chosen.flock) return fmt::format("At {}", age_in_words(age));
  const Instant wall = chosen.flock->placed + age;
  return fmt::format("At {} ({}, {})", age_in_words(age),
                     day_of(*chosen.flock, chosen.rules->farm.zone, wall),
                     date_and_time(chosen.rules->farm.zone, wall));
}

/// What the limits are at the age that is asked for.
std::string words_then(const Chosen& chosen, Duration age) {
  const std::string moment = moment_in_words(chosen, age);
  const std::string why = out_of_force(chosen, age);
  const std::string limits = limits_then(chosen, age);
  if (!why.empty()) return fmt::format("{} it is not in force: {}.", moment, why);
  return limits.empty() ? moment + " it is in force." : fmt::format("{}: {}.", moment, limits);
}

/// Limits that are no numbers by age, in words.
void print_moving_limits(const Chosen& chosen) {
  const WatchedRule& rule = *chosen.rule;
  const Duration first = ages_shown(rule).first;
  for (const Limit& limit : rule.limits) {
    if (limit.side == Limit::Side::when || !std::isnan(limit_at(rule, limit, chosen.flock, first))) continue;
    print_labelled(name_of_limit(rule, limit),
                   fmt::format("{}; it moves with readings or with the flock, not with age alone",
                               number_in_words(*limit.expression, chosen.wording())));
  }
}

void print_limits(const Chosen& chosen, const std::optional<Duration>& age, const std::optional<Plot>& plot) {
  const WatchedRule& rule = *chosen.rule;
  const LimitTable table = limits_by_day(rule, chosen.flock);
  const std::string constant = table.changes ? "" : limits_then(chosen, ages_shown(rule).first);
  if (age && (constant.empty() || !out_of_force(chosen, *age).empty())) {
    fmt::print("{}", wrapped(words_then(chosen, *age), text_columns()));
  }
  print_moving_limits(chosen);
  if (!constant.empty()) {
    fmt::print("{}", wrapped(fmt::format("{}: {}.", rule.flock ? "At every age" : "Always", constant),
                             text_columns()));
  }
  if (table.changes) fmt::print("\n{}", table_as_text(chosen, table, age));
  if (table.changes && rule.flock && !rule.until) fmt::print("  After that the same, until the house is cleared.\n");
  if (table.changes && plot) fmt::print("\n{}", plot_as_text(*plot, text_columns(), 14, terminal_glyphs()));
  const bool silent = !age && rule.limits.front().side == Limit::Side::when;
  if (!silent) fmt::print("\n");
}

void print_record(const Chosen& chosen) {
  const WatchedRule& rule = *chosen.rule;
  print_labelled("What to do", rule.action);
  if (rule.respond_within) print_labelled("Act within", in_long_words(*rule.respond_within));
  print_labelled("Likely cause", rule.cause);
  print_labelled("If nobody acts", rule.consequence);
  std::string sources;
  for (const auto& [measure, probes] : sources_of(chosen)) {
    sources += fmt::format("{}{}{}", sources.empty() ? "" : "; ", spaced(measure),
                           probes.empty() ? "" : ": " + join_words(probes));
  }
  print_labelled("Depends on", sources);
  print_labelled("Follows", join_words(rule.follows));
  print_labelled("Looks ahead", rule.ahead ? in_long_words(*rule.ahead) : "");
  print_labelled("Blind after", in_long_words(rule.blind_after));
  print_labelled("Source", rule.source);
  for (const auto& curve : rule.curves) {
    print_labelled("Source", fmt::format("of {}: {}", curve_in_words(*curve),
                                         curve->source.empty() ? "not given" : curve->source));
  }
}

std::string title_of(const Chosen& chosen) {
  const WatchedRule& rule = *chosen.rule;
  std::string title = fmt::format("{}, {}, pack {}", rule.name, to_string(rule.worst_priority()), rule.pack);
  if (chosen.any_house) return title;
  title += ", " + chosen.rules->houses[rule.house].name;
  if (chosen.flock) title += ", flock " + chosen.flock->name;
  return title;
}

std::optional<Plot> marked_plot(const Chosen& chosen, const std::optional<Duration>& age, bool asked) {
  auto plot = plot_of(*chosen.rule, chosen.flock, age, chosen.rules->farm.units);
  if (!plot) return plot;
  plot->title = title_of(chosen);
  if (age) plot->mark = asked ? short_age(*age) : "now, " + short_age(*age);
  return plot;
}

void print_rule(const Chosen& chosen, const std::optional<Duration>& age, const std::optional<Plot>& plot) {
  fmt::print("{}\n\n", title_of(chosen));
  const std::string words = rule_in_words(chosen.wording(), headline_of(*chosen.rules, *chosen.rule));
  const std::size_t meanings = words.find('\n');
  fmt::print("{}\n", wrapped(words.substr(0, meanings), text_columns()));
  if (meanings != std::string::npos) fmt::print("{}\n", wrapped(words.substr(meanings + 1), text_columns()));
  if (!chosen.notice.empty()) fmt::print("{}\n", wrapped(chosen.notice, text_columns()));
  print_limits(chosen, age, plot);
  print_record(chosen);
}

/// Entries that concern the house and the flock of which is spoken.
std::vector<nlohmann::json> concerned(const nlohmann::json& all, const Chosen& chosen) {
  std::vector<nlohmann::json> found;
  const std::string& house = chosen.rules->houses[chosen.rule->house].name;
  for (const nlohmann::json& entry : all) {
    const auto flock = entry.at("flock");
    if (entry.at("house") == house && (!chosen.flock || flock == chosen.flock->name)) found.push_back(entry);
  }
  return found;
}

/// The flock in that house of which the watch speaks; empty: none.
std::string flock_of_house(const nlohmann::json& all, const std::string& house) {
  for (const nlohmann::json& entry : all) {
    if (entry.at("house") == house && entry.at("flock").is_string()) return entry.at("flock");
  }
  return "";
}

/// `--now` needs no files: the watch knows what it does.
int explain_by_watch(const Options& options, const Common& common) {
  std::string refusal;
  const auto facts = ask_about(common.socket, options.rule, refusal);
  if (!facts) return refuse(refusal);
  bool any = false;
  for (const nlohmann::json& entry : facts->now) {
    if (!options.flock.empty() && entry.at("flock") != options.flock) continue;
    any = true;
    if (common.json) {
      fmt::print("{}\n", entry.dump());
    } else {
      print_now(entry);
    }
  }
  const std::string meant = any ? "" : flock_of_house(facts->now, options.flock);
  if (!meant.empty()) return refuse(fmt::format("'{}' is a house; its flock is '{}'", options.flock, meant));
  return any ? 0 : refuse(fmt::format("the watch has no rule '{}' for '{}'", options.rule, options.flock));
}

/// What the watch sees, where one runs on this gateway and nothing else is asked for.
void add_now(const Options& options, const Chosen& chosen, const Common& common) {
  std::string refusal;
  const bool asked = options.age.empty() && !chosen.any_house && std::filesystem::exists(common.socket);
  const auto facts = asked ? ask_about(common.socket, options.rule, refusal) : std::nullopt;
  if (!facts) return;
  if (facts->hash != chosen.rules->hash)
    fmt::print("\n{}", wrapped("The watch that runs here has other rules than these files; 'underwing reload' puts "
                               "them in force. What follows is what it does now.",
                               text_columns()));
  for (const nlohmann::json& entry : concerned(facts->now, chosen)) print_now(entry);
}

int explain_rule(const Options& options, const Opened& opened, const Common& common) {
  std::optional<Duration> asked;
  if (!options.age.empty()) {
    asked = parse_age(options.age);
    if (!asked)
      return refuse(fmt::format("--age wants an age such as 3d or '3 d 12 h', of at most {} days, not '{}'", limits::kAge / std::chrono::hours(24), options.age));
  }
  std::string refusal;
  const auto chosen = choose_rule(opened.files, opened.loaded.rules, options.rule, options.flock,
                                  now_on_the_clock(), refusal);
  if (!chosen) return refuse(refusal);
  if (asked && !chosen->rule->flock)
    return refuse(fmt::format("'{}' belongs to no flock, so it has no ages", options.rule));
  const auto age = age_of(*chosen, asked);
  const auto plot = marked_plot(*chosen, age, asked.has_value());
  if (!options.svg.empty()) {
    if (!plot)
      return refuse(
          fmt::format("the limits of '{}' do not go by age, so there is nothing to draw", options.rule));
    std::ofstream file(options.svg, std::ios::binary);
    if (!(file << plot_as_svg(*plot)) || !file.flush()) return refuse("cannot write " + options.svg);
  }
  if (common.json) {
    fmt::print("{}\n", rule_as_json(*chosen, age).dump());
  } else {
    print_rule(*chosen, age, plot);
    add_now(options, *chosen, common);
  }
  return 0;
}

std::string about_words(const WatchedRule& rule, const RuleSet& rules) {
  if (!rule.about.empty()) return rule.about;
  const Wording wording{rules, rule, false};
  return rule.watch ? number_in_words(*rule.watch, wording)
                    : condition_in_words(*rule.limits.front().expression, wording);
}

int list_rules(const Options& options, const RuleSet& rules, const Common& common) {
  if (const std::string wrong = refused_flock(rules, options.flock, now_on_the_clock()); !wrong.empty()) return refuse(wrong);
  std::map<std::pair<std::string, std::string>, const WatchedRule*> all;
  std::size_t width = 0;
  for (const WatchedRule& rule : rules.rules) {
    if (!concerns(rules, rule, options.flock)) continue;
    all.emplace(std::pair(rule.pack, rule.name), &rule);
    width = std::max(width, rule.name.size());
  }
  std::string pack;
  for (const auto& [key, rule] : all) {
    const char* priority = to_string(rule->worst_priority());
    const std::string about = about_words(*rule, rules);
    if (common.json) {
      fmt::print(
          "{}\n",
          ordered_json({{"rule", rule->name}, {"pack", rule->pack}, {"priority", priority}, {"about", about}})
              .dump());
      continue;
    }
    if (pack != rule->pack) fmt::print("{}pack {}\n", pack.empty() ? "" : "\n", rule->pack);
    pack = rule->pack;
    fmt::print("{}",
               wrapped(about, text_columns(), fmt::format("  {:{}}  {:6}  ", rule->name, width, priority)));
  }
  if (!common.json && all.empty())
    fmt::print("No rule is in force{}.\n", options.flock.empty() ? " on this farm" : " for " + options.flock);
  return 0;
}

/// The shipped packs alone: they can be read where there is no farm yet.
Opened open_shipped() {
  Opened opened;
  auto packs = read_yaml_files(shipped_pack_folder());
  if (!packs.ok()) {
    refuse(packs.error());
    return opened;
  }
  opened.files.shipped = std::move(*packs);
  opened.readable = true;
  return opened;
}

int run(const Options& options, const Common& common) {
  if (options.now && options.rule.empty()) return refuse("--now needs the name of a rule");
  if (options.now) return explain_by_watch(options, common);
  const bool farmless =
      !options.pack.empty() && !std::filesystem::exists(std::filesystem::path(options.farm) / "farm.yaml");
  const Opened opened = farmless ? open_shipped() : open_farm(options.farm);
  if (!opened.readable) return 2;
  if (!farmless && !opened.loaded.ok()) {
    print_issues(opened.loaded.issues, opened.files, common.json, false);
    return 1;
  }
  if (!options.pack.empty()) return explain_pack(options.pack, options.flock, opened, common);
  return options.rule.empty() ? list_rules(options, *opened.loaded.rules, common)
                              : explain_rule(options, opened, common);
}

}  // namespace

Instant now_on_the_clock() {
  return std::chrono::floor<std::chrono::milliseconds>(std::chrono::system_clock::now());
}

void add_explain(CLI::App& app, Common& common) {
  auto* command = app.add_subcommand(
      "explain",
      "Say what a rule does, in plain words, with its limits by day; without RULE, list all rules");
  auto options = std::make_shared<Options>();
  command->add_option("rule", options->rule, "The name of a rule, such as cold-air");
  command->add_option("--farm", options->farm, "The farm's folder (holds farm.yaml, flocks/, rules/)")
      ->capture_default_str();
  command->add_option("--flock", options->flock, "For this flock; left out: the one that is in the house");
  command->add_option("--age", options->age, "At this age, such as 3d or --age=-6h; left out: now");
  command->add_option("--pack", options->pack,
                      "Show all rules and curves of a pack, to hold against the breeder's book");
  command->add_flag("--now", options->now,
                    "Ask the watch that runs here: is the rule watching now, why or why not, and what does it see");
  command->add_option("--svg", options->svg, "Write the plot of the limits over age to this file, too");
  command->callback([&common, options] { common.status = run(*options, common); });
}

}  // namespace underwing::tool
