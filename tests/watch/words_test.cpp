// Goal: every text fits one message of 160 septets of the GSM alphabet, keeps the way to answer, and shows
// house, what and value on a locked screen. Method: tables, and farms with the longest names that the files
// allow.

#include "daemon/words.hpp"

#include <gtest/gtest.h>

#include <tuple>

#include "tests/watch/bench.hpp"

namespace underwing {
namespace {

using namespace std::chrono_literals;

TEST(Words, AreOfTheGsmAlphabet) {
  const std::pair<std::string, std::string> rows[] = {
      {"28.6 °C", "28.6 C"},
      {"22 µg/m³", "22 ug/m3"},
      {"“so” – it’s…", "\"so\" - it's..."},
      {"Müller à Ø", "Müller à Ø"},
      {"çedilla", "cedilla"},
      {"日本", "??"},
      {"€5", "€5"},
      {"a\nb", "a b"},
      {"\xff\xc3", "?"},
      {"x\xe2\x82", "x?"},
      {"\xe2", "?"},
      {"\xc2", "?"},
  };
  for (const auto& [text, gsm] : rows) EXPECT_EQ(to_gsm(text), gsm) << text;
  EXPECT_EQ(gsm_length("abc"), 3U);
  EXPECT_EQ(gsm_length("ä€["), 5U);  // the extension table's characters count twice
}

TEST(Words, AreCutAtWholeCharacters) {
  for (const char* character : {"a", "é", "€", "["}) {
    std::string text;
    for (int i = 0; i < 200; ++i) text += character;
    for (std::size_t pad = 0; pad < 4; ++pad) {
      const std::string cut = fit({std::string(pad, 'x') + text});
      EXPECT_LE(gsm_length(cut), kTextSeptetsMax);
      EXPECT_GE(gsm_length(cut), kTextSeptetsMax - 1);
      EXPECT_EQ(to_gsm(cut), cut) << character << pad;
    }
  }
  EXPECT_EQ(fit({std::string(161, 'a'), "short"}), "short");
}

TEST(Words, AreCutAtWholeWords) {
  const std::tuple<const char*, std::size_t, const char*> rows[] = {
      {"Water runs and does not stop", 24, "Water runs and does not"},
      {"Water runs and does not stop", 22, "Water runs and does"},
      {"Water runs", 10, "Water runs"},
      {"Water runs", 9, "Water"},
      {"Water  runs", 6, "Water"},
      {"Water ", 10, "Water"},
      {"Waterworks", 5, "Water"},
      {"à é€", 4, "à"},
      {"", 5, ""},
      {"a", 0, ""}};
  for (const auto& [text, room, cut] : rows) EXPECT_EQ(words_within(text, room), cut) << text << room;
}

TEST(Words, StandInCapitalsAsTextMessagesHaveThem) {
  const std::pair<const char*, const char*> rows[] = {{"Secteur coupé", "SECTEUR COUPÉ"},
                                                      {"Nave sin señal, güera", "NAVE SIN SEÑAL, GÜERA"},
                                                      {"äöåøæ ß", "ÄÖÅØÆ SS"},
                                                      {"Légers à 7 jours, où è ì ò", "LÉGERS A 7 JOURS, OU E I O"},
                                                      {"forêt ração œuf ça", "FORET RAÇAO OEUF ÇA"},
                                                      {"CO2 über 5 €", "CO2 ÜBER 5 €"},
                                                      {"\xc3", "\xc3"},
                                                      {"", ""}};
  for (const auto& [small, capital] : rows) {
    EXPECT_EQ(capitals(small), capital);
    EXPECT_EQ(capitals(capitals(small)), capitals(small));
  }
}

/// What is wrong: the rule's own head before the measure's word, and that before what the rule is about, in whole words.
TEST(Words, SayWhatIsWrongInTheRulesOwnHead) {
  FarmTexts texts;
  FarmTexts::change(texts.pack, "    about: Air colder", "    head: Too cold\n    in: {es: {head: Mucho frio}}\n    about: Air colder");
  FarmTexts::change(texts.yard, "watch: median(air_temperature)\n    high: 40 °C", "when: median(air_temperature) > 40 °C");
  FarmTexts::change(texts.yard, "about: Air too hot", "about: Water runs and does not stop, a line may have burst");
  const auto rules = texts.load();
  Language spanish = english();
  spanish.name = "es";
  Language french = english();
  french.name = "fr";
  std::size_t seen = 0;
  for (const WatchedRule& rule : rules->rules) {
    if (rule.name == "cold-air") {
      EXPECT_EQ(what_is_wrong(rule, *rules, Reason::low), "TOO COLD");
      EXPECT_EQ(what_is_wrong(rule, *rules, Reason::none, spanish), "MUCHO FRIO");
      EXPECT_EQ(what_is_wrong(rule, *rules, Reason::low, french), "TOO COLD");
    } else if (rule.name == "damp-air") {
      EXPECT_EQ(what_is_wrong(rule, *rules, Reason::high), "DAMP AIR");
    } else {
      EXPECT_EQ(what_is_wrong(rule, *rules, Reason::when), "WATER RUNS AND DOES NOT");
    }
    ++seen;
  }
  EXPECT_GE(seen, 3U);
}

/// Where cold that kills is over and cold is not, nobody hears that all is well.
TEST(Words, OfALesserTroubleThatStaysAreNoGoodNews) {
  FarmTexts texts;
  FarmTexts::change(texts.pack, "  damp-air:\n",
                    "  cold-harm:\n    head: Deadly cold\n    watch: lowest(air_temperature)\n    low: air_target - 6 K\n    priority: urgent\n"
                    "    respond_within: 10 min\n    do: Go.\n  damp-air:\n");
  Bench bench(texts.load());
  bench.run_to(march(3, 20, 2));
  bench.air(25);
  bench.run_to(march(3, 20, 10));
  ASSERT_TRUE(bench.has_alarm("cold-air"));
  ASSERT_TRUE(bench.has_alarm("cold-harm"));
  static_cast<void>(bench.texts());
  bench.air(28);
  bench.run_to(march(3, 20, 12));
  std::string all;
  for (const std::string& text : bench.texts()) all += text + "\n";
  EXPECT_NE(all.find("H1 better: 28 C at 20:11, but still COLD: "), std::string::npos) << all;
  EXPECT_EQ(all.find("normal"), std::string::npos) << all;
}

TEST(Words, NameHousesInShort) {
  const std::pair<const char*, const char*> rows[] = {{"house-1", "H1"},
                                                      {"h1", "H1"},
                                                      {"barn-12", "B12"},
                                                      {"1", "1"},
                                                      {"old-barn", "OLD-BARN"},
                                                      {"long-barn", "LONG-BAR"},
                                                      {"shed-2-by-the-wood", "S2-by-th"}};
  for (const auto& [house, text] : rows) EXPECT_EQ(house_in_short(house), text);
}

TEST(Words, ShowValuesWithTheirUnit) {
  FarmTexts texts;
  const auto rules = texts.load();
  const Unit& celsius = rules->probes.front().quality.unit;
  const std::pair<double, const char*> rows[] = {
      {28.64, "28.6 C"}, {31, "31 C"}, {-0.04, "0 C"}, {-5.25, "-5.2 C"}, {123.4, "123 C"}};
  for (const auto& [value, text] : rows) EXPECT_EQ(to_gsm(with_unit(value, celsius)), text);
}

TEST(Words, CountDaysAsTheFlocksPeopleDo) {
  const auto rules = FarmTexts().load();
  Flock flock = rules->flocks.front();
  const Zone& zone = rules->farm.zone;
  EXPECT_EQ(day_of(flock, zone, march(2, 9, 30)), "day 0");
  EXPECT_EQ(day_of(flock, zone, march(2, 23, 59)), "day 0");
  EXPECT_EQ(day_of(flock, zone, march(3, 0)), "day 1");
  flock.first_day = 1;
  EXPECT_EQ(day_of(flock, zone, march(3, 0)), "day 2");
  EXPECT_EQ(day_of(flock, zone, march(28, 23, 59)), "day 27");
  EXPECT_EQ(day_of(flock, zone, march(29, 23, 0)), "day 29");  // local midnight in summer time
}

/// Whatever the farm says at its longest: 160 septets, the reply at the end, and the value within the
/// first 40.
TEST(Words, FitWithTheLongestNames) {
  const std::string probe(40, 'p');
  const std::string house = "barn-behind-the-long-wood-with-the-pond";
  FarmTexts texts;
  for (std::string* text : {&texts.farm, &texts.flock}) {
    while (text->find("house-1") != std::string::npos) FarmTexts::change(*text, "house-1", house);
  }
  FarmTexts::change(texts.farm, "[north, south]", "[" + probe + "]");
  FarmTexts::change(texts.pack, "    watch: median(air_temperature)\n",
                    "    watch: air_temperature\n    each: probe\n");
  FarmTexts::change(texts.pack, "Look at the chicks first. Then gas, heaters, curtains.",
                    std::string(300, 'd') + "€é. And more €");
  FarmTexts::change(texts.pack, "Air too damp", "Entirely and utterly too damp é air for anything");
  Bench bench(texts.load());
  bench.set(house + "/air_temperature/" + probe, 28.6);
  bench.set(house + "/relative_humidity/centre", 95);
  bench.outcome = [](const Delivery&) { return Delivery::Outcome::failed; };
  bench.run_to(march(3, 20, 8));
  bench.silence_house(house);
  bench.watch().plugin("climate", false, std::string(500, 'z'));
  bench.run_to(march(4, 6, 40));
  const std::vector<std::string> told = bench.texts();
  ASSERT_GT(told.size(), 100U);
  bool seen = false;
  for (const std::string& text : told) {
    EXPECT_LE(gsm_length(text), kTextSeptetsMax) << text;
    EXPECT_EQ(to_gsm(text), text);
    if (text.find("Cannot go") != std::string::npos) {
      const bool code_at_end = text.rfind("PASS ") + 9 >= text.size();
      EXPECT_TRUE(code_at_end) << text;
    }
    if (text.starts_with("BARN-BEH COLD")) {
      EXPECT_LT(text.find("28.6 C"), 35U) << text;
      seen = true;
    }
  }
  EXPECT_TRUE(seen);
}

/// "26 C by 02:40": how fast it gets worse, from the last twenty minutes.
TEST(Words, SayHowFastItGetsWorse) {
  Bench bench;
  bench.run_to(march(3, 20, 20));
  for (int minute = 0; minute < 20; ++minute) {
    bench.air(33 - 0.25 * (minute + 1));
    bench.run(1min);
  }
  const std::vector<std::string> texts = bench.texts();
  ASSERT_FALSE(texts.empty());
  EXPECT_EQ(texts.front(),
            "H1 COLD 29 C, wants 32.3 (day 1). Falling since 20:20, 23 C by 21:00. GO NOW: Look at the chicks first. Then gas, heaters. "
            "Reply OK E6. Cannot go: PASS E6");
  // No word of it when it gets better.
  static_cast<void>(bench.texts());
  for (int minute = 0; minute < 12; ++minute) {
    bench.air(29 + 0.05 * minute);
    bench.run(1min);
  }
  EXPECT_EQ(bench.texts().back().find("alling"), std::string::npos);
}

TEST(Words, GiveWhatToDoUpBeforeHowToAnswer) {
  AlarmWords words{"H1 COLD 28.6 C", ", wants 31 (day 2)",
                   "", "GO NOW: " + std::string(80, 'a') + ". " + std::string(80, 'b') + ".",
                   "Reply OK K7. Cannot go: PASS K7"};
  EXPECT_EQ(to_text(words), "H1 COLD 28.6 C, wants 31 (day 2). GO NOW: " + std::string(80, 'a') +
                                ". Reply OK K7. Cannot go: PASS K7");
  // How fast it gets worse goes before a part of what to do, and gives way to the last of it.
  words.trend = "Falling, 26 C by 02:40.";
  words.action = "GO NOW: look at the chicks, " + std::string(60, 'b') + ".";
  EXPECT_EQ(to_text(words), "H1 COLD 28.6 C, wants 31 (day 2). Falling, 26 C by 02:40. GO NOW: look at the chicks. Reply OK K7. Cannot go: PASS K7");
  words.action = "GO NOW: " + std::string(70, 'b') + ".";
  EXPECT_EQ(to_text(words), "H1 COLD 28.6 C, wants 31 (day 2). " + words.action + " Reply OK K7. Cannot go: PASS K7");
  // What stands as the cause gives way to the first words of what to do, and so does how fast.
  words.action = "GO NOW: " + std::string(60, 'b') + ". More.";
  words.cause = "MAINS LOST since 01:45.";
  EXPECT_EQ(to_text(words), "H1 COLD 28.6 C, wants 31 (day 2). MAINS LOST since 01:45. GO NOW: " + std::string(60, 'b') + ". Reply OK K7. Cannot go: PASS K7");
  words.action = "GO NOW: " + std::string(78, 'b') + ". More.";
  EXPECT_EQ(to_text(words), "H1 COLD 28.6 C, wants 31 (day 2). " + words.action + " Reply OK K7. Cannot go: PASS K7");
  words.cause.clear();
  words.trend.clear();
  words.action.clear();
  EXPECT_EQ(to_text(words), "H1 COLD 28.6 C, wants 31 (day 2). Reply OK K7. Cannot go: PASS K7");
  words.head = std::string(200, 'h');
  EXPECT_TRUE(to_text(words).ends_with(". Reply OK K7. Cannot go: PASS K7"));
  EXPECT_EQ(gsm_length(to_text(words)), kTextSeptetsMax);
}

}  // namespace
}  // namespace underwing
