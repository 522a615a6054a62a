#pragma once

#include <map>
#include <set>
#include <string>
#include <tuple>
#include <vector>

#include "tests/simulation/service.hpp"

namespace underwing {

/// Holds a simulated night against what the watch promises, whatever the power does:
/// - an urgent condition leads to an attempt to tell within `on_delay` + 10 s of running time, 20 s more
/// where what
///   comes for one person is gathered;
/// - no alarm vanishes: each that was written stands until an event ended it;
/// - call-out never stops without an answer while the alarm stands;
/// - nobody is told twice for one step, but for a delivery that was on its way when the power went.
class Promises : public ServiceObserver {
 public:
  /// `low` and `on_delay` of the rule `cold-air`, which watches each house's one probe.
  Promises(double low, Duration on_delay) : low_(low), on_delay_(on_delay) {}

  /// A reading that the watch took, and the time at which it did.
  void heard(const std::string& house, Instant time, double value, Instant now);
  /// A second of running time has passed.
  void second(Watch& watch);
  void power_cut(Instant now);

  void written(const std::vector<Effect>& effects) override;
  void handed(const Delivery& delivery) override;

  [[nodiscard]] const std::vector<std::string>& broken() const { return broken_; }
  /// What a night was about, so that a test can tell that it was worth the while.
  struct Counts {
    std::size_t raised = 0, handed = 0, cuts = 0, attempts_judged = 0;
  };
  [[nodiscard]] const Counts& counts() const { return counts_; }

 private:
  struct Cold {
    Instant newest{}, since = kNever;
    Duration overdue{0};  ///< running time since `on_delay` was over
    bool judged = false;
  };
  struct Known {
    Alarm alarm;
    bool attempted = false;
    Duration quiet{0};  ///< running time since the last attempt, while it wants an answer
    int epoch = 0;      ///< counts what lets steps begin anew: answers, worse, better
  };
  void break_promise(const std::string& text) { broken_.push_back(text); }

  double low_;
  Duration on_delay_;
  Instant now_{};
  std::map<std::string, Cold> cold_;
  std::map<std::uint64_t, Known> known_;
  std::map<std::string, std::size_t> handed_;  ///< delivery: in how many lives of the service
  std::map<std::string, std::size_t> handed_in_;
  std::map<std::tuple<std::uint64_t, int, std::string, Way, int>, std::string>
      steps_;  ///< alarm, step, who, way, epoch
  std::vector<std::string> broken_;
  Counts counts_;
};

}  // namespace underwing
