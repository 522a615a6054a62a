#pragma once

#include <filesystem>
#include <functional>
#include <memory>
#include <string>
#include <vector>

#include "daemon/journal.hpp"
#include "daemon/recorder.hpp"
#include "daemon/watch.hpp"
#include "tests/simulation/dice.hpp"

namespace underwing {

/// What a simulated service shows to whoever looks on. All calls come in the order in which things happen.
class ServiceObserver {
 public:
  virtual ~ServiceObserver() = default;
  /// These effects are on the disk; what they ask for comes after.
  virtual void written(const std::vector<Effect>& effects) = 0;
  /// A channel has the delivery.
  virtual void handed(const Delivery& delivery) = 0;
};

/// The service around the real watch and the real journal, in one thread: every batch of effects is written
/// before it is acted on, and the power may go before it is written, after it is, and between any two
/// deliveries.
class SimulatedService {
 public:
  /// `now`: engine time. Power cuts come with `cut` before and after each write and each delivery.
  SimulatedService(std::shared_ptr<const RuleSet> rules, std::filesystem::path journal, SimulationDice& dice,
                   double cut, ServiceObserver& observer);
  ~SimulatedService();

  void begin(Instant now);
  [[nodiscard]] bool up() const { return watch_ != nullptr; }
  /// Starts again from what the disk holds.
  void start_again(Instant now);

  // Inputs; only while it is up. Each may end in a power cut.
  void advance(Instant now);
  void reading(const std::string& probe, Instant time, double value);
  void receipt(const std::string& delivery, Delivery::Outcome outcome);
  void reply(const std::string& from, const std::string& text);
  /// New rules, as after "underwing reload"; they are those of a later start, too.
  void reload(std::shared_ptr<const RuleSet> rules);
  void clock(Duration wall_ahead);
  void cut_power();

  [[nodiscard]] Watch& watch() { return *watch_; }

 private:
  void open_journal();
  void apply();
  void write(const std::vector<Effect>& effects);
  void submit(JournalTransaction transaction);
  [[nodiscard]] bool cut_comes();

  std::shared_ptr<const RuleSet> rules_;
  std::filesystem::path path_;
  SimulationDice& dice_;
  double cut_;
  ServiceObserver& observer_;
  std::unique_ptr<Journal> journal_;
  struct Posted;
  std::unique_ptr<Posted> posted_;
  std::unique_ptr<Watch> watch_;
  std::unique_ptr<Recorder> recorder_;
  struct TapeLine {
    std::string line;
    Instant written;
  };
  std::vector<TapeLine> tape_;
  JournalIds ids_;
  Instant minute_{};
  Duration wall_ahead_{0};
};

}  // namespace underwing
