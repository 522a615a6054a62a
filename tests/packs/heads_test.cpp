// Goal: what a locked telephone shows of each shipped rule is right, short and whole in all four languages, and what people
// must not miss, gas and carbon monoxide, stays in the text however full it is.
// Method: heads.txt has all heads, to be read by people who speak the language; rewritten with UNDERWING_REWRITE=1, and
// compared. Texts are put together from their longest parts.

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

/// The fullest text of an alarm that there can be: raised again, with a cause, and getting worse, late on a two-digit day.
std::string fullest(const RuleSet& rules, const WatchedRule& rule, const WatchedRule* cause, const Language& language, const std::string& house) {
  AlarmWords words;
  words.head = house + " " + what_is_wrong(rule, rules, reasons_of(rule).front(), language);
  const bool urgent = rule.worst_priority() == Priority::urgent;
  if (urgent) words.head += " " + say(language, "again");
  if (rule.watch) words.head += " 28.6 C";
  const std::string wanted = rule.curves.empty() ? say(language, "limit", {{"value", "31.5 C"}}) : say(language, "wants", {{"value", "31.5"}});
  if (rule.watch) words.expected = ", " + wanted;
  words.expected += " (" + say(language, "day", {{"day", "13"}}) + ")";
  if (cause != nullptr) {
    words.cause = say(language, "since", {{"what", what_is_wrong(*cause, rules, reasons_of(*cause).front(), language)}, {"time", "01:45"}}) + ".";
  }
  if (rule.watch) words.trend = say(language, "falling_since", {{"since", "01:45"}, {"value", "26.5 C"}, {"time", "02:40"}});
  words.action = say(language, urgent ? TextKey("go_now") : TextKey("today"), {{"do", action_in(rule, language)}});
  words.replies = say(language, "reply_or_pass", {{"code", "K7X"}});
  return to_text(words);
}

TEST(Heads, LeaveRoomForWhatPeopleMustNotMiss) {
  const std::map<std::string, std::string> gas{{"en", "Gas smell? Get out."}, {"fr", "Odeur de gaz ? Sortez."}, {"es", "¿Huele a gas? Salga."}, {"pt", "Cheira a gas? Saia."}};
  const std::map<std::string, std::string> stay_out{{"en", "Keep out and get people out."}, {"fr", "N'entrez pas et faites sortir."}, {"es", "No entre y saque a la gente."}, {"pt", "Nao entre e tire as pessoas."}};
  const std::map<std::string, std::string> air_first{{"en", "Air the house before you enter."}, {"fr", "Aérez avant d'entrer."}, {"es", "Ventile antes de entrar."}, {"pt", "Areje antes de entrar."}};
  const std::map<std::string, const std::map<std::string, std::string>*> cautions{
      {"pre-heat", &gas}, {"cold-air", &gas}, {"cold-harm", &gas}, {"heat-late", &gas}, {"heater-out", &gas}, {"gas-out", &gas},
      {"pre-heat-floor", &gas}, {"pre-heat-litter", &gas}, {"floor-not-ready", &gas}, {"litter-not-ready", &gas},
      {"carbon-monoxide", &stay_out}, {"carbon-monoxide-peak", &stay_out}, {"ammonia-extreme", &air_first}};
  const auto rules = rules_in_all_languages();
  std::size_t seen = 0;
  for (const WatchedRule& rule : rules->rules) {
    const auto caution = cautions.find(rule.name);
    if (caution == cautions.end()) continue;
    ++seen;
    std::vector<const WatchedRule*> causes{nullptr};
    for (const WatchedRule& other : rules->rules) {
      if (std::find(rule.follows.begin(), rule.follows.end(), other.name) != rule.follows.end()) causes.push_back(&other);
    }
    EXPECT_EQ(causes.size(), rule.follows.size() + 1) << rule.name;
    for (const std::string& name : kLanguages) {
      for (const WatchedRule* cause : causes) {
        for (const char* house : {"H1", "H12", "OLD-BARN"}) {
          const std::string text = fullest(*rules, rule, cause, rules->language(name), house);
          EXPECT_NE(text.find(caution->second->at(name)), std::string::npos) << rule.name << ": " << text;
          EXPECT_LE(gsm_length(text), kTextSeptetsMax) << text;
          EXPECT_TRUE(text.ends_with("PASS K7X")) << text;
        }
      }
    }
  }
  EXPECT_EQ(seen, cautions.size());
}

}  // namespace
}  // namespace underwing
