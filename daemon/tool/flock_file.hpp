#pragma once

#include <filesystem>
#include <string>
#include <string_view>
#include <vector>

#include "rules/base/result.hpp"

namespace underwing::tool {

/// What a new flock's file says, as it was typed. The loader judges it, so that there is one judge.
struct NewFlock {
  std::string name;
  std::string house;
  std::string placed;  ///< "2026-04-20 09:00"
  std::string birds;
  std::string chick_weight;  ///< "42 g"; "42g" will do
  std::string packs;         ///< "air, humidity"
  std::string goal;          ///< may be empty, as the next
  std::string unloading;
};

/// The file, with comments for whoever edits it later.
[[nodiscard]] std::string flock_file_text(const NewFlock& flock, std::string_view time_zone);

/// "air, humidity" as single names.
[[nodiscard]] std::vector<std::string> split_names(std::string_view text);

enum class IfThere { refuse, replace };
/// Writes a whole file so that a cut of power leaves the old one or the new one.
Result<void> write_flock_file(const std::filesystem::path& path, std::string_view text, IfThere if_there);

}  // namespace underwing::tool
