// Goal: the packs as they ship load without a word in a house that has every instrument, name the source of
// every number, wake people for what is worth waking for and nothing else, and carry the breeders' tables as
// published.

#include <fmt/format.h>
#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>
#include <set>

#include "rules/language/check.hpp"
#include "rules/languages/gsm.hpp"
#include "tests/packs/pack_night.hpp"

namespace underwing {
namespace {

using namespace std::chrono_literals;

std::shared_ptr<const RuleSet> whole_rules() {
  const Loaded loaded = load_farm(whole_farm(), bench_zone);
  for (const Issue& issue : loaded.issues) {
    // A probe that no pack reads is only recorded, which is as it should be.
    if (issue.text.find("its probes are only recorded") != std::string::npos) continue;
    ADD_FAILURE() << issue.file << ":" << issue.line << ": " << issue.text;
  }
  return loaded.rules;
}

TEST(ShippedPacks, LoadWithoutAWordAndAllInForce) {
  const auto rules = whole_rules();
  ASSERT_TRUE(rules);
  EXPECT_TRUE(rules->unwatched.empty());
  std::set<std::string> packs;
  for (const WatchedRule& rule : rules->rules) packs.insert(rule.pack);
  EXPECT_EQ(packs.size(), shipped_packs().size());
}

TEST(ShippedPacks, ThatAFlockMakesWrongNameItsFile) {
  FarmFiles files = whole_farm();
  auto& [path, flock] = *files.flocks.begin();
  flock += flock.find("adjust:") == std::string::npos ? "adjust:\n  list_humidity: 65\n" : "  list_humidity: 65\n";
  const Loaded loaded = load_farm(files, bench_zone);
  ASSERT_FALSE(loaded.ok());
  for (const Issue& issue : loaded.issues) {
    if (issue.severity != Issue::Severity::error) continue;
    EXPECT_TRUE(issue.text.ends_with(" (as " + path + " adjusts it)")) << issue.file << ": " << issue.text;
  }
}

TEST(ShippedPacks, NameSourcesCausesAndWhatToDo) {
  const auto rules = whole_rules();
  ASSERT_TRUE(rules);
  for (const WatchedRule& rule : rules->rules) {
    EXPECT_FALSE(rule.source.empty()) << rule.name;
    EXPECT_FALSE(rule.about.empty()) << rule.name;
    EXPECT_FALSE(rule.cause.empty()) << rule.name;
    EXPECT_FALSE(rule.consequence.empty()) << rule.name;
    EXPECT_FALSE(rule.action.empty()) << rule.name;
    EXPECT_LE(rule.action.size(), 75U) << rule.name << ": a text is short";
    for (const auto& curve : rule.curves) EXPECT_FALSE(curve->source.empty()) << curve->name;
  }
}

TEST(ShippedPacks, SayItInEveryShippedLanguage) {
  const auto rules = whole_rules();
  ASSERT_TRUE(rules);
  for (const WatchedRule& rule : rules->rules) {
    for (const char* language : {"fr", "es", "pt"}) {
      const std::string where = rule.name + " in " + language;
      const auto found = rule.in.find(language);
      ASSERT_NE(found, rule.in.end()) << where;
      for (const auto& [text, english] : {std::pair(found->second.about, rule.about), std::pair(found->second.action, rule.action)}) {
        EXPECT_FALSE(text.empty()) << where;
        EXPECT_NE(text, english) << where;
        EXPECT_EQ(first_not_gsm(text), std::string_view::npos) << where << ": " << text;
        EXPECT_LE(gsm_length(text), 80U) << where << ": a text is short: " << text;
      }
    }
  }
}

TEST(ShippedPacks, WakePeopleForThisOnly) {
  const auto rules = whole_rules();
  ASSERT_TRUE(rules);
  std::set<std::string> urgent;
  for (const WatchedRule& rule : rules->rules) {
    if (rule.worst_priority() == Priority::urgent) urgent.insert(rule.name);
  }
  const std::set<std::string> worth = {"cold-air",
                                       "hot-air",
                                       "cold-harm",
                                       "hot-harm",
                                       "heating-up",
                                       "one-end-cold",
                                       "one-end-hot",
                                       "floor-not-ready",
                                       "litter-not-ready",
                                       "bad-air",
                                       "fans-stand",
                                       "fans-stand-damp",
                                       "mains-lost",
                                       "generator-fails",
                                       "battery-low",
                                       "gas-out",
                                       "water-stop",
                                       "water-pressure",
                                       "water-burst",
                                       "carbon-monoxide",
                                       "carbon-monoxide-peak",
                                       "ammonia-extreme",
                                       "carbon-dioxide-extreme"};
  EXPECT_EQ(urgent, worth);
}

TEST(ShippedPacks, HeatLimitsNeverEnd) {
  const auto rules = whole_rules();
  ASSERT_TRUE(rules);
  for (const WatchedRule& rule : rules->rules) {
    if (rule.name == "hot-air" || rule.name == "hot-harm" || rule.name == "heating-up") {
      EXPECT_FALSE(rule.until) << rule.name;
    }
  }
}

TEST(Shipped, LightBirdsAreLightByTheFlocksOwnGoal) {
  const auto rules = whole_rules();
  ASSERT_TRUE(rules);
  const auto rule = std::find_if(rules->rules.begin(), rules->rules.end(), [](const WatchedRule& it) { return it.name == "light-birds"; });
  ASSERT_NE(rule, rules->rules.end());
  const auto limit = [&](const FlockFacts& facts) { return value_at_age(*rule->limits.front().expression, rule->curves, 7 * 24, facts); };
  EXPECT_NEAR(limit({17000, 42, 190}), 0.9 * 190, 1e-9);
  FlockFacts without{17000, 42};
  EXPECT_TRUE(std::isnan(limit(without))) << "no flock is given";
  without.has_no_goal = true;
  EXPECT_NEAR(limit(without), 0.9 * 213, 1e-9) << "the table's day 7: Aviagen, Ross 308 Performance Objectives, 2022";
}

double limit_of(const RuleSet& rules, const std::string& name, double age_h) {
  for (const WatchedRule& rule : rules.rules) {
    if (rule.name == name) return value_at_age(*rule.limits.front().expression, rule.curves, age_h, {17000, 42});
  }
  return std::nan("");
}

TEST(ShippedPacks, NoListOfTemperaturesIsAnAlarmByItself) {
  for (const char* list : {"warm_start", "warm_start_young", "whole_house", "whole_house_young", "brooder_edge", "brooder_2m"}) {
    const Loaded loaded = load_farm(whole_farm(fmt::format("adjust: {{air_target: {}}}\n", list)), bench_zone);
    ASSERT_TRUE(loaded.ok()) << list;
    for (const Issue& issue : loaded.issues) EXPECT_EQ(issue.text.find("urgent"), std::string::npos) << list << ": " << issue.text;
    std::shared_ptr<const Curve> target;
    for (const WatchedRule& rule : loaded.rules->rules) {
      for (const auto& curve : rule.curves) {
        if (rule.name == "cold-air" && curve->name == list) target = curve;
      }
    }
    ASSERT_TRUE(target) << list;
    for (int hour = 0; hour <= 42 * 24; ++hour) {
      const std::string where = fmt::format("{} at {} h", list, hour);
      const double wanted = value_of(*target, hour);
      const double cold = limit_of(*loaded.rules, hour < 14 * 24 ? "cold-air" : "cool-air", hour);
      const double hot = limit_of(*loaded.rules, "hot-air", hour);
      EXPECT_LE(cold, wanted - 1 + 1e-9) << where;
      EXPECT_GE(hot, wanted + 3 - 1e-9) << where;
      EXPECT_GT(limit_of(*loaded.rules, "hot-harm", hour), hot + 0.5) << where;
      if (hour < 14 * 24) { EXPECT_LT(limit_of(*loaded.rules, "cold-harm", hour), cold - 1) << where; }
      // Never under 28 °C on days 0 to 2, but where that is nearer than 1 K to the list's own number.
      if (hour <= 48 && wanted >= 29) { EXPECT_GE(cold, 28 - 1e-9) << where; }
      if (hour <= 48) { EXPECT_GE(cold, 26.5 - 1e-9) << where; }
    }
  }
}

TEST(ShippedPacks, BoundsHoldWhateverTheListOfTemperatures) {
  const auto limit_at = [](const std::string& more, const char* name, double age_d) {
    return limit_of(*load_farm(whole_farm(more), bench_zone).rules, name, age_d * 24);
  };
  EXPECT_NEAR(limit_at("", "cold-air", 0), 31, 1e-9);
  EXPECT_NEAR(limit_at("", "hot-air", 0), 36, 1e-9);
  EXPECT_NEAR(limit_at("", "hot-air", 35), 27, 1e-9);
  EXPECT_NEAR(limit_at("", "cold-harm", 0), 27, 1e-9);
  EXPECT_NEAR(limit_at("adjust: {air_target: whole_house}\n", "cold-air", 0), 28, 1e-9);
  EXPECT_NEAR(limit_at("adjust: {air_target: warm_start_young}\n", "cold-air", 0), 32, 1e-9);
  // A list that is far too cold, or far too warm, does not move the limits past the bounds.
  const std::string cold = "adjust: {warm_start: {points: {0 d: 20, 42 d: 10}}}\n";
  const std::string hot = "adjust: {warm_start: {points: {0 d: 45, 42 d: 37}}}\n";
  EXPECT_NEAR(limit_at(cold, "cold-air", 1), 26.5, 1e-9);
  EXPECT_NEAR(limit_at(cold, "cold-harm", 1), 24, 1e-9);
  EXPECT_NEAR(limit_at(hot, "hot-air", 35), 30, 1e-9);
  EXPECT_NEAR(limit_at(hot, "hot-harm", 35), 32, 1e-9);
  // Said twice, they move.
  EXPECT_NEAR(
      limit_at("adjust:\n  warm_start: {points: {0 d: 45, 42 d: 37}}\n  never_over: {points: {0 d: 50}}\n",
               "hot-air", 42),
      42, 1e-9);
}

/// The values of a curve at whole days from day 0 on.
std::vector<double> by_day(const std::string& name, int days) {
  const auto rules = load_farm(whole_farm("adjust: {weight_target: " + name + "}\n"), bench_zone).rules;
  for (const WatchedRule& rule : rules->rules) {
    for (const auto& curve : rule.curves) {
      if (curve->name != name) continue;
      std::vector<double> values;
      for (int day = 0; day <= days; ++day) values.push_back(value_of(*curve, day * 24));
      return values;
    }
  }
  return {};
}

TEST(ShippedPacks, CarryTheBreedersTablesOf2022) {
  // Cobb-Vantress, Cobb500, as hatched, days 0 to 29; day 11 as it is read.
  EXPECT_EQ(by_day("cobb_500_2022", 29),
            (std::vector<double>{42,   55,   71,   90,   112,  138,  168,  202,  240,  283,
                                 330,  382,  440,  503,  570,  639,  711,  786,  864,  945,
                                 1029, 1116, 1205, 1296, 1390, 1486, 1583, 1682, 1783, 1886}));
  // Aviagen, Ross 308/308 FF, as hatched, days 0 to 8.
  EXPECT_EQ(by_day("ross_308_2022", 8), (std::vector<double>{44, 62, 81, 102, 125, 151, 181, 213, 249}));
  EXPECT_NEAR(202.0 / 42, 4.81, 0.005);
}

TEST(ShippedPacks, CarryAviagensWeightsFromDay14OnFromMemory) {
  const std::vector<double> all = by_day("ross_308_2022", 42);
  EXPECT_EQ(all.size(), 43U);
  for (const auto& [day, weight] : {std::pair(14U, 528), {21U, 1012}, {28U, 1616}, {35U, 2296}, {42U, 2998}})
    EXPECT_EQ(all[day], weight) << day;
}

}  // namespace
}  // namespace underwing
