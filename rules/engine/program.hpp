#pragma once

#include <cstdint>
#include <optional>
#include <vector>

#include "rules/engine/series.hpp"
#include "rules/model.hpp"

namespace underwing {

/// What a program reads besides series: where and when it runs.
struct Moment {
  Instant engine{};  ///< engine time
  Instant wall{};    ///< wall time: ages and the clock of the day
  std::uint64_t version = 0;  ///< rises whenever a series may have changed
};

/// The numbers of several probes combined to one, shared by all rules of a house that ask for the same, and
/// worked out once for a moment.
struct Aggregate {
  Expression::Function function = Expression::Function::none;
  std::size_t measure = 0;
  std::vector<std::size_t> probes;   ///< series to combine; of a median in the order of their last values
  Expression::Function window_function = Expression::Function::none;  ///< none: the values held now
  std::size_t window_slot = 0;
  double factor = 1, offset = 0;     ///< to canonical

  Instant memo_time{Duration::min()};
  std::uint64_t memo_version = 0;
  double memo_value = 0;
};

/// All series of a farm and what is combined from them. Owned by the engine; programs refer into it.
struct Board {
  std::vector<Series> series;         ///< by probe index
  std::vector<Aggregate> aggregates;
  std::size_t house_begin = 0;        ///< while compiling: the first aggregate of the house at hand
  const RuleSet* rules = nullptr;

  [[nodiscard]] double value_of(std::size_t aggregate, const Moment& moment);

 private:
  template <typename Take>
  void read_probes(const Aggregate& aggregate, Instant now, Take take);
  [[nodiscard]] double median(Aggregate& aggregate, Instant now);
};

/// An expression as a flat row of steps on a stack, for one rule in one house.
class Program {
 public:
  Program() = default;
  /// Compiles `expression` for `rule`; registers its windows and aggregates on `board`.
  Program(const Expression& expression, const WatchedRule& rule, Board& board);

  /// The value now: a canonical number, or 1, 0 for logic; unknown is NaN.
  [[nodiscard]] double run(const Moment& moment, Board& board) const;

  [[nodiscard]] bool empty() const { return steps_.empty(); }
  /// The longest window in it.
  [[nodiscard]] Duration span_max() const { return span_max_; }
  /// The measures that it reads, each once, in rising order.
  [[nodiscard]] const std::vector<std::size_t>& measures() const { return measures_; }

 private:
  enum class Op : std::uint8_t {
    number, aggregate, count, tally, own, own_window, curve, curve_at, curve_age_at,
    age, birds, birds_placed, chick_weight, goal_day_7, mortality, hour_of_day, lights,
    negate, add, subtract, multiply, divide,
    less, less_equal, greater, greater_equal, is_number, is_state, logic_and, logic_or, logic_not,
    min, max, abs, wet_bulb, dew_point, felt_temperature, first_known, share, share_error, since
  };
  struct Step {
    Op op = Op::number;
    Expression::Function function = Expression::Function::none;
    std::uint32_t index = 0;
    std::uint32_t slot = 0;
    double number = 0;   ///< of numbers; of the trade the air's pressure in Pa; else the factor to canonical
    double offset = 0;   ///< of shares: the span in hours
  };

  void compile(const Expression& expression, const WatchedRule& rule, Board& board);
  void compile_source(const Expression& expression, const WatchedRule& rule, Board& board);
  void compile_share(const Expression& expression, const WatchedRule& rule, Board& board);
  void compile_across(const Expression& expression, const WatchedRule& rule, Board& board);
  void note_measure(std::size_t measure);
  [[nodiscard]] double birds(const Flock& flock, Board& board) const;
  [[nodiscard]] double mortality(const Moment& moment, Board& board) const;
  [[nodiscard]] double share(const Step& step, const Moment& moment, Board& board) const;

  std::vector<Step> steps_;
  std::vector<std::size_t> measures_;
  std::vector<std::shared_ptr<const Curve>> curves_;
  std::vector<std::vector<double>> curve_ages_h_;     ///< ages of their points
  std::vector<std::size_t> loss_series_;  ///< tallies of dead and culled birds of the house
  std::vector<std::vector<std::size_t>> probe_lists_;
  const Flock* flock_ = nullptr;
  Duration span_max_{0};
};

/// Value of a curve at a flock age in hours: straight lines between its points, level outside.
[[nodiscard]] double curve_at(const Curve& curve, double age_h);
/// The age in hours at which a curve that only rises or only falls has this value; of several the youngest;
/// unknown outside the curve.
[[nodiscard]] double curve_age_at(const Curve& curve, double value);

}  // namespace underwing
