// Goal: everybody is told in their own language, in the same words whatever way it comes about. Method: a cold house on a
// farm that speaks French, with one person who is told in Spanish; the shipped languages, the watch on a bench.

#include <gtest/gtest.h>

#include "tests/files/support.hpp"
#include "tests/watch/bench.hpp"

namespace underwing {
namespace {

using namespace std::chrono_literals;

/// Steps to ines (French, as the farm), then tomas (Spanish).
std::shared_ptr<const RuleSet> french_farm() {
  FarmTexts texts;
  FarmTexts::change(texts.farm, "time_zone:", "language: fr\ntime_zone:");
  FarmTexts::change(texts.farm, "away: 25 min}", "away: 25 min, language: es}");
  FarmTexts::change(texts.farm, "maud:  {text: \"+44 7700 900103\"}", "maud:  {text: \"+44 7700 900103\", language: en}");
  const std::size_t action = texts.pack.find("    do: ");
  texts.pack.insert(texts.pack.find('\n', action) + 1, "    in:\n      fr: {do: \"Voyez les poussins, puis le gaz.\"}\n");
  FarmFiles files = texts.files();
  for (const char* name : {"es", "fr"}) {
    files.shipped_languages[std::string(name) + ".yaml"] =
        testing::whole_file(std::string(UNDERWING_SOURCE_DIR) + "/rules/languages/" + name + ".yaml");
  }
  return load_or_throw(files);
}

std::string all_of(const std::vector<std::string>& texts) {
  std::string all;
  for (const std::string& text : texts) all += text + "\n";
  return all;
}

TEST(Language, EverybodyIsToldInTheirOwn) {
  Bench bench(french_farm());
  bench.air(32);
  bench.run(10min);
  bench.air(25);
  bench.run(20min);
  const std::string told = all_of(bench.texts());
  EXPECT_NE(told.find("H1 FROID 25 C, il faut "), std::string::npos) << told;
  EXPECT_NE(told.find("(jour 1). ALLEZ-Y : Voyez les poussins, puis le gaz. Répondez OK "), std::string::npos) << told;
  EXPECT_NE(told.find("H1 FRIO 25 C, debe ser "), std::string::npos) << told;
  EXPECT_NE(told.find("H1 COLD 25 C, wants "), std::string::npos) << told;

  bench.reply("tomas", "AQUI");
  const std::string there = all_of(bench.texts());
  EXPECT_NE(there.find("Usted esta alli: H1 FRIO 25 C ("), std::string::npos) << there;
  EXPECT_NE(there.find("tomas s'en occupe : H1 FROID 25 C."), std::string::npos) << there;
  EXPECT_NE(there.find("tomas has it: H1 COLD 25 C."), std::string::npos) << there;
  bench.air(32);
  bench.run(30min);
  const std::string back = all_of(bench.texts());
  EXPECT_NE(back.find("H1 de nouveau normal : 32 C à "), std::string::npos) << back;
  EXPECT_NE(back.find("H1 normal otra vez: 32 C a las "), std::string::npos) << back;
  EXPECT_NE(back.find("H1 back to normal: 32 C at "), std::string::npos) << back;

  // In the morning, in the words of the night.
  EXPECT_NE(bench.watch().summary_text(bench.watch().rules().language("fr")).find("FROID "), std::string::npos);
  EXPECT_NE(bench.watch().summary_text().find("COLD "), std::string::npos);
}

TEST(Language, SomebodyAtTheGatewayIsNobodyByName) {
  Bench bench(french_farm());
  bench.air(32);
  bench.run(10min);
  bench.air(25);
  bench.run(20min);
  static_cast<void>(bench.texts());
  static_cast<void>(bench.watch().acknowledge(bench.alarm("cold-air").code, "somebody at the gateway"));
  bench.run(1min);
  const std::string told = all_of(bench.texts());
  EXPECT_NE(told.find("quelqu'un au boitier s'en occupe : H1 FROID 25 C."), std::string::npos) << told;
  EXPECT_NE(told.find("alguien en el equipo se ocupa: H1 FRIO 25 C."), std::string::npos) << told;
  EXPECT_NE(told.find("somebody at the gateway has it: H1 COLD 25 C."), std::string::npos) << told;
  bench.reply("ines", "STATUS");
  EXPECT_NE(all_of(bench.texts()).find("(quelqu'un au boitier)"), std::string::npos);
  // The journal stays English.
  EXPECT_EQ(bench.alarm("cold-air").acknowledged_by, "somebody at the gateway");
}

TEST(Language, ATroubleIsSaidInTheirOwnAfterARestartToo) {
  Bench bench(french_farm());
  bench.air(32);
  bench.run(10min);
  bench.watch().plugin("modem", false, "");
  bench.run(5min);
  const Language& french = bench.watch().rules().language("fr");
  EXPECT_NE(bench.watch().evening_text(nullptr, french).find("PAS pret pour la nuit : "), std::string::npos);
  EXPECT_NE(bench.watch().evening_text(nullptr, french).find("FERME VOIE COUPEE: modem en panne depuis 20:10"), std::string::npos)
      << bench.watch().evening_text(nullptr, french);
  EXPECT_EQ(bench.alarm("path-down").detail, "modem has been down since 20:10");
  bench.restart(bench.watch().snapshot(), 1min);
  EXPECT_EQ(bench.alarm("path-down").details.at("fr"), "modem en panne depuis 20:10");
}

TEST(Language, RepliesAreReadInEnglishAndInTheirOwn) {
  const auto rules = french_farm();
  const auto kind = [&](const char* text, const char* language) { return read_reply(text, *rules, rules->language(language)).kind; };
  EXPECT_EQ(kind("ici", "fr"), Reply::Kind::here);
  EXPECT_EQ(kind("HERE", "fr"), Reply::Kind::here);
  EXPECT_EQ(kind("ok K7", "fr"), Reply::Kind::ok);
  EXPECT_EQ(kind("oui", "fr"), Reply::Kind::ok);
  EXPECT_EQ(kind("Aqui.", "es"), Reply::Kind::here);
  EXPECT_EQ(kind("aqui", "fr"), Reply::Kind::unclear);
  EXPECT_EQ(kind("aide", "fr"), Reply::Kind::help);
  EXPECT_EQ(kind("ici", "en"), Reply::Kind::unclear);
}

TEST(Language, DatesAreNamed) {
  EXPECT_EQ(date_in_words(*read_date("2026-03-07"), french_farm()->language("fr")), "sam 7 mars");
  EXPECT_EQ(date_in_words(*read_date("2026-03-07"), french_farm()->language("es")), "sab 7 marzo");
}

}  // namespace
}  // namespace underwing
