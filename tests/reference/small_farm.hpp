#pragma once

#include <string>

#include "rules/files/load.hpp"

namespace underwing {

/// Texts of a farm for scenarios made by hand: one house `h` with these probes (lines of a farm file), one flock, placed at 09:30 UTC
/// on 2 March 2026, and one pack, `small`. All of it is invented.
[[nodiscard]] inline FarmFiles small_farm(const std::string& probes, const std::string& pack) {
  FarmFiles files;
  files.farm_path = "farm.yaml";
  files.farm_text = "format: 1\nfarm: Made Up\ntime_zone: UTC\nhouses:\n  h:\n    probes:\n" + probes + R"(plugins:
  paper: {run: print}
people:
  wren: {text: "+44 7700 900101"}
duty:
  - {who: wren}
call_out:
  urgent:
    - {after: 0 min, tell: on-duty, by: text}
  soon:
    - {after: 0 min, tell: on-duty, by: text}
  note: {daily: "06:30", tell: on-duty, by: text}
)";
  files.flocks["flocks/one.yaml"] = R"(format: 1
flock: one
house: h
placed: 2026-03-02 09:30
birds: 1000
chick_weight: 42 g
packs: [small]
)";
  files.packs["rules/small.yaml"] = pack;
  return files;
}

}  // namespace underwing
