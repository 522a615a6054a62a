// Goal: paths that carry messages are known by their last success, what fails is said over another, and when they come back
// people hear what stands, once; a flood is one text with counts; drills are marked, need an answer, and leave a result.
// Method: the bench, deliveries given to paths as the service gives them.

#include <gtest/gtest.h>

#include "daemon/words.hpp"
#include "tests/watch/bench.hpp"

namespace underwing {
namespace {

using namespace std::chrono_literals;
using Outcome = Delivery::Outcome;

FarmTexts with_two_paths() {
  FarmTexts texts;
  FarmTexts::change(texts.farm, "  modem: {run: print}\n", "  modem: {run: print}\n  spare: {run: print}\n");
  return texts;
}

/// Deliveries go to `path`, and become `became`.
void carry(Bench& bench, const std::string& path, Outcome became) {
  bench.outcome = [&bench, path, became](const Delivery& delivery) {
    bench.watch().handed(delivery.id, path);
    return became;
  };
}

std::string states(const Watch& watch) {
  std::string text;
  for (const PathStatus& path : watch.paths()) {
    text += path.name + " " + to_string(path.state) + (path.proven ? " " + to_rfc3339(*path.proven).substr(11, 5) : "") + "\n";
  }
  return text;
}

TEST(Paths, AreKnownByTheirLastSuccess) {
  Bench bench(with_two_paths().load());
  EXPECT_TRUE(bench.told().empty());
  EXPECT_EQ(states(bench.watch()), "modem untested\nspare down\n");
  bench.watch().plugin("spare", true, "");
  carry(bench, "modem", Outcome::delivered);
  bench.air(28);
  bench.run_to(march(3, 20, 7));
  EXPECT_EQ(states(bench.watch()), "modem up 20:06\nspare untested\n");
  carry(bench, "modem", Outcome::failed);
  bench.run_to(march(3, 20, 9, 30));
  EXPECT_EQ(states(bench.watch()), "modem suspect 20:06\nspare untested\n");
  bench.watch().plugin("modem", false, "no answer");
  EXPECT_EQ(states(bench.watch()), "modem down 20:06\nspare untested\n");
  bench.restart(bench.watch().snapshot(), 1s);
  bench.watch().plugin("modem", false, "no answer");
  EXPECT_EQ(states(bench.watch()).substr(0, 16), "modem down 20:06");
}

TEST(Paths, ThatNothingHasProvenAreTestedBeforeTheEveningCheck) {
  Bench bench(with_two_paths().load());
  bench.watch().plugin("spare", true, "");
  const std::string what = ", nothing is wrong: this is to prove that it reaches you. No answer needed.\n";
  const std::string ready = "ines text 0 Ready for the night. H1 day 1. All probes live. On duty: ines.\n";
  bench.run_to(march(3, 21));
  EXPECT_EQ(bench.told(true), "20:50:00 ines text 0 TEST of modem" + what + "20:50:00 ines text 0 TEST of spare" + what + "21:00:00 " + ready);
  EXPECT_EQ(states(bench.watch()), "modem up\nspare up\n");
  // The summary has proven the modem since; a test that fails is said.
  bench.outcome = [&bench](const Delivery& delivery) {
    bench.watch().handed(delivery.id, delivery.only_path.empty() ? "modem" : delivery.only_path);
    return delivery.only_path == "spare" ? Outcome::failed : Outcome::sent;
  };
  bench.restart(bench.watch().snapshot(), 1s);
  bench.watch().plugin("spare", true, "");
  bench.run_to(march(4, 20, 45));
  static_cast<void>(bench.told());
  bench.run_to(march(4, 21));
  const std::string told = bench.told(true);
  EXPECT_EQ(told.find("TEST of modem"), std::string::npos) << told;
  EXPECT_NE(told.find("TEST of spare"), std::string::npos) << told;
  EXPECT_NE(told.find("NOT ready for the night: spare failed last time"), std::string::npos) << told;
}

TEST(Paths, TheOnlyOneLeftIsTestedMoreOftenInWakingHours) {
  Bench bench(with_two_paths().load());
  bench.watch().plugin("spare", true, "");
  bench.run_to(march(3, 22));
  static_cast<void>(bench.told());
  bench.watch().plugin("modem", false, "no answer");
  carry(bench, "spare", Outcome::sent);
  bench.run_to(march(4, 19));
  std::vector<int> hours;
  for (const Effect& effect : bench.effects()) {
    if (effect.kind != Effect::Kind::delivery || effect.delivery->only_path != "spare" || effect.delivery->outcome != Outcome::open) continue;
    hours.push_back(static_cast<int>(std::chrono::floor<std::chrono::hours>(effect.time.time_since_epoch() % 24h).count()));
  }
  // Before the evening check; then as people get up. From there on the alarm about the modem goes over it and proves it.
  EXPECT_EQ(hours, (std::vector<int>{20, 5}));
}

TEST(Paths, AnotherOneThatIsTriedShowsThatTheFirstFailed) {
  Bench bench(with_two_paths().load());
  bench.watch().plugin("spare", true, "");
  bench.outcome = [&](const Delivery& delivery) {
    bench.watch().handed(delivery.id, "modem");
    bench.watch().handed(delivery.id, "spare");
    return Outcome::delivered;
  };
  bench.air(28);
  bench.run_to(march(3, 20, 7));
  EXPECT_EQ(states(bench.watch()), "modem suspect\nspare up 20:06\n");
}

TEST(Paths, ThatFailThriceAreSaidToBeDownAndGoodAfterASuccess) {
  Bench bench(with_two_paths().load());
  carry(bench, "modem", Outcome::failed);
  bench.air(28);
  bench.run_to(march(3, 20, 8));
  ASSERT_TRUE(bench.has_alarm("path-down"));
  EXPECT_EQ(bench.alarm("path-down").detail.substr(0, 17), "modem has failed ");
  carry(bench, "modem", Outcome::sent);
  bench.run_to(march(3, 20, 15));
  EXPECT_FALSE(bench.alarm("path-down").life.condition());
}

TEST(Paths, WhenAllFailForAnHourPeopleHearOnceWhatStands) {
  Bench bench;
  bench.watch().plugin("modem", false, "no network");
  bench.outcome = [](const Delivery&) { return Outcome::failed; };
  bench.air(28);
  bench.set("house-1/relative_humidity/centre", 95);
  bench.set("house-2/air_temperature/east", 41);
  bench.run_to(march(3, 21, 7, 10));
  static_cast<void>(bench.texts());
  bench.outcome = [](const Delivery&) { return Outcome::delivered; };
  bench.watch().plugin("modem", true, "");
  bench.run_to(march(3, 21, 8));
  std::map<std::string, int> told;
  for (const std::string& text : bench.texts()) {
    for (const char* what : {"H1 COLD", "H1 DAMP AIR", "H2 HOT"}) told[what] += text.find(what) != std::string::npos;
  }
  // Three people, each of each once.
  EXPECT_EQ(told, (std::map<std::string, int>{{"H1 COLD", 3}, {"H1 DAMP AIR", 3}, {"H2 HOT", 3}}));
}

// --- floods -------------------------------------------------------------------------------------------------

/// Twelve houses whose air is too dry at `soon`, two of which are too hot as well.
FarmTexts with_many_houses() {
  FarmTexts texts;
  std::string houses;
  for (int i = 10; i < 22; ++i) {
    houses += "  shed-" + std::to_string(i) + ":\n    probes: {air_temperature: [east], carbon_dioxide: [east]}\n";
  }
  FarmTexts::change(texts.farm, "  house-2:\n    probes:\n      air_temperature: [east]\n", houses);
  FarmTexts::change(texts.yard, "rules:\n", R"(rules:
  stuffy:
    about: Air too stuffy
    watch: carbon_dioxide
    high: 3000 ppm
    priority: soon
    respond_within: 4 h
    do: Air the house.
)");
  return texts;
}

TEST(Flood, IsOneTextWithCountsAndTheUrgentOnesSpelledOut) {
  Bench bench(with_many_houses().load());
  bench.run_to(march(3, 20, 1));
  for (int i = 10; i < 22; ++i) bench.set("shed-" + std::to_string(i) + "/carbon_dioxide/east", 4000);
  bench.set("shed-11/air_temperature/east", 41);
  bench.set("shed-12/air_temperature/east", 42);
  bench.run_to(march(3, 20, 20));
  std::vector<std::string> texts = bench.texts();
  std::size_t to_ines = 0;
  for (const std::string& text : texts) {
    EXPECT_LE(gsm_length(text), kTextSeptetsMax);
    to_ines += text.find("CO2") != std::string::npos;
  }
  // One for the first that came, and no eleven more.
  EXPECT_LE(to_ines, 2U);
  const auto counted = std::find_if(texts.begin(), texts.end(), [](const std::string& text) { return text.find(" alarms, ") != std::string::npos; });
  ASSERT_NE(counted, texts.end());
  bool spelled = false;
  for (const std::string& text : texts) spelled = spelled || (text.find("S11 HOT 41 C") != std::string::npos);
  EXPECT_TRUE(spelled);
  bench.reply("ines", "OK");
  EXPECT_TRUE(bench.alarm("stuffy").life.stands());
  // What answers a person is no alarm, and is not counted among them.
  bench.run(1min);
  static_cast<void>(bench.texts());
  for (const char* text : {"STATUS", "UNDO", "HELP"}) bench.reply("maud", text);
  bench.run(30s);
  std::string answers;
  for (const std::string& text : bench.texts()) answers += text + "\n";
  EXPECT_EQ(answers.find("0 alarms"), std::string::npos) << answers;
  EXPECT_NE(answers.find("; "), std::string::npos) << answers;
}

// --- drills -------------------------------------------------------------------------------------------------

TEST(Drill, IsMarkedGoesThroughTheStepsAndEndsWithAnAnswer) {
  Bench bench;
  EXPECT_EQ(bench.watch().drill("", "").text, "Drill E6 goes to whoever is next in the call-out. It needs an answer by 20:15.");
  EXPECT_FALSE(bench.watch().drill("", "").done);
  bench.run_to(march(3, 20, 4));
  EXPECT_EQ(bench.told(true),
            "20:00:00 ines text 1 TEST, a drill: nothing is wrong. Reply OK E6\n"
            "20:00:00 ines call 1 TEST, a drill: nothing is wrong. Reply OK E6\n"
            "20:03:00 ines text 2 TEST, a drill: nothing is wrong. Reply OK E6\n"
            "20:03:00 tomas text 2 TEST, a drill: nothing is wrong. Reply OK E6\n");
  bench.reply("tomas", "ok e6");
  EXPECT_EQ(bench.told(true),
            "20:04:00 ines text 0 TEST is over: tomas answered after 4 min.\n"
            "20:04:00 tomas text 0 You have TEST, a drill: nothing is wrong (E6).\n");
  EXPECT_TRUE(bench.watch().alarms().empty());
  bench.run_to(march(3, 20, 30));
  EXPECT_EQ(bench.told(), "");
  bench.run_to(march(4, 6, 31));
  EXPECT_NE(bench.texts().back().find("Drill: call-out answered after 4 min, tomas answered after 4 min."), std::string::npos);
}

TEST(Drill, OfOnePersonOverOnePathThatNobodyAnswersIsATroubleUntilOneIsAnswered) {
  Bench bench(with_two_paths().load());
  EXPECT_EQ(bench.watch().drill("nobody", "").text, "The farm has no person 'nobody'.");
  EXPECT_EQ(bench.watch().drill("ines", "climate").text, "No plugin 'climate' of farm.yaml carries messages.");
  EXPECT_TRUE(bench.watch().drill("ines", "modem").done);
  std::set<std::string> paths;
  bench.outcome = [&](const Delivery& delivery) {
    paths.insert(delivery.only_path);
    return Outcome::sent;
  };
  bench.run_to(march(3, 20, 14));
  EXPECT_EQ(paths, (std::set<std::string>{"modem"}));
  const std::string told = bench.told();
  EXPECT_NE(told, "");
  EXPECT_EQ(told.find("tomas"), std::string::npos) << told;
  bench.run_to(march(3, 20, 17));
  EXPECT_NE(bench.events().find("20:16:00 drilled ines\n"), std::string::npos);
  ASSERT_TRUE(bench.has_alarm("drill-unanswered"));
  EXPECT_EQ(bench.alarm("drill-unanswered").detail, "ines has not answered the drill of 20:00");
  std::vector<std::string> faults;
  static_cast<void>(bench.watch().evening_text(&faults));
  EXPECT_NE(std::find(faults.begin(), faults.end(), "ines did not answer the last drill"), faults.end());
  bench.restart(bench.watch().snapshot(), 1s);
  EXPECT_TRUE(bench.watch().drill("ines", "").done);
  bench.settle();
  bench.reply("ines", "OK");
  EXPECT_FALSE(bench.alarm("drill-unanswered").life.condition());
}

}  // namespace
}  // namespace underwing
