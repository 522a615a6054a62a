#include "rules/files/keys.hpp"

#include <algorithm>

namespace underwing {

using enum ValueKind;

const Key* KeyTable::find(std::string_view name) const {
  const auto found =
      std::find_if(keys.begin(), keys.end(), [name](const Key& key) { return key.name == name; });
  return found == keys.end() ? nullptr : &*found;
}

const KeyTable& house_keys() {
  static const KeyTable table{"a house",
                              {
                                  {"about", text, false, "what people call it"},
                                  {"probes", anything, true, "for each measure the names of its probes"},
                                  {"volume", quantity, false, "of its air, for the minutes that it leaves when the fans stand"},
                                  {"time_constant", duration, false, "how it cools without heaters: after that time it has lost 63 % of what it was warmer than outside"},
                                  {"outside", quantity, false, "how cold to take it outside where no probe tells"},
                              }};
  return table;
}

const KeyTable& plugin_keys() {
  static const KeyTable table{
      "a plugin",
      {
          {"run", text, true, "the name of a bundled plugin, or the path of a program"},
          {"arguments", texts, false, "given to the program when it is started"},
          {"carries", ways, false, "the ways to reach people that it offers"},
          {"settings", anything, false, "handed to the plugin as they are"},
      }};
  return table;
}

const KeyTable& person_keys() {
  static const KeyTable table{"a person",
                              {
                                  {"text", text, false, "number for text messages"},
                                  {"call", text, false, "number for calls"},
                                  {"mail", text, false, "mail address"},
                                  {"web-hook", text, false, "address of a web hook"},
                                  {"away", duration, false, "from bed to the house"},
                                  {"off", dates, false, "dates on which no shift of theirs begins"},
                                  {"language", name, false, "in which they are told; left out: the farm's"},
                              }};
  return table;
}

const KeyTable& duty_keys() {
  static const KeyTable table{
      "a duty line",
      {
          {"who", name, true, "one of people"},
          {"days", days, false, "the days on which the shift begins; left out: every day"},
          {"from", time_of_day, false, "when the shift begins"},
          {"to", time_of_day, false, "when it ends; at or before `from`: on the next day"},
      }};
  return table;
}

const KeyTable& call_step_keys() {
  static const KeyTable table{
      "a step of a call-out",
      {
          {"after", duration, true, "time since the alarm was raised"},
          {"tell", names, true, "on-duty, everyone, a person, or a list of people"},
          {"by", ways, true, "text, call, mail, web-hook, or a list of them"},
          {"then_every", duration, false, "of the last step: how often it is repeated"},
      }};
  return table;
}

const KeyTable& call_plan_keys() {
  static const KeyTable table{"a call-out with hours",
                              {
                                  {"hours", hours, false, "outside these it waits"},
                                  {"steps", maps, true, "who is told when", &call_step_keys()},
                              }};
  return table;
}

const KeyTable& call_daily_keys() {
  static const KeyTable table{"a daily call-out",
                              {
                                  {"daily", time_of_day, true, "when it is told, once a day"},
                                  {"tell", names, true, "on-duty, everyone, a person, or a list of people"},
                                  {"by", ways, true, "text, call, mail, web-hook, or a list of them"},
                              }};
  return table;
}

const KeyTable& call_out_keys() {
  static const KeyTable table{
      "the call-out",
      {
          {"urgent", anything, true, "steps for alarms that wake somebody now"},
          {"soon", anything, true, "steps for alarms of the same day"},
          {"note", anything, true, "steps, or a daily time, for what goes into the summary"},
      }};
  return table;
}

const KeyTable& heartbeat_keys() {
  static const KeyTable table{"a heartbeat",
                              {
                                  {"over", name, true, "the plugin that carries it"},
                                  {"to", text, true, "the topic, or the address of the web hook"},
                                  {"every", duration, false, "how often it is sent; left out: 1 min"},
                              }};
  return table;
}

const KeyTable& weekly_drill_keys() {
  static const KeyTable table{"a weekly drill",
                              {
                                  {"days", days, true, "the days on which it begins"},
                                  {"at", time_of_day, true, "when it begins"},
                              }};
  return table;
}

const KeyTable& drill_keys() {
  static const KeyTable table{
      "a plan of drills",
      {
          {"weekly", map, false, "a test of the whole call-out", &weekly_drill_keys()},
          {"night", time_of_day, false, "when each person's phone is tested, once, at night"},
          {"before_placement", time_of_day, false, "a test with all power off, on the day before chicks come"},
      }};
  return table;
}

const KeyTable& farm_keys() {
  static const KeyTable table{
      "a farm",
      {
          {"format", format, true, "1"},
          {"farm", text, true, "the name of the farm"},
          {"time_zone", text, true, "such as Europe/London"},
          {"houses", named_maps, true, "the houses and their probes", &house_keys()},
          {"plugins", named_maps, false, "programs that bring readings or reach people", &plugin_keys()},
          {"people", named_maps, true, "who can be told", &person_keys()},
          {"duty", maps, false, "who is on call when; the first line that fits has duty", &duty_keys()},
          {"call_out", map, true, "the steps by which people are told", &call_out_keys()},
          {"language", name, false, "in which people are told, as in fr; left out: en"},
          {"units", one_of, false, "in which people are shown values: metric, or us for °F, lb and gal; left out: metric", nullptr, {"metric", "us"}},
          {"altitude", quantity, false, "above the sea, for what humidity means; left out: 0 m"},
          {"evening_check", time_of_day, false, "when the farm is told whether it is ready for the night"},
          {"heartbeat", map, false, "a sign of life to somebody elsewhere, who calls when it stays away", &heartbeat_keys()},
          {"drills", map, false, "when the call-out is tested by itself", &drill_keys()},
          {"packs", names, false, "packs that belong to no flock"},
      }};
  return table;
}

const KeyTable& flock_keys() {
  static const KeyTable table{
      "a flock",
      {
          {"format", format, true, "1"},
          {"flock", name, true, "the name of the flock"},
          {"house", name, true, "where the birds are"},
          {"placed", local_time, true, "when they were placed, in the farm's time zone"},
          {"cleared", local_time, false, "when the house was cleared; left out: they are still there"},
          {"unloading", hours, false, "doors open on the day of placement"},
          {"birds", number, true, "how many were placed"},
          {"chick_weight", quantity, true, "mean weight at placement"},
          {"packs", names, true, "the packs that watch over this flock"},
          {"goal_day_7", quantity, false, "mean weight to reach on day 7"},
          {"first_day", whole, false, "0 or 1: how people count the day of placement"},
          {"lights", light_plan, false, "hours of light by age"},
          {"lights_on", time_of_day, false, "when the light comes on"},
          {"counts_from", named_ages, false, "brooding in a part of the house: by probe, the age before which it counts for nothing"},
          {"adjust", anything, false, "by name, anything that a pack sets"},
      }};
  return table;
}

const KeyTable& measure_keys() {
  static const KeyTable table{
      "a measure",
      {
          {"unit", unit, false, "the unit of its readings; \"\": none"},
          {"kind",
           one_of,
           false,
           "what a reading stands for",
           nullptr,
           {"gauge", "counter", "state", "sample", "tally", "round"}},
          {"plausible", numbers, false, "lowest and highest believable reading, in the unit"},
          {"stale_after", duration, false, "how long a reading holds"},
          {"max_rate", quantity, false, "faster than this is not believed, as in 3 K/min"},
          {"flat_after", duration, false, "exactly one value for so long is not believed"},
          {"max_apart", quantity, false, "further from its neighbours than this is suspect"},
      }};
  return table;
}

const KeyTable& curve_keys() {
  static const KeyTable table{
      "a curve",
      {
          {"unit", unit, true, "the unit of its values"},
          {"points", points, true, "a value for each age; straight lines between, level outside"},
          {"source", text, false, "where the numbers come from"},
      }};
  return table;
}

const KeyTable& limit_keys() {
  static const KeyTable table{
      "a limit",
      {
          {"low", expression, false, "the value is to stay at or above this"},
          {"high", expression, false, "the value is to stay at or below this"},
          {"priority", one_of, true, "how urgent it is", nullptr, {"urgent", "soon", "note"}},
      }};
  return table;
}

const KeyTable& rule_words_keys() {
  static const KeyTable table{"a rule's words in another language",
                              {
                                  {"head", text, false, "what is wrong in one to three words, at most 20 characters"},
                                  {"about", text, false, "what it means when this rule speaks"},
                                  {"do", text, false, "what to do about it"},
                              }};
  return table;
}

const KeyTable& wrong_keys() {
  static const KeyTable table{"what is wrong with a measure",
                              {
                                  {"low", text, true, "in capitals, when it is too low"},
                                  {"high", text, true, "in capitals, when it is too high"},
                              }};
  return table;
}

const KeyTable& language_keys() {
  static const KeyTable table{
      "a language",
      {
          {"format", format, true, "1"},
          {"language", name, true, "its name, as in fr"},
          {"about", text, false, "what people call it"},
          {"texts", anything, true, "what people are told, by its key"},
          {"measures", anything, true, "the measures in plain words"},
          {"wrong", named_maps, true, "what is wrong, by measure", &wrong_keys()},
          {"answers", anything, false, "words that mean the same as OK, HERE and the others"},
          {"rounds", anything, false, "words by which people enter a measure"},
      }};
  return table;
}

const KeyTable& rule_keys() {
  static const KeyTable table{
      "a rule",
      {
          {"head", text, false, "what is wrong in one to three words, at most 20 characters: a text begins with it, in capitals"},
          {"about", text, false, "what it means when this rule speaks"},
          {"watch", expression, false, "the value that is watched"},
          {"low", expression, false, "the value is to stay at or above this"},
          {"high", expression, false, "the value is to stay at or below this"},
          {"limits", maps, false, "several limits on one value, each worse than the one before",
           &limit_keys()},
          {"when", condition, false, "a condition, in place of watch and limits"},
          {"only_if", condition, false, "the rule is in force while this is not false"},
          {"each",
           one_of,
           false,
           "one alarm for the house, or one for each probe",
           nullptr,
           {"house", "probe"}},
          {"deadband", quantity, false, "how far inside its limit a value has to be again"},
          {"on_delay", duration, false, "how long a limit has to be broken"},
          {"off_delay", duration, false, "how long it has to be kept again"},
          {"ahead", duration, false, "warn when the trend will cross a limit within this time"},
          {"from", duration, false, "flock age at which the rule starts"},
          {"until", duration, false, "flock age at which it ends"},
          {"priority", one_of, false, "how urgent it is", nullptr, {"urgent", "soon", "note"}},
          {"respond_within", duration, false, "how soon somebody has to act"},
          {"blind_after", duration, false, "how long the rule may be unable to tell"},
          {"follows", names, false, "rules that are the cause when they stand"},
          {"cause", text, false, "what is likely behind it"},
          {"consequence", text, false, "what happens if nobody acts"},
          {"do", text, false, "what to do about it"},
          {"in", named_maps, false, "by language, what is wrong, what it means and what to do", &rule_words_keys()},
          {"source", text, false, "where the numbers come from"},
          {"even_during_work", boolean, false, "in force while people work in the house, too"},
          {"latch", boolean, false, "stays until it is reset on the spot"},
      }};
  return table;
}

const KeyTable& pack_keys() {
  static const KeyTable table{
      "a pack",
      {
          {"format", format, true, "1"},
          {"pack", name, true, "the name of the pack"},
          {"about", text, false, "what it watches over"},
          {"measures", named_maps, false, "new kinds, or single keys of the built-in ones", &measure_keys()},
          {"curves", named_maps, false, "tables of values against flock age", &curve_keys()},
          {"values", anything, false, "expressions with a name"},
          {"words", anything, false, "how sentences speak of its curves and values, by their names"},
          {"rules", named_maps, false, "what is watched", &rule_keys()},
      }};
  return table;
}

}  // namespace underwing
