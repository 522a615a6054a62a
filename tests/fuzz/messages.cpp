// Lines from a plugin: objects that make no sense change nothing, and replies of any text leave the watch well.
#include <cstdint>
#include <nlohmann/json.hpp>
#include <string>
#include <string_view>

#include "daemon/line_buffer.hpp"
#include "daemon/plugin_messages.hpp"
#include "daemon/watch.hpp"
#include "rules/files/load.hpp"

namespace {

using namespace underwing;

std::shared_ptr<const RuleSet> rules() {
  FarmFiles files;
  files.farm_path = "farm.yaml";
  files.farm_text = R"(format: 1
farm: F
time_zone: UTC
houses:
  h1: {probes: {air_temperature: [a, b]}}
plugins: {p: {run: print}}
people:
  ines: {text: "+44 7700 900101", away: 10 min}
  tomas: {text: "+44 7700 900102"}
call_out:
  urgent: [{after: 0 min, tell: ines, by: text}, {after: 3 min, tell: everyone, by: text}]
  soon: [{after: 0 min, tell: ines, by: text}]
  note: {daily: "06:30", tell: ines, by: text}
)";
  files.flocks["f.yaml"] = "format: 1\nflock: f\nhouse: h1\nplaced: 2026-03-02 09:30\nbirds: 10\nchick_weight: 42 g\npacks: [p]\n";
  files.packs["p.yaml"] =
      "format: 1\npack: p\nrules:\n  cold-air:\n    about: Cold\n    watch: median(air_temperature)\n    low: 30 °C\n    priority: urgent\n"
      "    respond_within: 20 min\n    do: Look.\n";
  return load_farm(files, [](const std::string&) { return std::optional<Zone>(Zone{}); }).rules;
}

}  // namespace

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
  static const std::shared_ptr<const RuleSet> kRules = rules();
  Watch watch(kRules);
  const Instant begin{std::chrono::sys_days(std::chrono::year(2026) / 3 / 3)};
  watch.reading(0, begin, 20.0);
  watch.reading(1, begin, 20.0);
  LineBuffer lines(4096);
  Instant now = begin;
  lines.feed({reinterpret_cast<const char*>(data), size}, [&](std::string_view line) {
    const auto object = nlohmann::json::parse(line, nullptr, false);
    if (object.is_object() && object.contains("method") && object["method"].is_string()) {
      const auto params = object.find("params");
      take_message(watch, "phone", object["method"].get<std::string>(), params == object.end() ? nlohmann::json::object() : *params,
                   Watch::MayName::yes);
    }
    watch.advance(now += std::chrono::seconds(30));
    static_cast<void>(watch.take_effects());
  });
  Watch other(kRules);
  other.begin(begin);
  if (!other.restore(watch.snapshot())) __builtin_trap();
  return 0;
}
