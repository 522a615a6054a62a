#pragma once

#include <functional>
#include <map>
#include <memory>
#include <set>
#include <string>
#include <vector>

#include "plugins/model-house/farm_model.hpp"
#include "tests/watch/bench.hpp"

namespace underwing {

/// An invented farm of one house with the instruments that the shipped packs read, and its flock.
struct PackFarm {
  std::string placed = "2026-03-02 09:30";
  std::string more;    ///< further lines of the flock's file
  std::string probes;  ///< further lines of the house's probes, six spaces in
  std::string packs = "air, heat, air-quality, humidity, water, feed, growth, mortality";
  [[nodiscard]] FarmFiles files() const;
  /// The rules; throws, with the issues as text, where they do not load.
  [[nodiscard]] std::shared_ptr<const RuleSet> load() const;
};

/// PackFarm's files, with a probe for every measure that there is, and all packs.
[[nodiscard]] FarmFiles whole_farm(const std::string& more = "");

/// All shipped packs, by path.
[[nodiscard]] std::map<std::string, std::string> shipped_packs();

/// What went out to people.
struct Told {
  Instant time{};
  std::string who;
  Priority priority = Priority::note;
  int step = 0;
  std::string text;
};

/// A night in that house. At first all is well: air as given, mains on, gases low, heater and fans in turns.
class PackNight {
 public:
  /// `begin` is a whole minute, the first one at which instruments read.
  PackNight(const PackFarm& farm, Instant begin, double air_c);

  Bench& bench() { return bench_; }
  void set(const std::string& probe, double value) { bench_.set("house-1/" + probe, value); }
  void silence(const std::string& probe) { bench_.silence("house-1/" + probe); }
  /// North, centre and south, a tenth of a kelvin apart, with a wobble, so that no probe looks stuck.
  void air(double celsius) { air_c_ = celsius; }
  /// Minute by minute up to and including `until`; `before` sets what is read at that minute.
  void run_to(Instant until, const std::function<void(Instant)>& before = {});
  /// The same with the readings of a model house instead; what it does not report is silent.
  void run_model(FarmModel& model, Instant until);

  /// A person enters a value at the next minute, which is run.
  void enter(const std::string& probe, double value);
  /// What was told since the last call.
  [[nodiscard]] std::vector<Told> told();
  /// The first urgent text since the last call; its time is kNever where there was none.
  [[nodiscard]] Told first_call();
  /// "02:07:00 raised cold-air low" a line, since the last call.
  [[nodiscard]] std::string events() { return bench_.events(); }

 private:
  void read_air(Instant time);

  Bench bench_;
  Instant at_;
  double air_c_;
  std::size_t effects_seen_ = 0;
  std::set<std::string> heard_;  ///< what the model reported in the last minute
};

/// A fault of house-1; `until` at the epoch: it does not end by itself.
[[nodiscard]] Fault fault(Fault::What what, Instant at, Instant until = {}, const std::string& probe = "",
                          double by_k = 0);
/// The house of PackFarm as a model, from `begin`, with these faults.
[[nodiscard]] FarmModel model_of(Instant placed, Instant begin, const Outside& outside,
                                 std::vector<Fault> faults, HouseParameters house = {});
[[nodiscard]] double seconds_of(Instant time);
[[nodiscard]] double minutes_of(Instant time);

}  // namespace underwing
