// Goal: the brute-force evaluator behaves as the rules of order say, in scenarios small enough to follow by
// hand. Method: one rule, a tape of a few lines, and the events expected. Times are minutes and seconds after
// 10:00 UTC, which is half an hour after placement; probes are named by one letter.

#include "tests/reference/brute_force.hpp"

#include <fmt/format.h>
#include <gtest/gtest.h>

#include <sstream>

#include "tests/reference/small_farm.hpp"

namespace underwing {
namespace {

using std::chrono::hours;

constexpr Instant kBegin{std::chrono::sys_days{std::chrono::year{2026} / 3 / 2} + hours(10)};

struct Scenario {
  const char* name;
  const char* measures;  ///< keys of air_temperature beside its built-in ones
  const char* rule;      ///< lines of the rule
  const char* tape;      ///< "05:00 a 31" or "05:00 clock"
  const char* events;    ///< "05:00 raised low"
};

constexpr const char* kProbes = R"(      air_temperature: [a]
      ammonia: [e, f]
      mains: [m]
      water: [w]
)";

std::string pack_text(const Scenario& it) {
  std::string text = fmt::format(
      "format: 1\npack: small\nmeasures:\n  air_temperature: {{{}}}\nrules:\n  r:\n    about: Made up\n",
      it.measures);
  std::istringstream lines(it.rule);
  for (std::string line; std::getline(lines, line);) text += "    " + line + '\n';
  return text + "    respond_within: 30 min\n    do: Look at the birds.\n";
}

Instant time_of(const std::string& word) {
  return kBegin + std::chrono::minutes(std::stoi(word.substr(0, 2))) +
         std::chrono::seconds(std::stoi(word.substr(3, 2)));
}

std::vector<ReferenceInput> tape_of(const char* text, const RuleSet& rules) {
  const std::map<std::string, std::string> names = {{"a", "h/air_temperature/a"},
                                                    {"e", "h/ammonia/e"},
                                                    {"f", "h/ammonia/f"},
                                                    {"m", "h/mains/m"},
                                                    {"w", "h/water/w"}};
  std::vector<ReferenceInput> inputs;
  std::istringstream lines(text);
  for (std::string time, word; lines >> time >> word;) {
    ReferenceInput input;
    input.time = time_of(time);
    if (word != "clock") {
      input.kind = ReferenceInput::Kind::reading;
      input.reading = {rules.find_probe(names.at(word)).value(), input.time, 0};
      lines >> input.reading.value;
    }
    inputs.push_back(input);
  }
  return inputs;
}

std::string in_short(const std::vector<ReferenceEvent>& events) {
  std::string text;
  for (const ReferenceEvent& event : events) {
    const auto seconds = std::chrono::duration_cast<std::chrono::seconds>(event.time - kBegin).count();
    if (!text.empty()) text += '\n';
    text += fmt::format("{:02}:{:02} {}", seconds / 60, seconds % 60, event.event);
    for (const std::string& word : {event.reason, event.test}) text += (word.empty() ? "" : " ") + word;
    if (event.event == "worsened" || event.event == "eased")
      text += fmt::format(" {}", to_string(*event.priority));
  }
  return text;
}

class ReferenceScenario : public testing::TestWithParam<Scenario> {};

TEST_P(ReferenceScenario, GivesTheEvents) {
  const Scenario& it = GetParam();
  const Loaded loaded = load_farm(small_farm(kProbes, pack_text(it)), [](const std::string&) { return Zone{}; });
  for (const Issue& issue : loaded.issues) {
    if (issue.severity == Issue::Severity::error)
      ADD_FAILURE() << issue.file << ':' << issue.line << ": " << issue.text;
  }
  ASSERT_TRUE(loaded.ok());
  EXPECT_EQ(in_short(run_reference(*loaded.rules, tape_of(it.tape, *loaded.rules))), it.events);
}

constexpr const char* kStale = "stale_after: 5 min";
constexpr const char* kStaged =
    "watch: highest(ammonia)\nlimits:\n  - {high: 10 ppm, priority: note}\n"
    "  - {high: 20 ppm, priority: soon}\n  - {high: 40 ppm, priority: urgent}";

const Scenario kScenarios[] = {
    {"ReadingAtTheEndOfADelayBreaksIt", kStale,
     "watch: air_temperature\nlow: 30 °C\non_delay: 1 min\npriority: note",
     "00:00 a 29 01:00 a 31 02:00 clock", ""},
    {"ReadingAtTheEndOfADelayKeepsIt", kStale,
     "watch: air_temperature\nlow: 30 °C\non_delay: 1 min\npriority: note",
     "00:00 a 29 01:00 a 29.5 02:00 clock", "01:00 raised low"},
    {"DelayEndsWhereTheTapeEnds", kStale,
     "watch: air_temperature\nlow: 30 °C\non_delay: 1 min\npriority: note", "00:00 a 29 01:00 clock",
     "01:00 raised low"},
    {"NumbersThatDifferByRoundingAreEqual", kStale,
     "watch: air_temperature\nlow: 30.3 °C - 0.1 K\npriority: note", "00:00 a 30.2 01:00 a 30.19",
     "01:00 raised low"},
    {"ReturnNeedsTheDeadband", kStale, "watch: air_temperature\nlow: 30 °C\ndeadband: 1 K\npriority: note",
     "00:00 a 29 01:00 a 30.5 02:00 a 31", "00:00 raised low\n02:00 returned"},
    {"UnknownLetsOnDelayGoOn", kStale, "watch: air_temperature\nlow: 30 °C\non_delay: 8 min\npriority: note",
     "00:00 a 29 09:00 clock", "08:00 raised low"},
    {"UnknownBreaksOffDelay", kStale, "watch: air_temperature\nlow: 30 °C\noff_delay: 8 min\npriority: note",
     "00:00 a 29 01:00 a 31 08:00 a 31 12:00 a 31 16:00 a 31 17:00 clock",
     "00:00 raised low\n16:00 returned"},
    {"StagedLimitsGiveOneEventOfTheWorst", kStale, kStaged, "00:00 e 25 01:00 e 45 02:00 e 15 03:00 e 5",
     "00:00 raised high\n01:00 worsened high urgent\n02:00 eased high note\n03:00 returned"},
    {"StagedLimitsThatAreNotWorseSayNothing", kStale, kStaged, "00:00 e 45 01:00 e 15 02:00 e 25",
     "00:00 raised high\n01:00 eased high note\n02:00 worsened high soon"},
    {"BlindUntilItHasSeenForTwoMinutes", kStale,
     "watch: air_temperature\nlow: 30 °C\nblind_after: 1 min\npriority: note",
     "00:00 clock 02:00 a 31 04:00 clock", "01:00 blind\n04:00 sees"},
    {"AWindowThatIsFillingIsNotBlind", kStale,
     "watch: mean(air_temperature over 10 min)\nlow: 30 °C\nblind_after: 1 min\npriority: note",
     "00:00 a 31 03:00 a 31 06:00 a 31 09:00 a 31 12:00 clock", ""},
    {"ALateFirstReadingMovesTheStartOfCountingBack", kStale,
     "watch: mean(mean(ammonia over 10 min))\nhigh: 20 ppm\nblind_after: 1 min\npriority: note",
     "03:00 e 5 01:00 f 5 13:00 clock", "12:00 blind"},
    {"BlindForMoreThanHalfAnHourOfAnHour", kStale,
     "watch: air_temperature\nlow: 30 °C\nblind_after: 8 min\npriority: note",
     "00:00 a 31 12:00 a 31 24:00 a 31 36:00 a 31 48:00 a 31 57:00 clock", "56:00 blind"},
    {"NotWatchedReturnsAfterOffDelay", kStale,
     "watch: air_temperature\nlow: 30 °C\noff_delay: 2 min\nonly_if: mains is on\npriority: note",
     "00:00 m 1 00:00 a 29 01:00 m 0 03:00 clock", "00:00 raised low\n03:00 returned not watched"},
    {"AgesBeginAndEnd", kStale,
     "watch: air_temperature\nlow: 30 °C\nfrom: 1870 s\nuntil: 1990 s\npriority: note",
     "00:00 a 29 04:00 clock", "01:10 raised low\n03:10 returned not watched"},
    {"AheadIsToldAndThenTheLimitItself", kStale,
     "watch: air_temperature\nlow: 30 °C\nahead: 15 min\npriority: note",
     "00:00 a 32 01:00 a 31.9 02:00 a 31.8 03:00 a 31.7 04:00 a 31.6 05:00 a 31.5 06:00 a 31.4 07:00 a 31.3 "
     "08:00 a 31.2 "
     "09:00 a 31.1 10:00 a 31 11:00 a 30.9 12:00 a 30.8 13:00 a 30.7 14:00 a 30.6 15:00 a 30.5 16:00 a 30.4 "
     "17:00 a 30.3 "
     "18:00 a 30.2 19:00 a 30.1 20:00 a 30 21:00 a 29.9",
     "07:00 raised ahead\n21:00 worsened low note"},
    {"QualityTests", "stale_after: 5 min, flat_after: 4 min, max_rate: 1 K/min",
     "watch: air_temperature\nlow: 10 °C\npriority: note",
     "00:00 a 30 01:00 a 30 02:00 a 30 03:00 a 30 04:00 a 30 05:00 a 30.1 06:00 a 99 07:00 a 30 08:00 a 31.5 "
     "09:00 a 31.5",
     "04:00 rejected flat line\n05:00 accepted\n06:00 rejected gross range\n07:00 accepted\n08:00 rejected "
     "rate of change\n"
     "09:00 accepted"},
    // The example of wqptools, with limits of 4 and 6 readings: three equal ones pass, of eight the sixth fails. Its first
    // limit, a mere suspicion, has no counterpart here.
    {"FlatLineOfSixReadings", "stale_after: 5 min, flat_after: 5 min", "watch: air_temperature\nlow: 10 °C\npriority: note",
     "00:00 a 30 01:00 a 30 02:00 a 30 03:00 a 30.5 04:00 a 31 05:00 a 31 06:00 a 31 07:00 a 31 08:00 a 31 09:00 a 31 "
     "10:00 a 31 11:00 a 31 12:00 a 31.2",
     "09:00 rejected flat line\n12:00 accepted"},
    {"ReadingsOlderThanTheirSeriesChangeNothing", kStale,
     "watch: air_temperature\nlow: 30 °C\npriority: note", "00:00 a 31 02:00 a 31 01:00 a 29 02:00 a 29", ""},
    {"LateReadingsCountAtEngineTime", kStale, "watch: air_temperature\nlow: 30 °C\npriority: note",
     "00:00 a 31 02:00 clock 01:00 a 29", "02:00 raised low"},
    {"CountersThatRestartGrowFromZero", kStale, "watch: total(water over 10 min)\nhigh: 6 L\npriority: note",
     "00:00 w 100 02:00 w 102 04:00 w 1 06:00 w 0.9 08:00 w 3.9 09:00 w 4", "09:00 raised high"},
    {"SlopeWaitsForHalfItsWindow", kStale,
     "watch: slope(air_temperature over 10 min)\nhigh: 5 K/h\npriority: note",
     "00:00 a 30 01:00 a 30.1 02:00 a 30.2 03:00 a 30.3 04:00 a 30.4 05:00 a 30.5 06:00 a 30.6",
     "05:00 raised high"},
    {"HalfOfTheProbesAreEnough", kStale,
     "watch: mean(ammonia)\nhigh: 20 ppm\nblind_after: 1 min\npriority: note",
     "00:00 e 30 00:30 clock 04:00 e 10 06:00 clock", "00:00 raised high\n04:00 returned"},
    {"ConditionsKnowUnknown", kStale, "when: mains is off or air_temperature < 30 °C\npriority: urgent",
     "00:00 a 31 01:00 m 1 02:00 m 0 03:00 m 1", "02:00 raised when\n03:00 returned"},
};

INSTANTIATE_TEST_SUITE_P(All, ReferenceScenario, testing::ValuesIn(kScenarios),
                         [](const auto& tested) { return std::string(tested.param.name); });

}  // namespace
}  // namespace underwing
