// Goal: the engine and the brute-force evaluator, which share no code, find the same events in the same
// order. Method: farms, packs and tapes made up from seeds. UNDERWING_SEEDS says how many (left out: as many
// as fit into about ten seconds), UNDERWING_FIRST_SEED where to begin.

#include <fmt/format.h>
#include <gtest/gtest.h>

#include <cmath>
#include <cstdlib>

#include "rules/engine/engine.hpp"
#include "tests/reference/brute_force.hpp"
#include "tests/reference/random_farm.hpp"

namespace underwing {
namespace {

ReferenceEvent converted(const Event& event, const RuleSet& rules) {
  ReferenceEvent it;
  it.time = event.time;
  it.event = to_string(event.kind);
  it.house = rules.houses[event.house].name;
  if (event.rule) {
    it.rule = rules.rules[*event.rule].name;
    it.priority = event.priority;
    if (event.probe) it.probe = rules.probes[*event.probe].name;
    it.reason = event.reason == Reason::none ? "" : to_string(event.reason);
    it.value = event.value;
    it.limit = event.limit;
  } else {
    const Probe& probe = rules.probes[*event.probe];
    it.series = rules.measures[probe.measure].name + '/' + probe.name;
    if (event.kind == Event::Kind::rejected) it.test = to_string(event.test);
  }
  return it;
}

std::vector<ReferenceEvent> run_engine(const std::shared_ptr<const RuleSet>& rules,
                                       const std::vector<ReferenceInput>& inputs) {
  Engine engine(rules);
  for (const ReferenceInput& input : inputs) {
    const bool reading = input.kind == ReferenceInput::Kind::reading;
    const bool work = input.kind == ReferenceInput::Kind::work;
    if (!engine.begun()) engine.begin(reading ? input.reading.time : input.time);
    if (reading) {
      engine.take(input.reading.probe, input.reading.time, input.reading.value);
    } else {
      engine.advance(input.time);
      if (work) engine.set_work(input.house, input.until);
    }
  }
  engine.finish();
  std::vector<ReferenceEvent> events;
  for (const Event& event : engine.events()) {
    if (event.kind == Event::Kind::ran_back) continue;
    events.push_back(converted(event, *rules));
  }
  return events;
}

bool same_number(const std::optional<double>& left, const std::optional<double>& right) {
  if (left.has_value() != right.has_value()) return false;
  return !left || std::abs(*left - *right) <= 1e-9 * std::max(1.0, std::abs(*left));
}

/// Nothing is said about the limit of `returned`, where several may end at once.
bool same_limit(const ReferenceEvent& left, const ReferenceEvent& right) {
  return left.event == "returned" || same_number(left.limit, right.limit);
}

bool same_event(const ReferenceEvent& left, const ReferenceEvent& right) {
  return left.time == right.time && left.event == right.event && left.house == right.house &&
         left.rule == right.rule && left.probe == right.probe && left.priority == right.priority &&
         left.reason == right.reason && left.test == right.test && left.series == right.series &&
         same_number(left.value, right.value) && same_limit(left, right);
}

/// The first difference with the lines before it; empty: none.
std::string first_difference(const std::vector<ReferenceEvent>& engine,
                             const std::vector<ReferenceEvent>& reference) {
  std::size_t at = 0;
  while (at < engine.size() && at < reference.size() && same_event(engine[at], reference[at])) ++at;
  if (at == engine.size() && at == reference.size()) return "";
  std::string text;
  for (std::size_t i = at > 4 ? at - 4 : 0; i < at; ++i)
    text += "  both       " + to_text(reference[i]) + '\n';
  for (std::size_t i = at; i < std::min(at + 3, reference.size()); ++i)
    text += "  reference  " + to_text(reference[i]) + '\n';
  for (std::size_t i = at; i < std::min(at + 3, engine.size()); ++i)
    text += "  engine     " + to_text(engine[i]) + '\n';
  return text;
}

std::string all_texts(const FarmFiles& files) {
  std::string text;
  for (const auto& [path, pack] : files.packs) text += "--- " + path + '\n' + pack;
  for (const auto& [path, flock] : files.flocks) text += "--- " + path + '\n' + flock;
  return text + "--- farm.yaml\n" + files.farm_text;
}

/// What differs for one seed; empty: nothing.
std::string compare(std::uint64_t seed, std::size_t& event_count) {
  Dice dice(seed);
  const RandomFarm farm = random_farm(dice);
  const Loaded loaded = load_farm(farm.files, random_farm_zone);
  if (!loaded.ok()) {
    std::string text = "the made-up farm does not load:\n";
    for (const Issue& issue : loaded.issues)
      text += fmt::format("{}:{}: {}\n", issue.file, issue.line, issue.text);
    return text + all_texts(farm.files);
  }
  const std::vector<ReferenceInput> tape = random_tape(*loaded.rules, farm, dice);
  const std::vector<ReferenceEvent> reference = run_reference(*loaded.rules, tape);
  event_count += reference.size();
  const std::string difference = first_difference(run_engine(loaded.rules, tape), reference);
  return difference.empty() ? "" : difference + all_texts(farm.files);
}

std::uint64_t number_from_environment(const char* name, std::uint64_t otherwise) {
  const char* text = std::getenv(name);
  return text == nullptr ? otherwise : std::strtoull(text, nullptr, 10);
}

TEST(Reference, EngineFindsTheSameEvents) {
  const std::uint64_t first = number_from_environment("UNDERWING_FIRST_SEED", 1);
  const std::uint64_t wanted = number_from_environment("UNDERWING_SEEDS", 0);
  const auto begin = std::chrono::steady_clock::now();
  std::uint64_t seed = first;
  std::size_t event_count = 0;
  const auto more = [&] {
    if (wanted > 0) return seed - first < wanted;
    return std::chrono::steady_clock::now() - begin < std::chrono::seconds(10);
  };
  for (; more(); ++seed) {
    const std::string difference = compare(seed, event_count);
    if (!difference.empty()) FAIL() << "seed " << seed << '\n' << difference;
  }
  EXPECT_GT(event_count, 0U) << "tapes without events compare nothing";
  RecordProperty("seeds", std::to_string(seed - first));
  fmt::print("{} seeds from {}, {} events, all the same\n", seed - first, first, event_count);
}

}  // namespace
}  // namespace underwing
