// write_tape FOLDER HOUSES DAYS [PLUGINS]: an invented farm with a tape, for replay_bench and ingest_bench. Writes
// FOLDER/farm.yaml, FOLDER/flocks/ and FOLDER/tapes/*.senml.zst, hour by hour in blocks of ten seconds as the daemon
// writes them, only without waiting for the disk; and FOLDER/lines.senml, the same readings as plain lines, as a
// plugin sends them. PLUGINS: the text that stands for the plugins in farm.yaml.
#include <fmt/format.h>
#include <zstd.h>

#include <cstdlib>
#include <filesystem>
#include <fstream>
#include <memory>

#include "daemon/senml.hpp"
#include "daemon/tape.hpp"
#include "tests/bench/made_up_farm.hpp"

namespace {

using namespace underwing;

void write_text(const std::filesystem::path& path, const std::string& text) {
  std::filesystem::create_directories(path.parent_path());
  std::ofstream(path, std::ios::binary) << text;
}

std::string line_of(const BenchReading& reading, const RuleSet& rules) {
  const std::string name = rules.full_name(reading.probe);
  const std::string& unit = rules.probes[reading.probe].quality.unit.text;
  SenmlRecord record;
  record.name = name;
  if (unit == "°C") record.unit = "Cel";
  else if (unit == "%") record.unit = "%RH";
  else if (!unit.empty()) record.unit = unit;
  record.value = reading.value;
  record.time = reading.time;
  std::string line;
  if (!append_senml(line, record)) std::abort();
  return line + '\n';
}

std::string compressed(const std::string& text) {
  const std::unique_ptr<ZSTD_CCtx, std::size_t (*)(ZSTD_CCtx*)> context(ZSTD_createCCtx(), ZSTD_freeCCtx);
  ZSTD_CCtx_setParameter(context.get(), ZSTD_c_compressionLevel, 1);
  ZSTD_CCtx_setParameter(context.get(), ZSTD_c_checksumFlag, 1);
  std::string frame(ZSTD_compressBound(text.size()), '\0');
  frame.resize(ZSTD_compress2(context.get(), frame.data(), frame.size(), text.data(), text.size()));
  return frame;
}

void write_tapes(const std::filesystem::path& folder, const RuleSet& rules, const std::vector<BenchReading>& readings) {
  std::filesystem::create_directories(folder / "tapes");
  std::ofstream lines(folder / "lines.senml", std::ios::binary);
  std::ofstream tape;
  std::string hour, block;
  Instant block_end{};
  const auto close_block = [&] {
    if (!block.empty()) tape << compressed(block);
    block.clear();
  };
  for (const BenchReading& reading : readings) {
    if (reading.time >= block_end) {
      close_block();
      block_end = reading.time + std::chrono::seconds(10);
      if (const std::string now = tape_hour(reading.time); now != hour) {
        hour = now;
        tape = std::ofstream(folder / "tapes" / (hour + ".senml.zst"), std::ios::binary);
        append_senml_mark(block, "watch/zone", std::nullopt, rules.farm.zone.version);
        block += '\n';
        append_senml_mark(block, "watch/rules", reading.time, rules.hash);
        block += '\n';
      }
    }
    const std::string line = line_of(reading, rules);
    block += line;
    lines << line;
  }
  close_block();
}

}  // namespace

int main(int argc, char** argv) {
  if (argc != 4 && argc != 5) {
    fmt::print(stderr, "usage: write_tape FOLDER HOUSES DAYS [PLUGINS]\n");
    return 2;
  }
  const std::filesystem::path folder = argv[1];
  FarmFiles files = made_up_farm(std::strtoul(argv[2], nullptr, 10), kFlockPacks);
  if (argc == 5) files.farm_text.replace(files.farm_text.find(kPluginsText), std::string(kPluginsText).size(), argv[4]);
  const auto rules = load_or_exit(files);
  write_text(folder / "farm.yaml", files.farm_text);
  for (const auto& [path, text] : files.flocks) write_text(folder / path, text);
  const auto readings = made_up_readings(*rules, std::chrono::hours(24 * std::strtol(argv[3], nullptr, 10)));
  write_tapes(folder, *rules, readings);
  fmt::print("{}\n", readings.size());
}
