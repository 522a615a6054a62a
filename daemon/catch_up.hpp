#pragma once

#include <set>
#include <string>
#include <string_view>
#include <vector>

#include "daemon/tape_player.hpp"
#include "daemon/watch.hpp"

namespace underwing {

/// Leads a fresh watch to where the last run stood: the tape back over the longest window fills the windows and
/// tells nothing, then comes the snapshot, then the tape since. What that last part finds was not yet written when
/// the run ended, so it is kept among the effects.
class CatchUp {
 public:
  /// Begins the watch at `from()`. `watch` and `rules` must outlive this.
  CatchUp(Watch& watch, const RuleSet& rules, std::string snapshot);

  /// Whether a snapshot can be begun from at all.
  [[nodiscard]] static bool readable(const std::string& snapshot) { return Watch::snapshot_time(snapshot) != kNever; }
  /// Lines of earlier tapes are not needed.
  [[nodiscard]] Instant from() const { return from_; }
  /// Takes the next line of the tapes, in order.
  void take(std::string_view line);
  /// After the last line. False: the snapshot did not fit, and alarms begin anew. `Recorder::resume` comes next.
  [[nodiscard]] bool finish();
  /// Deliveries that were written as on their way when the run ended, and still are: to be handed over once more,
  /// under the same name. What the way here led to is among the effects instead.
  [[nodiscard]] std::vector<Delivery> on_their_way() const;

 private:
  void restore();

  Watch& watch_;
  TapePlayer player_;
  std::string snapshot_;
  Instant kept_, from_;
  std::set<std::string> written_open_;
  bool restored_ = false, fits_ = false;
};

}  // namespace underwing
