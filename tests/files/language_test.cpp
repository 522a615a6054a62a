// Goal: a language's file is refused at its exact place where a text is missing, has a wrong slot, a letter that text
// messages do not have, or no room; the shipped languages are sound. Method: the shipped Spanish, changed line by line.

#include <fmt/format.h>
#include <gtest/gtest.h>

#include <algorithm>
#include <filesystem>
#include <sstream>

#include "rules/files/load.hpp"
#include "rules/languages/gsm.hpp"
#include "rules/languages/texts.hpp"
#include "tests/files/support.hpp"

namespace underwing {
namespace {

using testing::zone_named;

std::string shipped(const std::string& name) {
  return testing::whole_file(std::string(UNDERWING_SOURCE_DIR) + "/rules/languages/" + name + ".yaml");
}

/// The shipped Spanish with one change.
std::string spanish(const std::string& from, const std::string& to) {
  std::string text = shipped("es");
  const std::size_t at = text.find(from);
  EXPECT_NE(at, std::string::npos) << from;
  return text.replace(at, from.size(), to);
}

/// What is wrong, without the place's line.
std::string issues(const std::string& text) {
  std::string all;
  for (const Issue& issue : check_file("es.yaml", text, zone_named)) {
    const std::string whole = to_text(issue, "");
    all += whole.substr(0, whole.find('\n')) + "\n";
  }
  return all;
}

std::string texts_of(const std::string& issues) {
  std::string all;
  std::istringstream lines(issues);
  for (std::string line; std::getline(lines, line);) all += line.substr(line.find(": ") + 2) + "\n";
  return all;
}

TEST(Languages, ThoseThatShipAreSound) {
  for (const auto& file : std::filesystem::directory_iterator(std::string(UNDERWING_SOURCE_DIR) + "/rules/languages")) {
    if (file.path().extension() != ".yaml") continue;
    const std::string name = file.path().stem().string();
    const std::string text = shipped(name);
    EXPECT_NE(text.find("\nlanguage: " + name + "\n"), std::string::npos) << name;
    EXPECT_EQ(issues(text), "") << name;
  }
  EXPECT_FALSE(shipped("fr").empty());
}

TEST(Languages, EnglishIsHeldToTheSame) {
  for (const TextRow& row : kTexts) {
    EXPECT_EQ(first_not_gsm(row.one), std::string::npos) << row.key;
    EXPECT_EQ(slots_of(row.one), slots_of(row.many.empty() ? row.one : row.many)) << row.key;
    EXPECT_EQ(text_index(row.key), static_cast<std::size_t>(&row - kTexts.data())) << "twice: " << row.key;
  }
}

TEST(Languages, MistakesHaveTheirPlace) {
  EXPECT_EQ(issues(spanish("farm: GRANJA", "farm: GRANJÁ")), "es.yaml:5:14: the alphabet of text messages has no 'Á'; write 'A'\n");
  EXPECT_EQ(issues(spanish("wants: \"debe ser {value}\"", "wants: \"debe ser {valu}\"")),
            "es.yaml:29:10: this text lacks the slot '{value}'\n"
            "es.yaml:29:20: this text has no slot '{valu}'; did you mean 'value'?\n");
}

TEST(Languages, MistakesAreNamed) {
  const std::vector<std::pair<std::string, std::string>> table{
      {issues(spanish("  again: 2a VEZ\n", "")), "a text is missing: 'again'\n"},
      {issues(spanish("  again: 2a VEZ\n", "  agan: 2a VEZ\n")), "a text is missing: 'again'\nthere is no text 'agan'; did you mean 'again'?\n"},
      {issues(spanish("alarms: {one: \"{count} alarma\", many: \"{count} alarmas\"}", "alarms: \"{count} alarmas\"")),
       "this text has two forms, as in {one: \"…\", many: \"…\"}\n"},
      {issues(spanish("one: \"{count} alarma\"", "one: \"una alarma\"")), ""},
      {issues(spanish("many: \"{count} alarmas\"", "many: \"alarmas\"")), "this text lacks the slot '{count}'\n"},
      {issues(spanish("  water: agua\n", "")), "a measure is missing: 'water'\n"},
      {issues(spanish("look: Mire las sondas.", "look: " + std::string(161, 'a'))),
       "with the longest values in its slots this has 161 characters; a text message has room for 160\n"},
      {issues(spanish("go_now: \"VAYA YA: {do}\"", "go_now: \"VAYA YA, POR FAVOR, NO ESPERE MAS, LAS AVES LE NECESITAN: {do}\"")),
       "with the longest names, units and values an alarm is 33 characters too long; shorten this, 'wants', 'day' or 'reply_or_pass'\n"},
      {issues(spanish("here: [AQUI]", "here: [AQUI, SI]")), "'SI' means 'here' already\n"},
      {issues(spanish("here: [AQUI]", "here: [K7]")), "'K7' cannot be told from a number or a code; a word of at least two letters A to Z in capitals is needed\n"},
      {issues(spanish("here: [AQUI]", "here: [DEAD]")), "'DEAD' means 'dead_birds' already\n"},
      {issues(spanish("  here: [AQUI]", "  hera: [AQUI]")), "'hera' is nothing that people answer; did you mean 'here'?\n"}};
  for (const auto& [found, text] : table) EXPECT_EQ(texts_of(found), text) << found;
}

FarmFiles farm_with(const std::string& language, const std::string& person) {
  FarmFiles files;
  files.farm_path = "farm.yaml";
  files.farm_text = "format: 1\nfarm: Sandpiper Hollow\ntime_zone: UTC\n" + language +
                    "houses: {house-1: {probes: {air_temperature: [a]}}}\nplugins: {paper: {run: print}}\n"
                    "people: {ines: {text: \"+44 7700 900101\"" + person + "}}\ncall_out:\n"
                    "  urgent: [{after: 0 min, tell: ines, by: text}]\n  soon: [{after: 0 min, tell: ines, by: text}]\n"
                    "  note: [{after: 0 min, tell: ines, by: text}]\n";
  for (const char* name : {"es", "fr", "pt"}) files.shipped_languages["languages/" + std::string(name) + ".yaml"] = shipped(name);
  return files;
}

std::string errors_of(const FarmFiles& files) {
  std::string all;
  for (const Issue& issue : load_farm(files, zone_named).issues) {
    const std::string whole = to_text(issue, "");
    if (issue.severity == Issue::Severity::error) all += whole.substr(0, whole.find('\n')) + "\n";
  }
  return all;
}

TEST(Languages, AFarmNamesThemAndMayBringItsOwn) {
  const Loaded plain = load_farm(farm_with("", ""), zone_named);
  ASSERT_TRUE(plain.ok());
  EXPECT_TRUE(plain.rules->languages.empty());
  const Loaded two = load_farm(farm_with("language: fr\n", ", language: es"), zone_named);
  ASSERT_TRUE(two.ok()) << errors_of(farm_with("language: fr\n", ", language: es"));
  EXPECT_EQ(two.rules->farm.language, "fr");
  EXPECT_EQ(two.rules->languages.size(), 2U);
  EXPECT_EQ(say(two.rules->language("fr"), "farm"), "FERME");
  EXPECT_NE(two.rules->hash, plain.rules->hash);
  EXPECT_EQ(errors_of(farm_with("language: ff\n", "")), "farm.yaml:4:11: no language named 'ff'; did you mean 'fr'?\n");

  FarmFiles own = farm_with("", ", language: es");
  own.languages["languages/es.yaml"] = spanish("farm: GRANJA", "farm: FINCA");
  const Loaded changed = load_farm(own, zone_named);
  ASSERT_TRUE(changed.ok());
  EXPECT_EQ(say(changed.rules->language("es"), "farm"), "FINCA");
  own.languages["languages/es.yaml"] = spanish("air_temperature: {low: FRIO", "air_temperature: {low: MUCHISIMO FRIO POR LA NOCHE");
  const std::string& text = own.languages["languages/es.yaml"];
  const auto line = 1 + std::count(text.begin(), text.begin() + static_cast<std::ptrdiff_t>(text.find("MUCHISIMO")), '\n');
  EXPECT_EQ(errors_of(own), fmt::format("languages/es.yaml:{}:3: ", line) + "'MUCHISIMO FRIO POR LA NOCHE' leaves no room for its value: with the longest house and value "
                            "there are 51 characters, and a locked screen shows 40\n");
}

TEST(Languages, WhatAFlockChangesIsNotWhatThePackSaysInOtherLanguages) {
  FarmFiles files = farm_with("language: fr\n", "");
  files.packs["rules/own.yaml"] =
      "format: 1\npack: own\nrules:\n  cold-air:\n    watch: air_temperature\n    low: 30 °C\n    priority: urgent\n"
      "    respond_within: 20 min\n    do: Look.\n    head: Cold\n    in: {fr: {head: Grand froid, about: Trop froid, do: Voyez.}}\n";
  files.flocks["flocks/a.yaml"] =
      "format: 1\nflock: a\nhouse: house-1\nplaced: 2026-03-02 09:30\nbirds: 100\nchick_weight: 42 g\npacks: [own]\n";
  const Loaded plain = load_farm(files, zone_named);
  ASSERT_TRUE(plain.ok()) << errors_of(files);
  EXPECT_EQ(plain.rules->rules.at(0).in.at("fr").action, "Voyez.");
  files.flocks["flocks/a.yaml"] += "adjust: {cold-air: {do: Ring Maud.}}\n";
  const Loaded changed = load_farm(files, zone_named);
  ASSERT_TRUE(changed.ok()) << errors_of(files);
  EXPECT_EQ(changed.rules->rules.at(0).in.at("fr").action, "");
  EXPECT_EQ(changed.rules->rules.at(0).in.at("fr").about, "Trop froid");
  EXPECT_EQ(changed.rules->rules.at(0).in.at("fr").head, "Grand froid");
  files.flocks["flocks/a.yaml"].replace(files.flocks["flocks/a.yaml"].find("do: Ring Maud."), 14, "head: Brrr");
  const Loaded headed = load_farm(files, zone_named);
  ASSERT_TRUE(headed.ok()) << errors_of(files);
  EXPECT_EQ(headed.rules->rules.at(0).head, "Brrr");
  EXPECT_EQ(headed.rules->rules.at(0).in.at("fr").head, "");
}

TEST(Gsm, LettersLoseTheirAccentBeforeTheyBecomeQuestionMarks) {
  EXPECT_EQ(to_gsm("Ventilação à noite, près du mur, señal"), "Ventilacao à noite, près du mur, señal");
  EXPECT_EQ(first_not_gsm("déjà vu"), std::string::npos);
  EXPECT_EQ(first_not_gsm("forêt"), 3U);
}

}  // namespace
}  // namespace underwing
