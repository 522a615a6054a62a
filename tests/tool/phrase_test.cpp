// Goal: whatever the rule language can say comes out as English that says the same. Method: each expression
// is put into a rule of a small farm, loaded, and the words are compared.
#include "rules/explain/phrase.hpp"

#include <fmt/format.h>
#include <gtest/gtest.h>

#include "rules/explain/paragraph.hpp"
#include "rules/files/load.hpp"

namespace underwing {
namespace {

constexpr const char* kFarm = R"(format: 1
farm: Sandpiper Hollow
time_zone: UTC
houses:
  house-1:
    probes:
      air_temperature: [north, centre, south]
      floor_temperature: [east, west]
      relative_humidity: [centre]
      ammonia: [a, b, c, d]
      water: [main, second]
      feed: [auger]
      mains: [grid]
      generator: [shed]
      fan_running: [one, two]
      bird_weight: [scale]
people: {ines: {text: "+44 7700 900101"}}
call_out:
  urgent: [{after: 0 min, tell: everyone, by: text}]
  soon: [{after: 0 min, tell: everyone, by: text}]
  note: [{after: 0 min, tell: everyone, by: text}]
)";
constexpr const char* kFlock = R"(format: 1
flock: spring
house: house-1
placed: 2026-03-02 09:30
birds: 17000
chick_weight: 42 g
packs: [sample]
)";

std::shared_ptr<const RuleSet> rules_with(const std::string& rule, const std::string& values = "") {
  FarmFiles files;
  files.farm_path = "farm.yaml";
  files.farm_text = kFarm;
  files.flocks["flocks/spring.yaml"] = kFlock;
  files.packs["rules/sample.yaml"] =
      "format: 1\npack: sample\ncurves:\n  warmth: {unit: °C, points: {0 d: 33, 7 d: 28}}\n"
      "  weight: {unit: g, points: {0 d: 42, 7 d: 190}}\n" +
      values + "rules:\n  sample:\n    priority: note\n" + rule;
  const Loaded loaded = load_farm(files, [](const std::string&) { return std::optional(Zone{}); });
  for (const Issue& issue : loaded.issues) {
    if (issue.severity == Issue::Severity::error) ADD_FAILURE() << rule << issue.text;
  }
  return loaded.rules;
}

struct Row {
  const char* text;
  const char* words;
};

TEST(Phrase, NumbersThatAreWatched) {
  const std::vector<Row> table{
      {"median(air_temperature)", "the middle one of the three air temperature probes"},
      {"median(floor_temperature)", "the mean of the two floor temperature probes"},
      {"median(ammonia)", "the middle of the four ammonia probes"},
      {"median(mean(air_temperature over 10 min))",
       "the middle one of the three air temperature probes, each averaged over 10 minutes"},
      {"lowest(air_temperature)", "the lowest of the three air temperature probes"},
      {"spread(air_temperature)",
       "how far the highest and the lowest of the three air temperature probes are apart"},
      {"highest(lowest(ammonia over 1 h))",
       "the highest of the four ammonia probes, each at its lowest of the last hour"},
      {"mean(slope(air_temperature over 1 h))",
       "the mean of the three air temperature probes, each by its trend an hour over the last hour"},
      {"relative_humidity", "the relative humidity"},
      {"mean(relative_humidity over 6 h)", "the relative humidity, averaged over 6 hours"},
      {"median(relative_humidity)", "the relative humidity"},
      {"total(feed over 24 h)", "the total feed of the last 24 hours"},
      {"total(water over 24 h)", "the total water of the last 24 hours, two probes added up"},
      {"count(air_temperature)", "the number of air temperature probes that can be used"},
      {"mean(bird_weight over 24 h) - at(weight, age - 12 h)",
       "the bird weight, averaged over 24 hours, less the weight of 12 hours ago"},
      {"at(weight, 7 d)", "the weight at the age of 7 days"},
      {"age_at(weight, 100 g)", "the age at which the weight is 100 g"},
      {"total(feed over 24 h) / birds",
       "the total feed of the last 24 hours divided by the number of birds alive"},
      {"2 * (relative_humidity + 3 %)", "2 times (3 % above the relative humidity)"},
      {"abs(relative_humidity - 50 %)", "the size, whatever its sign, of (50 % below the relative humidity)"},
      {"min(relative_humidity, 50 %)", "the smaller of the relative humidity and 50 %"},
      {"max(1 %, 2 %, relative_humidity)", "the largest of 1 %, 2 % and the relative humidity"},
      {"max(warmth + 3 K, 27 °C)", "the larger of 3 K above the warmth and 27 °C"},
      {"min(max(warmth, 27 °C), 34 °C)", "the smaller of (the larger of the warmth and 27 °C) and 34 °C"},
      {"first_known(mean(relative_humidity over 10 min), 50 %)", "the relative humidity, averaged over 10 minutes (where that is not known, 50 %)"},
      {"max(warmth, 27 °C) - warmth", "(the larger of the warmth and 27 °C) less the warmth"},
      {"hour_of_day", "the hour of the day"},
  };
  for (const Row& row : table) {
    // `when` takes any number that is compared with itself, whatever its unit.
    const auto rules = rules_with(fmt::format("    when: \"{0} > {0}\"\n", row.text));
    if (!rules) continue;
    ASSERT_EQ(rules->rules.size(), 1U) << row.text;
    const WatchedRule& rule = rules->rules.front();
    EXPECT_EQ(number_in_words(*rule.limits.front().expression->children[0], {*rules, rule, false}), row.words)
        << row.text;
  }
}

TEST(Phrase, Conditions) {
  const std::vector<Row> table{
      {"mains is off", "the mains is off"},
      {"mains is off and generator is not on", "the mains is off and the generator is not running"},
      {"lowest(mains) is off", "the mains is off"},
      {"highest(fan_running) is off", "every one of the two fan running probes is off"},
      {"lowest(fan_running) is off", "at least one of the two fan running probes is off"},
      {"highest(fan_running) is on", "at least one of the two fan running probes is on"},
      {"lights is on", "the lights are on"},
      {"not (relative_humidity > 70 %)", "it is not so that the relative humidity is above 70 %"},
      {"mains is off and (generator is off or lights is on)",
       "the mains is off and (the generator is not running or the lights are on)"},
      {"relative_humidity <= 30 %", "the relative humidity is at most 30 %"},
      {"relative_humidity >= 30 %", "the relative humidity is at least 30 %"},
      {"relative_humidity < 30 %", "the relative humidity is below 30 %"},
      {"age > 3 d", "the age of the flock is above 3 days"},
  };
  for (const Row& row : table) {
    const auto rules = rules_with(fmt::format("    when: \"{}\"\n", row.text));
    if (!rules) continue;
    const WatchedRule& rule = rules->rules.front();
    EXPECT_EQ(condition_in_words(*rule.limits.front().expression, {*rules, rule, false}), row.words)
        << row.text;
  }
}

TEST(Phrase, TheParagraphOfEachShapeOfRule) {
  const std::vector<Row> table{
      {"    watch: relative_humidity\n"
       "    low: 30 %\n",
       "From 24 hours before placement until the house is cleared, as soon as the relative humidity is"
       " below 30 %, it is noted for the morning summary. It ends as soon as the value is back inside "
       "its limit. If it cannot tell for 10 minutes, because probes are silent or not believable, that"
       " is an alarm, too. It is not in force while birds are unloaded or work in the house is "
       "announced."},
      {"    watch: median(air_temperature)\n"
       "    low: warmth - 2 K\n"
       "    high: warmth + 2.5 K\n"
       "    on_delay: 5 min\n"
       "    off_delay: 10 min\n"
       "    deadband: 0.5 K\n"
       "    from: 2 d\n"
       "    until: 7 d\n"
       "    latch: true\n",
       "Between the ages of 2 days and 7 days, if the middle one of the three air temperature probes "
       "stays more than 2 K below the warmth or more than 2.5 K above the warmth for 5 minutes, it is "
       "noted for the morning summary. It stands until somebody resets it in the house, once the value"
       " has been back inside its limit by 0.5 K for 10 minutes. If it cannot tell for 10 minutes, "
       "because probes are silent or not believable, that is an alarm, too. It is not in force while "
       "birds are unloaded or work in the house is announced."},
      {"    when: mean(relative_humidity over 6 h) > 70 %\n"
       "    only_if: lights is on\n"
       "    on_delay: 1 h\n"
       "    even_during_work: true\n",
       "From 24 hours before placement until the house is cleared, and only as long as the lights are "
       "on, if the relative humidity, averaged over 6 hours, is above 70 % for 1 hour, it is noted for"
       " the morning summary. It ends as soon as this is no longer so. If it cannot tell for 10 "
       "minutes, because probes are silent or not believable, that is an alarm, too. It stays in force"
       " while people work in the house."},
  };
  for (const Row& row : table) {
    const auto rules = rules_with(row.text);
    if (!rules) continue;
    EXPECT_EQ(rule_in_words({*rules, rules->rules.front(), false}, {}), row.words);
  }
}

/// What has words is called by them in the paragraph, and what they mean follows, one step at a time.
TEST(Phrase, ValuesAreCalledByTheirWordsAndWhatTheyMeanFollows) {
  const auto rules = rules_with(
      "    watch: felt\n"
      "    low: warmth - 2 K\n"
      "    on_delay: 5 min\n",
      "values:\n"
      "  middle: median(mean(air_temperature over 10 min))\n"
      "  damp: relative_humidity > 70 %\n"
      "  felt: first_known(middle, 20 °C)\n"
      "words: {middle: the middle air, felt: the air as it feels, damp: the air is damp, warmth: the target}\n");
  ASSERT_TRUE(rules);
  const WatchedRule& rule = rules->rules.front();
  const std::string words = rule_in_words({*rules, rule, false}, {});
  EXPECT_NE(words.find("if the air as it feels stays more than 2 K below the target for 5 minutes"), std::string::npos) << words;
  EXPECT_TRUE(words.ends_with("\n\"The air as it feels\" is the middle air (where that is not known, 20 °C). \"The middle air\" is the middle one of the three air "
                              "temperature probes, each averaged over 10 minutes."))
      << words;
  EXPECT_EQ(number_in_words(*rule.watch, {*rules, rule, false}).find("as it feels"), std::string::npos) << "a reload's changes are written out";
}

}  // namespace
}  // namespace underwing
