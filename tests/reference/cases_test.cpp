// Goal: the brute-force evaluator gives exactly the events that the sample farms expect of their tapes.
// Method: load each folder of tests/cases, play its tape, and compare the keys that its expected.jsonl shows.

#include <gtest/gtest.h>

#include <cmath>
#include <filesystem>
#include <fstream>
#include <nlohmann/json.hpp>
#include <sstream>

#include "rules/files/load.hpp"
#include "tests/reference/brute_force.hpp"

namespace underwing {
namespace {

using nlohmann::json;
namespace fs = std::filesystem;

std::string contents(const fs::path& path) {
  std::ifstream file(path);
  std::ostringstream text;
  text << file.rdbuf();
  return text.str();
}

std::map<std::string, std::string> folder(const fs::path& path) {
  std::map<std::string, std::string> texts;
  for (const auto& entry : fs::directory_iterator(path))
    texts[entry.path().string()] = contents(entry.path());
  return texts;
}

std::optional<Zone> only_utc(const std::string& name) {
  if (name != "UTC") return std::nullopt;
  return Zone{};
}

Loaded load_case(const fs::path& farm) {
  FarmFiles files;
  files.farm_path = (farm / "farm.yaml").string();
  files.farm_text = contents(farm / "farm.yaml");
  files.flocks = folder(farm / "flocks");
  files.packs = folder(farm / "rules");
  return load_farm(files, only_utc);
}

/// Tapes of the cases hold one record a line, with absolute times.
std::vector<ReferenceInput> read_tape(const fs::path& path, const RuleSet& rules) {
  std::vector<ReferenceInput> inputs;
  std::ifstream file(path);
  for (std::string line; std::getline(file, line);) {
    for (const json& record : json::parse(line)) {
      ReferenceInput input;
      const Instant time{Duration(std::llround(record.at("t").get<double>() * 1000))};
      if (record.at("n") == "watch/clock") {
        input.time = time;
      } else {
        const std::size_t probe = rules.find_probe(record.at("n").get<std::string>()).value();
        const Unit unit = parse_senml_unit(record.value("u", "")).value();
        const double value = record.at("v").get<double>();
        input.kind = ReferenceInput::Kind::reading;
        input.reading = {probe, time, convert(value, unit, rules.probes[probe].quality.unit).value()};
      }
      inputs.push_back(input);
    }
  }
  return inputs;
}

json to_json(const ReferenceEvent& event) {
  json it{{"time", to_rfc3339(event.time)},
          {"event", event.event},
          {"house", event.house},
          {"rule", event.rule},
          {"reason", event.reason}};
  it["probe"] = event.probe ? json(*event.probe) : json(nullptr);
  it["priority"] = event.priority ? json(to_string(*event.priority)) : json(nullptr);
  return it;
}

void expect_case(const std::string& name) {
  const fs::path path = fs::path(UNDERWING_SOURCE_DIR) / "tests/cases" / name;
  const Loaded loaded = load_case(path / "farm");
  for (const Issue& issue : loaded.issues) {
    if (issue.severity == Issue::Severity::error)
      ADD_FAILURE() << issue.file << ':' << issue.line << ": " << issue.text;
  }
  ASSERT_TRUE(loaded.ok());
  const auto events = run_reference(*loaded.rules, read_tape(path / "tape.senml", *loaded.rules));

  std::vector<json> expected;
  std::ifstream file(path / "expected.jsonl");
  for (std::string line; std::getline(file, line);) expected.push_back(json::parse(line));
  ASSERT_EQ(events.size(), expected.size());
  for (std::size_t i = 0; i < expected.size(); ++i) {
    const json found = to_json(events[i]);
    for (const auto& [key, value] : expected[i].items()) {
      EXPECT_EQ(found.at(key), value) << "line " << i + 1 << ", " << key << ": " << to_text(events[i]);
    }
  }
}

TEST(ReferenceCases, HeaterFails) {
  expect_case("heater_fails");
}
TEST(ReferenceCases, AmmoniaInSteps) {
  expect_case("ammonia_in_steps");
}

}  // namespace
}  // namespace underwing
