#pragma once

#include <cstdint>
#include <map>
#include <string>
#include <vector>

#include "plugins/model-house/faults.hpp"
#include "plugins/model-house/house_model.hpp"
#include "plugins/model-house/random.hpp"

/// Houses with their instruments and a schedule of faults. Still no I/O: readings and lines of a story come
/// out, and the same settings and seed give the same ones, byte for byte.
namespace underwing {

struct ProbeParameters {
  std::string name;
  double offset_k = 0;
};

struct InstrumentParameters {
  std::vector<ProbeParameters> air_probes = {{"north", -0.2}, {"centre", 0}, {"south", 0.2}};
  std::string humidity_probe = "centre";  ///< also of carbon dioxide and ammonia
  double noise_k = 0.05;                  ///< standard deviation of an air probe's reading
  double noise_percent = 0.4;             ///< of the humidity probe
  double weighings_h = 60;                ///< single weighings in an hour of light
  double weight_spread = 0.10;            ///< standard deviation of bird weights, as a share of the mean
};

struct HouseSetup {
  std::string name;
  HouseParameters parameters;
  InstrumentParameters instruments;
};

struct Setup {
  std::vector<HouseSetup> houses;
  Outside outside;
  std::vector<Fault> faults;  ///< in any order
  double every_s = 60;        ///< between readings; a divisor of 60
  std::uint64_t seed = 1;
};

/// A reading of one instrument.
struct ModelReading {
  std::string house;
  const char* measure;
  std::string probe;
  const char* unit;  ///< SenML
  double value;
  double time_s;
};

/// A line for people: what happened in the model, and when.
struct StoryLine {
  double time_s;
  std::string text;
};

class FarmModel {
 public:
  FarmModel(Setup setup, double start_s);

  /// Goes on to `time_s` and appends the readings due in between, in the order of their times.
  void advance(double time_s, std::vector<ModelReading>& readings);
  [[nodiscard]] std::vector<StoryLine> take_story();
  [[nodiscard]] double time_s() const { return time_s_; }
  [[nodiscard]] const HouseModel& house(std::size_t index) const { return houses_[index].model; }

 private:
  struct ProbeState {
    bool silent = false;
    bool stuck = false;
    double stuck_at = 0;
    double jump_k = 0;
    double last = 0;
    double away_k = 0;       ///< of this end of the house, from a brooder that is out
    double goes_away_k = 0;  ///< where that is heading
  };
  struct House {
    HouseSetup setup;
    HouseModel model;
    Random random;
    std::map<std::string, ProbeState> probes;
    bool lost = false;
    bool humidity_stuck = false;
  };
  /// A fault's beginning or end.
  struct Turn {
    double at_s;
    std::size_t fault;
    bool begins;
  };

  void take_turns(double time_s);
  void turn(const Fault& fault, bool begins, double time_s);
  void turn_instrument(House& house, const Fault& fault, bool begins);
  void read_air(House& house, std::vector<ModelReading>& readings);
  void read_house(House& house, std::vector<ModelReading>& readings);
  void weigh(House& house, std::vector<ModelReading>& readings);

  Setup setup_;
  double start_s_;
  double time_s_;
  std::vector<House> houses_;
  std::vector<Turn> turns_;  ///< by time
  std::size_t next_turn_ = 0;
  std::vector<StoryLine> story_;
};

}  // namespace underwing
