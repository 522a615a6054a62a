#pragma once

#include "plugins/model-house/flock_tables.hpp"

/// The physics of one broiler house: heat, water vapour, carbon dioxide and ammonia, with heater, fans and
/// birds. No I/O, no clock, no randomness: time is handed in. Two masses store heat: the air with the
/// fittings, and the litter with the top of the floor. Not made for tunnel ventilation or cooling pads.
namespace underwing {

/// What the house is. Defaults: an invented house; where no source is named, from memory of common practice.
struct HouseParameters {
  double birds = 17000;
  double chick_weight_g = 42;
  double placed_s = 0;  ///< seconds since 1970; before this the house is empty and pre-heated
  double floor_area_m2 = 1400;
  double volume_m3 = 4900;
  double envelope_area_m2 = 2000;  ///< roof and walls
  double u_value_w_m2k = 0.5;      ///< of roof and walls, gaps at doors included
  double floor_loss_w_m2k = 0.2;   ///< to the ground
  double ground_c = 10;
  double fittings_kj_per_k = 4000;  ///< heat held by drinkers, feeders and inner skin
  double litter_kg_m2 = 8;
  double litter_kj_kg_k = 1.9;
  double litter_exchange_w_m2k = 6;  ///< between air and litter
  double heater_kw = 140;
  bool heater_vented = false;        ///< false: burnt gas stays in the house
  double heater_hysteresis_k = 0.6;  ///< off at target + half, on at target − half
  double minimum_fans_m3_h = 10000;  ///< of the fans on the timer; more join when birds need it
  double minimum_air_factor = 2;   ///< of what day-olds need, to air the house for the heaters; 1 from day 21
  double timer_s = 300;            ///< the timer's cycle
  double most_fans_m3_h = 150000;  ///< all fans together
  double fans_from_k = 1.5;        ///< above target: further fans begin
  double fans_all_k = 4.5;         ///< above target: all run
  double leak_changes_h = 0.1;     ///< changes of air an hour through gaps, fans off
  double doors_m3_h = 40000;       ///< that blow through while the doors stand open
  bool generator = false;          ///< one stands by, and starts by itself
  double generator_starts_s = 15;  ///< from the cut to its taking over
  double gas_tank_kg = 0;          ///< 0: gas comes by a pipe and has no level
  double gas_at_start_percent = 80;     ///< of the tank
  double ammonia_factor = 1;            ///< times what fresh litter gives off
  Table target_c = default_target_c();  ///< by age in days
  Table light_h = {{0, 23}, {7, 18}};   ///< hours of light a day from this age in days on; steps
  double lights_on_h = 5;               ///< time of day (UTC) at which the dark ends
  double water_pulse_l = 1;
  double water_meter_start_l_min = 0.019;  ///< what flows slower is not counted
  double burst_l_min = 30;                 ///< out of a burst line
  double feed_pulse_kg = 1;
};

/// The weather, a sine over the day: coldest at `coldest_h`. Values by the hour go before it.
struct Outside {
  double mean_c = 5;
  double swing_k = 3;  ///< half the difference of warmest and coldest
  double coldest_h = 5;
  double humidity_percent = 85;
  double hours_from_s = 0;  ///< where the hours of both lists count from
  Table air_by_hour = {};   ///< (hours, °C), straight lines between, level outside; empty: the sine
  Table humidity_by_hour = {};
  [[nodiscard]] double air_c(double time_s) const;
  [[nodiscard]] double humidity_at(double time_s) const;
};

/// Things that break. The model's user sets them.
struct Broken {
  bool heater = false;
  bool fans = false;
  bool mains = false;  ///< the mains are lost: fans, heater and lights stand still, unless a generator runs
  bool generator = false;     ///< it does not start, or stops
  bool heater_stuck = false;  ///< burns whatever the thermostat says
  bool gas = false;           ///< the tank is empty, or its regulator frozen
  bool inlets = false;        ///< shut: fans turn and move little
  bool low_voltage = false;   ///< fans turn slowly
  bool controller = false;    ///< hangs: all it switches stays as it is
  bool water_shut = false;
  bool water_burst = false;
  bool feed = false;   ///< nothing comes to the feeders
  bool doors = false;  ///< stand open
};

class HouseModel {
 public:
  /// Longest step of the calculation, in seconds.
  static constexpr double kStep_s = 10;

  HouseModel(const HouseParameters& parameters, const Outside& outside, double start_s);

  /// Goes on to `time_s`, in steps that end on whole multiples of kStep_s. Never back.
  void advance(double time_s);
  void set_broken(const Broken& broken);
  [[nodiscard]] const Broken& broken() const { return broken_; }

  [[nodiscard]] double time_s() const { return time_s_; }
  [[nodiscard]] double age_d() const { return (time_s_ - house_.placed_s) / 86400.0; }
  [[nodiscard]] double target_c() const { return look_up(house_.target_c, age_d()); }
  [[nodiscard]] double bird_weight_g() const { return weight_g(age_d(), house_.chick_weight_g); }
  [[nodiscard]] bool birds_in() const { return age_d() >= 0; }
  [[nodiscard]] bool light() const;

  [[nodiscard]] double air_c() const { return air_c_; }
  [[nodiscard]] double litter_c() const { return litter_c_; }
  [[nodiscard]] double humidity_percent() const;
  [[nodiscard]] double carbon_dioxide_ppm() const { return co2_ppm_; }
  [[nodiscard]] double ammonia_ppm() const { return ammonia_ppm_; }
  [[nodiscard]] double water_l() const;  ///< the meter, in whole pulses since the model began
  [[nodiscard]] double feed_kg() const;
  [[nodiscard]] bool heat_asked() const { return heat_asked_; }
  [[nodiscard]] bool heater_running() const { return heater_w_ > 0; }
  [[nodiscard]] bool fans_running() const { return fans_m3_h_ > 0; }
  [[nodiscard]] bool generator_running() const;
  [[nodiscard]] double gas_level_percent() const;
  [[nodiscard]] double outside_c() const { return outside_.air_c(time_s_); }

  /// Flows of the last step, in watts, for checks of the balance. What is positive warms the air.
  struct Flows {
    double birds_w = 0;
    double heater_w = 0;
    double envelope_w = 0;
    double ventilation_w = 0;
    double litter_w = 0;  ///< from the litter to the air
    double ground_w = 0;  ///< from the ground to the litter
  };
  [[nodiscard]] const Flows& flows() const { return flows_; }
  [[nodiscard]] double air_capacity_j_k() const;
  [[nodiscard]] double litter_capacity_j_k() const;

 private:
  void step(double seconds);
  void control();
  void ask_for_air(double seconds);
  void turn_fans();
  [[nodiscard]] bool powered() const;
  void balance_heat(double seconds);
  void balance_air(double seconds);
  void eat_and_drink(double seconds);
  [[nodiscard]] double air_exchange_m3_s() const;

  HouseParameters house_;
  Outside outside_;
  Broken broken_;
  double time_s_;
  double air_c_;
  double litter_c_;
  double vapour_kg_kg_;  ///< water vapour for each kilogram of dry air
  double co2_ppm_;
  double ammonia_ppm_ = 0;
  double water_l_ = 0;
  double feed_kg_ = 0;
  bool heat_asked_ = false;
  double heater_w_ = 0;
  double asked_m3_h_ = 0;  ///< of the fans, mean of the last step
  double fans_m3_h_ = 0;   ///< what they moved
  double cut_s_ = 0;       ///< when the mains were lost
  double gas_burnt_kg_ = 0;
  Flows flows_;
};

}  // namespace underwing
