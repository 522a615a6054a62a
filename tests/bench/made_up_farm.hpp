#pragma once

#include <cstdint>
#include <string>
#include <vector>

#include "rules/files/load.hpp"
#include "rules/model.hpp"

/// An invented farm for measuring: houses of 60 probes each under all packs that belong to a flock, and readings as
/// a farm gives them. The same on every machine.
namespace underwing {

inline constexpr std::size_t kProbesPerHouse = 60;
inline constexpr Duration kReadingEvery = std::chrono::seconds(10);

/// What stands in farm.yaml for its plugins.
inline constexpr const char* kPluginsText = "plugins:\n  paper: {run: print}\n";

/// Texts of the farm. `packs`: the packs of every flock; `own`: a pack of the farm's own, by its path.
[[nodiscard]] FarmFiles made_up_farm(std::size_t houses, const std::string& packs,
                                     const std::map<std::string, std::string>& own = {});
/// All shipped packs that a flock can have; `power` is the farm's.
inline constexpr const char* kFlockPacks =
    "air, air-quality, feed, growth, heat, humidity, lights, mortality, ready, rounds, water";

/// Loads the texts; prints every issue and ends the program where there is an error.
[[nodiscard]] std::shared_ptr<const RuleSet> load_or_exit(const FarmFiles& files);

/// The rules of a farm of one house for many houses alike. (The loader refuses files of so many parts.)
[[nodiscard]] std::shared_ptr<const RuleSet> multiplied(const RuleSet& one, std::size_t houses);

struct BenchReading {
  Instant time{};
  std::uint32_t probe = 0;
  double value = 0;
};

/// Where the readings begin: the birds are eight days old then.
inline constexpr Instant kReadingsBegin{std::chrono::sys_days{std::chrono::year{2026} / 3 / 10} + std::chrono::hours(10)};

/// Every probe once in ten seconds for `span`, in the order of time; a house's probes come one after another,
/// a millisecond apart, as its computer sends them. Quiet values near what the birds want, and twice a day, for half an hour,
/// 4 K too cold: a handful of alarms a week.
[[nodiscard]] std::vector<BenchReading> made_up_readings(const RuleSet& rules, Duration span);

}  // namespace underwing
