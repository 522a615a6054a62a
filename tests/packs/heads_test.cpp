// Goal: what a locked telephone shows of each shipped rule is right, short and whole in all four languages.
// Method: heads.txt has all heads, to be read by people who speak the language; rewritten with UNDERWING_REWRITE=1, and
// compared.

#include <fmt/format.h>
#include <gtest/gtest.h>

#include <cstdlib>
#include <fstream>
#include <sstream>

#include "daemon/words.hpp"
#include "rules/languages/texts.hpp"
#include "tests/packs/pack_night.hpp"

namespace underwing {
namespace {

const std::vector<std::string> kLanguages{"en", "fr", "es", "pt"};
const std::string kFile = std::string(UNDERWING_SOURCE_DIR) + "/tests/packs/heads.txt";

std::string whole_file(const std::string& path) {
  std::ifstream file(path, std::ios::binary);
  std::stringstream text;
  text << file.rdbuf();
  return text.str();
}

/// The shipped packs, on a farm that speaks all four.
std::shared_ptr<const RuleSet> rules_in_all_languages() {
  FarmFiles files = whole_farm();
  FarmTexts::change(files.farm_text, "time_zone:", "language: pt\ntime_zone:");
  FarmTexts::change(files.farm_text, "away: 10 min}", "away: 10 min, language: fr}");
  FarmTexts::change(files.farm_text, "away: 25 min}", "away: 25 min, language: es}");
  for (const char* name : {"es", "fr", "pt"}) {
    const std::string path = std::string("rules/languages/") + name + ".yaml";
    files.shipped_languages[path] = whole_file(std::string(UNDERWING_SOURCE_DIR) + "/" + path);
  }
  return load_or_throw(files);
}

/// The reasons that a rule can have, each once, in the order of its limits.
std::vector<Reason> reasons_of(const WatchedRule& rule) {
  std::vector<Reason> reasons;
  for (const Limit& limit : rule.limits) {
    const Reason reason = limit.side == Limit::Side::low ? Reason::low : limit.side == Limit::Side::high ? Reason::high : Reason::when;
    if (std::find(reasons.begin(), reasons.end(), reason) == reasons.end()) reasons.push_back(reason);
  }
  return reasons;
}

TEST(Heads, AreAsReviewed) {
  const auto rules = rules_in_all_languages();
  const std::string reviewed = whole_file(kFile);
  ASSERT_FALSE(reviewed.empty()) << kFile;
  std::string now;
  std::istringstream lines(reviewed);
  for (std::string line; std::getline(lines, line) && line.starts_with('#');) now += line + "\n";
  for (const WatchedRule& rule : rules->rules) {
    for (const Reason reason : reasons_of(rule)) {
      now += fmt::format("{}/{} {}:", rule.pack, rule.name, to_string(reason));
      for (const std::string& name : kLanguages) now += (name == "en" ? " " : " | ") + what_is_wrong(rule, *rules, reason, rules->language(name));
      now += "\n";
    }
  }
  if (std::getenv("UNDERWING_REWRITE") != nullptr) std::ofstream(kFile, std::ios::binary) << now;
  EXPECT_EQ(now, reviewed);
}

TEST(Heads, AreShortAndWholeAndInCapitals) {
  const auto rules = rules_in_all_languages();
  for (const WatchedRule& rule : rules->rules) {
    for (const std::string& name : kLanguages) {
      const Language& language = rules->language(name);
      // The rule's own or its measure's: what is cut out of `about` may say anything.
      WatchedRule without_about = rule;
      without_about.about.clear();
      for (auto& [in, words] : without_about.in) words.about.clear();
      EXPECT_EQ(head_in(rule, language).empty(), rule.head.empty()) << rule.name << " in " << name;
      if (name != "en" && !rule.head.empty()) { EXPECT_FALSE(rule.in.at(name).head.empty()) << rule.name << " in " << name; }
      for (const Reason reason : reasons_of(rule)) {
        const std::string head = what_is_wrong(rule, *rules, reason, language);
        const std::string where = fmt::format("{} in {}: {}", rule.name, name, head);
        EXPECT_EQ(head, what_is_wrong(without_about, *rules, reason, language)) << where;
        EXPECT_LE(gsm_length(head), kHeadSeptetsMax) << where;
        EXPECT_EQ(head, to_gsm(head)) << where;
        EXPECT_EQ(head, capitals(head)) << where;
        EXPECT_EQ(head, std::string(words_within(head + " AND", gsm_length(head)))) << where;
        const std::string last = " " + head.substr(head.find_last_of(' ') + 1) + " ";
        EXPECT_EQ(std::string(" AND NOT OR OF THE ET OU DE DU LE LA Y O NO E DO DA ").find(last), std::string::npos) << where;
        // With the house, AGAIN and a value there is room for all of it.
        const std::string again = say(language, "again"), value = rule.watch ? " 12.3 ppm" : "";
        EXPECT_LE(gsm_length(fmt::format("H12 {} {}{}", head, again, value)), kLockedScreen) << where;
      }
    }
  }
}

TEST(Heads, OfUrgentRulesAreAlikeOnlyWhereTheSameIsToBeDone) {
  const auto rules = rules_in_all_languages();
  for (const std::string& name : kLanguages) {
    const Language& language = rules->language(name);
    std::map<std::string, const WatchedRule*> by_head;
    for (const WatchedRule& rule : rules->rules) {
      if (rule.worst_priority() != Priority::urgent) continue;
      for (const Reason reason : reasons_of(rule)) {
        const auto [found, fresh] = by_head.try_emplace(what_is_wrong(rule, *rules, reason, language), &rule);
        if (!fresh) { EXPECT_EQ(action_in(*found->second, language), action_in(rule, language)) << rule.name << " and " << found->second->name; }
      }
    }
  }
}

}  // namespace
}  // namespace underwing
