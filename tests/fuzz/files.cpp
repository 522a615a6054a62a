// Farm, flock and pack files: whatever stands in one, the loader answers with issues in their place.
#include <cstdint>
#include <cstdlib>
#include <string>

#include "rules/files/load.hpp"

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
  const std::string text(reinterpret_cast<const char*>(data), size);
  const auto zones = [](const std::string&) { return std::optional<underwing::Zone>(underwing::Zone{}); };
  for (const underwing::Issue& issue : underwing::check_file("file.yaml", text, zones)) {
    if (issue.line == 0 || issue.column == 0 || issue.text.empty()) std::abort();
    static_cast<void>(underwing::to_text(issue, text));
  }
  return 0;
}
