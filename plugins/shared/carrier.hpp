#pragma once

#include <condition_variable>
#include <functional>
#include <map>
#include <mutex>

#include "plugins/shared/plugin.hpp"

namespace underwing {

/// A plugin that carries deliveries over a network with calls that block. Each delivery has a thread of its
/// own, so that one that hangs holds nobody up, and an outcome within `time_out` (and kGrace), whatever the
/// other end does. The way itself is checked at the start, now and then, and more often while it is broken.
///
/// Its threads use it until the process ends: main leaves with `_exit` and never destroys it.
class Carrier : public Plugin {
 public:
  explicit Carrier(std::string name) : Plugin(std::move(name), {"deliver"}) {}

 protected:
  enum class Way : std::uint8_t { unknown, works, broken };
  enum class Outcome : std::uint8_t {
    failed,
    sent,       ///< the other end has taken it over, in so many words
    delivered,  ///< and says that the person has it
  };
  /// What became of a delivery or a check.
  struct Result {
    Outcome outcome = Outcome::failed;
    std::string text;  ///< a sentence's words
    Way way = Way::unknown;
  };
  /// Of several results of one delivery the first counts. From any thread.
  using Say = std::function<void(Result)>;

  /// Reads `time_out` and `check_every`. Throws SettingsError.
  void read_timing(Settings& settings);
  [[nodiscard]] double time_out_s() const { return time_out_s_; }

  /// Both on a thread of their own, beside others of the same kind. They say a result by `until`.
  virtual void carry(const Delivery& delivery, Clock::time_point until, const Say& say) const = 0;
  /// Passes a heartbeat on, in the same way. Without this, none is carried.
  virtual void pass_on(const Beat& beat, Clock::time_point until, const Say& say) const;
  /// Whether the way works, with nothing sent. Its outcome does not count. Without a result: nothing to
  /// check.
  virtual void check(Clock::time_point until, const Say& say) const = 0;
  /// What health says while the way works: "reaches 192.0.2.1:465".
  [[nodiscard]] virtual std::string works_text() const = 0;

 private:
  void on_deliver(const Delivery& delivery) override;
  void on_heartbeat(const Beat& beat) override;
  void on_wake() override;
  std::optional<Clock::time_point> on_time(Clock::time_point now) override;
  void on_stop() override;

  struct Job {
    Delivery delivery;
    Clock::time_point until;
    bool begun = false;
    std::optional<Beat> beat{};  ///< in place of the delivery
  };
  static constexpr std::chrono::seconds kGrace{1};
  static constexpr std::size_t kAtOnce = 32;
  static constexpr std::chrono::seconds kLeaveWithin{1};  ///< `stop` allows 2 s.
  static constexpr std::chrono::milliseconds kBrokenFirst{30'000};
  static constexpr std::chrono::milliseconds kBrokenLast{600'000};

  static std::string_view word_of(Outcome outcome);
  void begin_some();
  void begin_check(Clock::time_point now);
  void run_thread(const std::string& delivery, std::function<void(const Say&)> work);
  void take_result(const std::string& delivery, const Result& result);
  void take_way(const Result& result);
  void give_up_late(Clock::time_point now);
  std::optional<Clock::time_point> next_deadline() const;

  double time_out_s_ = 0;
  std::chrono::milliseconds check_every_{0};
  std::chrono::milliseconds check_broken_{0};  ///< until the next check while the way is broken
  bool broken_ = false;
  std::optional<Clock::time_point> check_due_ = Clock::time_point::min();
  std::map<std::string, Job> jobs_;  ///< deliveries without an outcome

  std::mutex mutex_;
  std::condition_variable ended_;
  std::size_t running_ = 0;                              ///< guarded by mutex_, like the next
  std::vector<std::pair<std::string, Result>> results_;  ///< the check's has no delivery
};

}  // namespace underwing
