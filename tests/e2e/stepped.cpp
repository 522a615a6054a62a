#include "tests/e2e/stepped.hpp"

#include <fmt/format.h>

#include <filesystem>
#include <fstream>
#include <stdexcept>

namespace underwing::test {
namespace {

constexpr const char* kFlock = R"(format: 1
flock: spring
house: house-1
placed: 2026-03-06 09:30
birds: 17000
chick_weight: 42 g
packs: [own]
)";

}  // namespace

SteppedGateway::SteppedGateway() : Gateway(FarmText{}) {
  std::filesystem::copy_file(std::string(UNDERWING_SOURCE_DIR) + "/tests/e2e/hand_on.sh", path("hand_on.sh"));
}

std::string SteppedGateway::plugin_entry() const {
  return fmt::format("climate: {{run: {}, arguments: [{}, {}]}}", path("hand_on.sh"), path("lines"), path("said"));
}

void SteppedGateway::write(const std::string& name, const std::string& text) const { std::ofstream(path(name)) << text; }

void SteppedGateway::begin(const std::string& farm, const std::string& pack, const std::string& reading) {
  write("said", "");
  write("lines", reading);
  write("farm/farm.yaml", farm);
  write("farm/flocks/spring.yaml", kFlock);
  write("farm/rules/own.yaml", pack);
  start("", "--time-from-readings");
}

void SteppedGateway::step(const std::string& reading, long long seconds) {
  std::ofstream(path("lines"), std::ios::app)
      << reading << fmt::format("{{\"jsonrpc\":\"2.0\",\"id\":{},\"method\":\"step\",\"params\":{{\"time\":{}}}}}\n", ++steps_, seconds);
  const std::string settled = fmt::format("\"id\":{},", steps_);
  if (!wait_until([&] { return read_file(path("said")).find(settled) != std::string::npos; })) throw std::runtime_error("a minute is not settled: " + log());
}

}  // namespace underwing::test
