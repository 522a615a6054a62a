#pragma once

#include <cstdint>
#include <string>
#include <string_view>
#include <vector>

#include "daemon/intake.hpp"
#include "daemon/tapes_ahead.hpp"
#include "daemon/watch.hpp"

namespace underwing {

/// Marks that stand on a tape among the readings.
inline constexpr std::string_view kMarkClock = "watch/clock";    ///< the engine was advanced to `t`
inline constexpr std::string_view kMarkZone = "watch/zone";      ///< `vs`: version of the zone data
inline constexpr std::string_view kMarkRules = "watch/rules";    ///< `vs`: hash of the rules in force from here
inline constexpr std::string_view kMarkResume = "watch/resume";  ///< the watch went on after an outage; `vs`: wall time minus engine time, in ms
inline constexpr std::string_view kMarkWall = "watch/wall";      ///< `v`: wall time minus engine time, in seconds
inline constexpr std::string_view kMarkWork = "watch/work";      ///< `vs`: house, end in epoch milliseconds, who; spaces between

/// Gives the lines of a tape to a watch, as the live run took them.
class TapePlayer {
 public:
  TapePlayer(Watch& watch, const RuleSet& rules);

  /// Takes one line. False: it could not be understood; counted, and otherwise passed over.
  bool play(std::string_view line);
  bool play(const TapeLine& line);
  /// The engine time at which `line` would be taken: its latest time, or the watch's own where it says none.
  [[nodiscard]] Instant time_of(std::string_view line);
  [[nodiscard]] Instant time_of(const TapeLine& line);

  [[nodiscard]] std::uint64_t readings() const { return readings_; }
  [[nodiscard]] std::uint64_t not_understood() const { return not_understood_; }
  /// Readings that are older than one of their probe that was there before: they do not count.
  struct Late {
    std::uint64_t count = 0;
    std::string first_name;
    Instant first_time{};
  };
  [[nodiscard]] const Late& late() const { return late_; }
  [[nodiscard]] const Intake& intake() const { return intake_; }

 private:
  void play_reading(const SenmlRecord& record);
  void note_age(std::size_t probe, const SenmlRecord& record);
  void play_mark(std::string_view name, std::string_view text, Instant time);

  Watch& watch_;
  const RuleSet& rules_;
  Intake intake_;
  SenmlParser parser_;
  std::uint64_t readings_ = 0;
  std::vector<Instant> newest_;  ///< by probe
  Late late_;
  std::uint64_t not_understood_ = 0;
};

}  // namespace underwing
