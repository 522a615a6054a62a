#pragma once

#include <filesystem>
#include <optional>
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
  std::string lights;     ///< hours of light by age: "0 d: 23 h, 7 d: 18 h"; may be empty, as the next
  std::string lights_on;  ///< "05:00"
  std::string lights_of;  ///< the flock from which they were carried over; empty: none
  std::optional<double> parents_wk{};  ///< age of the parents in weeks
  bool warmer = false;    ///< for chicks of young parents: the packs have a list of their own for them
};

/// Below that age parents count as young, and their chicks are placed 1 K warmer: Cobb-Vantress, Broiler Management Guide, 2012 to
/// 2018 editions, temperature and humidity guide; from memory.
inline constexpr double kYoungParents_wk = 30;
/// The list of the pack `air` for them.
inline constexpr const char* kYoungList = "warm_start_young";

/// "28wk", "28 weeks" or "28"; nullopt: not an age of parents (15 to 100 weeks: common practice is 24 to 65).
[[nodiscard]] std::optional<double> parse_weeks(std::string_view text);

/// The file, with comments for whoever edits it later.
[[nodiscard]] std::string flock_file_text(const NewFlock& flock, std::string_view time_zone);

/// "air, humidity" as single names.
[[nodiscard]] std::vector<std::string> split_names(std::string_view text);

enum class IfThere { refuse, replace };
/// Writes a whole file so that a cut of power leaves the old one or the new one.
Result<void> write_flock_file(const std::filesystem::path& path, std::string_view text, IfThere if_there);

}  // namespace underwing::tool
