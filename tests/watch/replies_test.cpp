// Goal: what thumbs make at night is read as it was meant, what cannot be read for certain changes nothing, and every
// change is confirmed to whoever asked for it. Method: a table of messages, then whole talks on the bench.

#include "daemon/replies.hpp"

#include <gtest/gtest.h>

#include "daemon/recorder.hpp"
#include "daemon/tape_player.hpp"
#include "tests/watch/bench.hpp"

namespace underwing {
namespace {

using namespace std::chrono_literals;

/// The bench's farm with places for what people enter.
FarmTexts with_rounds() {
  FarmTexts texts;
  FarmTexts::change(texts.farm, "      relative_humidity: [centre]\n",
                    "      relative_humidity: [centre]\n      dead_birds: [entered]\n      crop_fill: [entered]\n"
                    "      navels_healed: [entered]\n");
  return texts;
}

std::string in_words(const Reply& reply, const RuleSet& rules) {
  static constexpr const char* kNames[] = {"unclear", "automatic", "ok",     "here", "pass", "status",
                                           "shelve",  "work",      "record", "undo", "help"};
  std::string text = kNames[static_cast<int>(reply.kind)];
  for (const std::string& code : reply.codes) text += " " + code;
  if (reply.house) text += " " + rules.houses[*reply.house].name;
  if (reply.span) text += " " + to_words(*reply.span);
  if (reply.measure) text += " " + rules.measures[*reply.measure].name;
  if (reply.value) text += " " + std::to_string(*reply.value).substr(0, 4);
  if (reply.unit) text += " " + *reply.unit;
  if (!reply.why.empty()) text += " '" + reply.why + "'";
  return text;
}

TEST(Replies, AreReadAsTheyWereMeant) {
  const auto rules = with_rounds().load();
  const std::pair<const char*, const char*> rows[] = {
      {"OK", "ok"},
      {"ok.", "ok"},
      {"Ok!", "ok"},
      {"  okay ", "ok"},
      {"0k", "ok"},
      {"oj e6", "ok E6"},
      {"OK K7", "ok K7"},
      {"ok k7.", "ok K7"},
      {"OKK7", "ok K7"},
      {"ok k 7", "ok K7"},
      {"k7 ok", "ok K7"},
      {"OK K7, M4", "ok K7 M4"},
      {"OK K7A3", "ok K7A3"},
      {"ok house-1", "ok house-1"},
      {"OK H1", "ok house-1"},
      {"ok on my way", "ok"},
      {"\xF0\x9F\x91\x8D", "ok"},
      {"\xF0\x9F\x91\x8D\xF0\x9F\x8F\xBD K7", "ok K7"},  // a thumb with a colour
      {"Ok I am driving and will call you back later", "unclear"},
      {"OK?", "ok"},
      {"HERE", "here"},
      {"I am here", "here"},
      {"heer k7", "here K7"},
      {"Where is it?", "unclear"},
      {"were was it", "unclear"},
      {"PASS K7", "pass K7"},
      {"pas", "pass"},
      {"passs k7", "pass K7"},
      {"STATUS", "status"},
      {"statsu h2", "status house-2"},
      {"HELP", "help"},
      {"undo", "undo"},
      {"WORK H1 45M", "work house-1 45 min"},
      {"work h1 45 min", "work house-1 45 min"},
      {"work 45 h1", "work house-1 45 min"},
      {"Work house-1 1h30", "work house-1 1 h 30 min"},
      {"work 1.5 h", "work 1 h 30 min"},
      {"WORK H1 0", "work house-1 0 min"},
      {"work", "work"},
      {"SHELVE K7 1H probe is wet", "shelve K7 1 h 'probe is wet'"},
      {"shelve k7 2 hours: Cleaning, all day", "shelve K7 2 h 'Cleaning, all day'"},
      {"shelve k7 30m", "shelve K7 30 min"},
      {"shelve k7", "shelve K7"},
      {"DEAD 12", "record dead_birds 12.0"},
      {"dead 12.", "record dead_birds 12.0"},
      {"H2 NAVEL 80", "record house-2 navels_healed 80.0"},
      {"navels h2 80 %", "record house-2 navels_healed 80.0"},
      {"crop 85,5", "record crop_fill 85.5"},
      {"crop", "record crop_fill"},
      {"vent 40C", "record vent_temperature 40.0 °C"},
      {"H1 vent 39.5 c", "record house-1 vent_temperature 39.5 °C"},
      {"h1 vent 103f", "record house-1 vent_temperature 103. °F"},
      {"H1 crop 85 90", "unclear"},
      {"what is it?", "unclear"},
      {"", "unclear"},
      {"K7", "unclear"},
      {"Dear all", "unclear"},
      {"I cannot take your message now, please ring the office on Monday", "automatic"},
  };
  for (const auto& [text, meant] : rows) EXPECT_EQ(in_words(read_reply(text, *rules), *rules), meant) << text;
  EXPECT_EQ(read_reply("OK " + std::string(200, 'x'), *rules).kind, Reply::Kind::automatic);
}

class Talk : public testing::Test {
 protected:
  Talk() : bench(with_rounds().load()) {
    bench.run_to(march(3, 20, 10));
    static_cast<void>(bench.told());
    static_cast<void>(bench.events());
  }
  /// What the person is told back within the next half minute.
  std::string ask(const std::string& who, const std::string& text) {
    static_cast<void>(bench.texts());
    bench.reply(who, text);
    bench.run(30s);
    std::string answers;
    for (const std::string& line : bench.texts()) answers += line + "\n";
    return answers;
  }
  Bench bench;
};

TEST_F(Talk, WithoutAnythingToSayIsHelpedOnce) {
  const std::string help = "Not understood. OK K7: I have it. HERE: I am in the house. PASS: I cannot. HELP tells the rest.\n";
  EXPECT_EQ(ask("tomas", "what is it?"), help);
  EXPECT_EQ(ask("tomas", "what is it?"), "");
  EXPECT_EQ(ask("tomas", "HELP"),
            "OK K7: I have it. HERE: I am in the house. PASS: I cannot. STATUS. WORK H1 45M. SHELVE K7 1H why. Rounds: H1 DEAD 12, "
            "H1 CROP 85, UNDO.\n");
  EXPECT_EQ(ask("tomas", "hm"), help);  // something was understood meanwhile
  EXPECT_EQ(ask("maud", "I am on holiday and cannot read this until next Monday"), "");
}

TEST_F(Talk, OfPartsOfABirdIsRefused) {
  EXPECT_EQ(ask("tomas", "H1 DEAD 1.5"), "dead birds 1.5 cannot be: only whole numbers. Nothing was written down.\n");
  EXPECT_EQ(ask("tomas", "H1 DEAD"), "How many? As in H1 DEAD 10.\n");
}

TEST_F(Talk, OfNamesCountsOnlyFromPluginsThatMayNamePeople) {
  bench.air(28);
  bench.run_to(march(3, 20, 17));
  const std::string code = bench.code("cold-air");
  bench.watch().reply("tomas", "text", "OK " + code);
  bench.watch().reply("tomas", "mqtt", "OK " + code);
  bench.watch().reply("+44 7700 900102", "mqtt", "OK " + code, Watch::MayName::yes);
  bench.settle();
  EXPECT_EQ(bench.alarm("cold-air").life.state(), AlarmState::unacknowledged);
  bench.watch().reply("tomas", "text", "OK " + code, Watch::MayName::yes);
  bench.settle();
  EXPECT_EQ(bench.alarm("cold-air").acknowledged_by, "tomas");
}

TEST_F(Talk, StatusTellsEachHouse) {
  EXPECT_EQ(ask("maud", "STATUS"), "20:10 H1 day 1: 33 C, no alarm; H2: empty. On duty: ines.\n");
  bench.set("house-1/air_temperature/north", 27);
  bench.set("house-1/air_temperature/south", 28);
  bench.run_to(march(3, 20, 18));
  EXPECT_EQ(ask("maud", "status h1"), "20:18 H1 day 1: 27.0 to 28 C, COLD 27.5 C E6. On duty: ines.\n");
}

TEST_F(Talk, AnOkIsConfirmedAndAnswersWhoHasItSaySo) {
  bench.air(28);
  bench.run_to(march(3, 20, 20));
  EXPECT_EQ(ask("ines", "OK"), "ines has it: H1 COLD 28 C.\nYou have H1 COLD 28 C (E6). Send HERE when you are there.\n");
  EXPECT_EQ(ask("tomas", "OK"), "H1 COLD 28 C (E6) is with ines already.\n");
  EXPECT_EQ(ask("ines", "HERE"), "You are there: H1 COLD 28 C (E6).\n");
  EXPECT_TRUE(bench.alarm("cold-air").here);
  EXPECT_EQ(bench.alarm("cold-air").acknowledged_by, "ines");
}

TEST_F(Talk, APassIsConfirmed) {
  bench.air(28);
  bench.run_to(march(3, 20, 16, 30));
  const std::string told = ask("ines", "PASS");
  EXPECT_NE(told.find("Passed on: H1 COLD 28 C (E6)."), std::string::npos) << told;
  EXPECT_EQ(told.find("H1 COLD"), 0U) << "the next step comes first";
}

TEST_F(Talk, WorkIsConfirmedEndsByItselfAndIsRemindedOf) {
  EXPECT_EQ(ask("tomas", "WORK H1 45M"),
            "Work in H1 until 20:55. Till then only what cannot wait is watched there. Done earlier: WORK H1 0\n");
  EXPECT_EQ(bench.events(), "20:10:00 work tomas\n");
  bench.air(20);
  bench.run_to(march(3, 20, 49));
  EXPECT_EQ(bench.told(), "");
  bench.run_to(march(3, 20, 51));
  EXPECT_EQ(bench.told(true), "20:50:00 tomas text 0 H1 is watched again from 20:55. More time: WORK H1 30M.\n");
  bench.run_to(march(3, 21, 1));
  EXPECT_EQ(bench.events(), "21:00:00 raised cold-air low\n");
}

TEST_F(Talk, WorkEndsEarlierOnAWord) {
  static_cast<void>(ask("tomas", "WORK H1 45M"));
  EXPECT_EQ(ask("tomas", "work h1 0"), "H1 is watched as before.\n");
  bench.air(20);
  bench.run_to(march(3, 20, 17));
  EXPECT_TRUE(bench.has_alarm("cold-air"));
}

TEST_F(Talk, WorkWithoutHouseOrTimeOrForDaysIsAskedAbout) {
  EXPECT_EQ(ask("tomas", "WORK 45M"), "Which house? As in WORK H1 45M.\n");
  EXPECT_EQ(ask("tomas", "WORK H1"), "For how long? As in WORK H1 45M.\n");
  EXPECT_EQ(ask("tomas", "WORK H1 450H"), "18 d 18 h is longer than 12 h; nothing was changed.\n");
  EXPECT_EQ(bench.events(), "");
}

TEST_F(Talk, WorkIsRemindedOfAfterARestart) {
  static_cast<void>(ask("tomas", "WORK H1 45M"));
  bench.restart(bench.watch().snapshot(), 30s);
  static_cast<void>(bench.texts());
  bench.run_to(march(3, 20, 56));
  EXPECT_EQ(bench.texts(), (std::vector<std::string>{"H1 is watched again from 20:55. More time: WORK H1 30M."}));
}

TEST_F(Talk, ShelvingByTextWantsATimeAReasonAndNothingUrgent) {
  FarmTexts texts = with_rounds();
  FarmTexts::change(texts.pack, "      - {high: 90 %, priority: urgent}\n", "");
  bench.watch().reload(texts.load());
  bench.set("house-1/relative_humidity/centre", 80);
  bench.run_to(march(3, 20, 15));
  ASSERT_EQ(bench.code("damp-air"), "E6");
  EXPECT_EQ(ask("ines", "SHELVE E6"), "For how long? As in SHELVE E6 1H why.\n");
  EXPECT_EQ(ask("ines", "SHELVE E6 1H"), "Say why: whoever comes next has to know.\n");
  EXPECT_EQ(ask("ines", "SHELVE Z9 1H wet"), "There is no alarm Z9 now; nothing was changed.\n");
  EXPECT_EQ(ask("ines", "shelve e6 1h probe is wet"), "H1 DAMP AIR is shelved until 21:16: probe is wet.\n");
  EXPECT_EQ(bench.alarm("damp-air").life.state(), AlarmState::shelved);
  bench.air(28);
  bench.run_to(march(3, 20, 30));
  EXPECT_EQ(ask("ines", "shelve " + bench.code("cold-air") + " 1h broken"),
            "H1 COLD can be urgent: it is shelved at the gateway only. WORK H1 45M is for repairs.\n");
}

TEST_F(Talk, DeadBirdsAddUpAndTheLastAreTakenBack) {
  EXPECT_EQ(ask("ines", "DEAD 12"), "H1 dead birds 12: today 12, flock 12 of 17000.\n");  // the only house that takes them
  EXPECT_EQ(ask("tomas", "h1 dead 3"), "H1 dead birds 3: today 15, flock 15 of 17000.\n");
  EXPECT_EQ(ask("ines", "UNDO"), "Taken back: H1 dead birds 12. Now today 3, flock 3 of 17000.\n");
  EXPECT_EQ(ask("ines", "UNDO"), "There is nothing of yours to take back.\n");
  bench.run_to(march(4, 7));
  EXPECT_EQ(ask("tomas", "DEAD 2"), "H1 dead birds 2: today 2, flock 5 of 17000.\n");
  EXPECT_EQ(ask("tomas", "DEAD 2000000"), "dead birds 2e+06 cannot be: it is between 0 and 1e+06. Nothing was written down.\n");
}

TEST_F(Talk, DeadBirdsAreKeptOverARestartOfAnyAge) {
  static_cast<void>(ask("ines", "DEAD 12"));
  bench.run_to(march(4, 12));
  bench.restart(bench.watch().snapshot(), 30s);
  EXPECT_EQ(ask("ines", "UNDO"), "Taken back: H1 dead birds 12. Now today -12, flock 0 of 17000.\n");
}

TEST_F(Talk, AReplyThatIsHandedOverTwiceIsOneReply) {
  const auto dead = [&](const std::string& text, const std::string& key) {
    static_cast<void>(bench.texts());
    bench.watch().reply("+44 7700 900101", "text", text, Watch::MayName::no, key);
    bench.run(30s);
    const auto told = bench.texts();
    return told.empty() ? "" : told.front();
  };
  EXPECT_EQ(dead("DEAD 12", "modem/1"), "H1 dead birds 12: today 12, flock 12 of 17000.");
  EXPECT_EQ(dead("DEAD 12", "modem/1"), "");
  bench.restart(bench.watch().snapshot(), 30s);
  EXPECT_EQ(dead("DEAD 12", "modem/1"), "");
  EXPECT_EQ(dead("DEAD 12", "other/1"), "H1 dead birds 12: today 24, flock 24 of 17000.");
  EXPECT_EQ(dead("DEAD 1", ""), "H1 dead birds 1: today 25, flock 25 of 17000.");
  EXPECT_EQ(dead("DEAD 1", ""), "H1 dead birds 1: today 26, flock 26 of 17000.");
  // The plugin keeps its copy through an outage of any length; a key that is a day old is let go for a newer one.
  bench.run_to(march(5, 8));
  EXPECT_EQ(dead("DEAD 12", "modem/1"), "");
  EXPECT_EQ(dead("DEAD 2", "modem/2"), "H1 dead birds 2: today 2, flock 28 of 17000.");
  EXPECT_EQ(bench.watch().snapshot().find("modem/1"), std::string::npos);
}

TEST_F(Talk, RoundsAreWrittenDownAndTakenBack) {
  EXPECT_EQ(ask("ines", "CROP 85"), "H1 crop fill 85 % is written down.\n");
  EXPECT_EQ(ask("ines", "UNDO"), "H1 crop fill had no value before 85; send the right one instead.\n");
  EXPECT_EQ(ask("ines", "CROP 95"), "H1 crop fill 95 % is written down.\n");
  EXPECT_EQ(ask("ines", "UNDO"), "Taken back: H1 crop fill is 85 again.\n");
  const auto probe = *bench.watch().rules().find_probe("house-1/crop_fill/entered");
  EXPECT_EQ(bench.watch().engine().series(probe).last_value(), 85);
  EXPECT_EQ(ask("ines", "H2 CROP 85"), "H2 takes no crop fill: farm.yaml names no place for it there. Nothing was written down.\n");
  EXPECT_EQ(ask("ines", "CROP 850"), "crop fill 850 cannot be: it is between 0 and 100 %. Nothing was written down.\n");
  EXPECT_EQ(ask("ines", "CROP"), "How many? As in H1 CROP 50.\n");
}

/// What a message puts in stands on the tape, so that a replay finds what the night found.
TEST_F(Talk, StandsOnTheTape) {
  std::vector<std::string> tape;
  Watch live(bench.watch().engine().shared_rules());
  Recorder recorder(live, [&](std::string_view line, Instant) { tape.emplace_back(line); });
  recorder.begin(march(3, 20), Duration::zero());
  live.reply("+44 7700 900101", "text", "DEAD 12");
  live.reply("+44 7700 900101", "text", "DEAD 5");
  live.reply("+44 7700 900101", "text", "WORK H1 45M");
  live.reply("+44 7700 900101", "text", "UNDO");
  for (const Effect& effect : live.take_effects()) {
    if (effect.kind == Effect::Kind::entry) recorder.entry(*effect.entry);
  }
  Watch again(bench.watch().engine().shared_rules());
  TapePlayer player(again, again.rules());
  for (const std::string& line : tape) ASSERT_TRUE(player.play(line)) << line;
  const auto probe = *again.rules().find_probe("house-1/dead_birds/entered");
  EXPECT_EQ(again.engine().series(probe).tally_since(march(2, 0)), 12);
  EXPECT_EQ(again.engine().work_until(0), live.engine().work_until(0));
  EXPECT_GE(again.engine().work_until(0), march(3, 20, 45));
}

}  // namespace
}  // namespace underwing
