// Runs peer.mjs under node with the rules and readings in two files of a folder that holds node_modules.
#include <fmt/format.h>

#include <cstdio>
#include <filesystem>
#include <fstream>
#include <memory>
#include <nlohmann/json.hpp>

#include "tests/bench/peer_rules.hpp"

namespace underwing {

namespace {

std::string output_of(const std::string& command) {
  const std::unique_ptr<FILE, int (*)(FILE*)> pipe(popen(command.c_str(), "r"), pclose);
  std::string text;
  for (int c = 0; pipe && (c = std::fgetc(pipe.get())) != EOF;) text += static_cast<char>(c);
  return text;
}

}  // namespace

Peer run_json_rules_engine(const RuleSet& rules, const std::vector<BenchReading>& readings, const std::string& folder) {
  if (!std::filesystem::exists(folder + "/node_modules/json-rules-engine")) {
    return {0, 0, {}, "it is not installed there; see tests/bench/README.md"};
  }
  nlohmann::json rule_list = nlohmann::json::array(), reading_list = nlohmann::json::array();
  for (const PeerRule& rule : kPeerRules) {
    rule_list.push_back({{"name", rule.name}, {"measure", rule.measure}, {"low", rule.low}, {"limit", rule.limit}});
  }
  for (const BenchReading& reading : readings) {
    reading_list.push_back({reading.probe, rules.measures[rules.probes[reading.probe].measure].name, reading.value});
  }
  std::ofstream(folder + "/rules.json") << rule_list.dump();
  std::ofstream(folder + "/readings.json") << reading_list.dump();
  std::filesystem::copy_file(UNDERWING_BENCH_FOLDER "/peer.mjs", folder + "/peer.mjs",
                             std::filesystem::copy_options::overwrite_existing);
  const auto answer = nlohmann::json::parse(
      output_of(fmt::format("cd '{}' && node peer.mjs rules.json readings.json", folder)), nullptr, false);
  if (!answer.is_object()) return {0, 0, {}, "node did not run it"};
  return {readings.size(), answer.at("seconds"), answer.at("verdicts").get<Verdicts>(), ""};
}

}  // namespace underwing
