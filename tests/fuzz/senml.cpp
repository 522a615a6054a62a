// SenML lines: each is refused with a reason, or gives finite numbers with a time; written again they read the same.
#include <cmath>
#include <cstdint>
#include <cstdlib>
#include <string>
#include <string_view>

#include "daemon/senml.hpp"

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
  using namespace underwing;
  static SenmlParser parser, again;
  const std::string_view line(reinterpret_cast<const char*>(data), size);
  const Instant now{std::chrono::hours(492'000)};
  const auto pack = parser.parse(line, now);
  if (!pack.ok()) {
    if (pack.error().empty()) std::abort();
    return 0;
  }
  for (const SenmlRecord& record : pack->records) {
    if (!std::isfinite(record.value)) std::abort();
    std::string written;
    if (!append_senml(written, record)) std::abort();
    const auto read = again.parse(written, now);
    if (!read.ok() || read->records.size() != 1 || read->records[0].value != record.value || read->records[0].name != record.name) std::abort();
  }
  return 0;
}
