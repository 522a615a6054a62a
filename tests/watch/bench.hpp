#pragma once

#include <functional>
#include <map>
#include <memory>
#include <string>
#include <vector>

#include "daemon/watch.hpp"
#include "rules/files/load.hpp"

namespace underwing {

/// The texts of an invented farm of two houses, placed 2026-03-02 09:30; tests change single lines of them.
struct FarmTexts {
  std::string farm, flock, pack, yard;

  FarmTexts();
  /// Puts `to` in the place of the one `from` in `text`; throws where there is none.
  static void change(std::string& text, const std::string& from, const std::string& to);
  [[nodiscard]] FarmFiles files() const;
  /// Throws, with the issues as text, where the farm does not load.
  [[nodiscard]] std::shared_ptr<const RuleSet> load() const;
};

/// The rules of these files, with `bench_zone`; throws, with the issues as text, where they do not load.
[[nodiscard]] std::shared_ptr<const RuleSet> load_or_throw(const FarmFiles& files);

/// Europe/London in 2026, by Directive 2000/84/EC, and UTC.
[[nodiscard]] std::optional<Zone> bench_zone(const std::string& name);

/// 2026-03-`day`, UTC, which is local time until 29 March.
[[nodiscard]] Instant march(unsigned day, int hour, int minute = 0, int second = 0);

/// A watch on a bench: probes read once a minute what the test sets, deliveries get the outcome that the test
/// wants, and everything is noted.
class Bench {
 public:
  explicit Bench(std::shared_ptr<const RuleSet> rules = FarmTexts().load(), Instant begin = march(3, 20));

  /// What a probe ("house-1/air_temperature/north") reads from now on.
  void set(const std::string& probe, double value);
  void silence(const std::string& probe);
  void silence_house(const std::string& house);
  /// Air of both probes of house-1.
  void air(double value);

  /// Lets time pass: readings at whole minutes, then everything that is due before or at `until`.
  void run_to(Instant until);
  void run(Duration span) { run_to(now_ + span); }
  [[nodiscard]] Instant now() const { return now_; }

  /// What becomes of a delivery; Outcome::open: no receipt.
  std::function<Delivery::Outcome(const Delivery&)> outcome = [this](const Delivery& delivery) {
    watch_->handed(delivery.id, delivery.only_path.empty() ? "modem" : delivery.only_path);
    return Delivery::Outcome::sent;
  };
  /// Whether the other end answers heartbeats.
  bool heard_outside = true;
  void reply(const std::string& who, const std::string& text);
  void settle();

  /// The watch dies; another one is put together from `snapshot` and the readings of the hours before it, and
  /// goes on `outage` later. Plugins come up again at once.
  void restart(const std::string& snapshot, Duration outage, std::shared_ptr<const RuleSet> rules = nullptr);
  /// The same without going on: as it stands right after `restore`.
  [[nodiscard]] std::unique_ptr<Watch> restored(const std::string& snapshot,
                                                std::shared_ptr<const RuleSet> rules);
  [[nodiscard]] Watch& watch() { return *watch_; }

  /// Deliveries since the last call, a line each: "20:05:00 ines text 1"; with the text behind where wanted.
  [[nodiscard]] std::string told(bool with_texts = false);
  /// The texts alone, of the deliveries since the last call.
  [[nodiscard]] std::vector<std::string> texts();
  /// Events since the last call but told and reply, a line each: "20:05:00 raised cold-air low".
  [[nodiscard]] std::string events();
  /// The one alarm of this rule; throws where there is none.
  [[nodiscard]] const Alarm& alarm(const std::string& rule);
  [[nodiscard]] bool has_alarm(const std::string& rule) const;
  [[nodiscard]] std::string code(const std::string& rule) { return alarm(rule).code; }
  [[nodiscard]] const std::vector<Effect>& effects() const { return effects_; }
  [[nodiscard]] const std::map<std::string, double>& readings() const { return readings_; }

 private:
  std::unique_ptr<Watch> watch_;
  Instant now_;
  std::map<std::string, double> readings_;
  struct Reading {
    std::string probe;
    Instant time;
    double value;
  };
  std::vector<Reading> history_;
  std::vector<Effect> effects_;
  std::vector<Delivery> deliveries_;
  std::size_t events_seen_ = 0;
};

}  // namespace underwing
