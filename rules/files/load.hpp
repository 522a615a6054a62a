#pragma once

#include <functional>
#include <map>
#include <memory>
#include <optional>
#include <string>
#include <vector>

#include "rules/base/issue.hpp"
#include "rules/model.hpp"

namespace underwing {

/// The texts of a farm's folder, by path as it should be shown in messages. The core reads no files; whoever
/// calls does.
struct FarmFiles {
  std::string farm_path;  ///< of farm.yaml
  std::string farm_text;
  std::map<std::string, std::string> flocks;  ///< flocks/*.yaml
  std::map<std::string, std::string> packs;   ///< the farm's own rules/*.yaml
  std::map<std::string, std::string>
      shipped;  ///< packs that come with Underwing; a farm's pack of the same name takes its place
  std::map<std::string, std::string> languages{};  ///< the farm's own languages/*.yaml
  std::map<std::string, std::string> shipped_languages{};  ///< likewise: the farm's own take their place
  std::map<std::string, std::string> tables{};  ///< growth/*.csv: points of curves
};

/// Gives the zone's table for an IANA name; nullopt where there is none.
using ZoneSource = std::function<std::optional<Zone>(const std::string& name)>;

struct Loaded {
  std::shared_ptr<const RuleSet> rules;  ///< null where there is an error
  std::vector<Issue> issues;             ///< sorted by file, line, column; errors and cautions
  [[nodiscard]] bool ok() const { return rules != nullptr; }
};

/// Loads a whole farm. Reports every problem of every file at once. Only packs that a flock or the farm
/// names are resolved against houses; shipped packs that nobody names are not judged.
[[nodiscard]] Loaded load_farm(const FarmFiles& files, const ZoneSource& zones);

/// Judges a single file by what stands in it alone; the kind is told by its keys (`farm:`, `flock:`,
/// `pack:`, `language:`).
[[nodiscard]] std::vector<Issue> check_file(const std::string& path, const std::string& text,
                                            const ZoneSource& zones);

}  // namespace underwing
