#pragma once

#include <cstdint>
#include <optional>
#include <span>
#include <vector>

#include "rules/engine/board.hpp"
#include "rules/model.hpp"

namespace underwing {

/// An expression as a flat row of steps on a stack. It names series and all else by their places within a house, so that
/// houses that are built alike share it. What several rules share
/// (formulas of the trade, curves) are cells of the board; what cannot change the outcome of an `and` or `or`
/// is passed over, and there the cheapest part comes first.
class Program {
 public:
  /// Compiles `expression` for `rule`; registers its windows, rows and cells on `board`.
  Program(const Expression& expression, const WatchedRule& rule, Board& board);

  /// The value now: a canonical number, or 1, 0 for logic; unknown is NaN.
  [[nodiscard]] double run(const Site& site, const Moment& moment, Board& board) const;

  /// All that `run` can give within the outlook as long as every reading is one that was expected.
  [[nodiscard]] Range range(const Site& site, const Outlook& outlook, Board& board) const;

  /// The same outcome at every moment, step for step.
  [[nodiscard]] bool operator==(const Program& other) const;
  [[nodiscard]] std::size_t hash() const;
  /// The longest window in it.
  [[nodiscard]] Duration span_max() const { return span_max_; }
  /// The measures that it reads, each once, in rising order.
  [[nodiscard]] const std::vector<std::size_t>& measures() const { return measures_; }

 private:
  enum class Op : std::uint8_t {
    number, aggregate, cell, share, share_error, count, tally, own, own_window, curve, curve_at, curve_age_at,
    age, birds, birds_placed, chick_weight, goal_day_7, mortality, hour_of_day, lights,
    negate, add, subtract, multiply, divide,
    less, less_equal, greater, greater_equal, is_number, is_state, logic_and, logic_or, logic_not,
    min, max, abs, wet_bulb, dew_point, felt_temperature, first_known, since,
    from_age,  ///< unknown before the age of `number` hours
    skip_if_no, skip_if_yes, skip_if_known  ///< on to step `index`, where the value on top settles what follows
  };
  struct Step {
    Op op = Op::number;
    Expression::Function function = Expression::Function::none;
    std::uint32_t index = 0;
    std::uint32_t slot = 0;
    double number = 0;  ///< of numbers; of the trade the air's pressure in Pa; else the factor to canonical
    double offset = 0;
    bool operator==(const Step& other) const;
  };
  struct CurveUse {
    std::shared_ptr<const Curve> curve;
    std::vector<double> ages_h;  ///< of its points
    [[nodiscard]] double at(double age_h) const;
  };
  static constexpr std::size_t kStackMax = 256;  ///< the loader refuses expressions that are nested deeper
  /// An empty program for the same rule, for a part of it.
  struct PartOf {};
  Program(const Program& whole, PartOf);

  void add(Step step) { steps_.push_back(step); }
  void compile(const Expression& expression, const WatchedRule& rule, Board& board);
  void compile_source(const Expression& expression, const WatchedRule& rule, Board& board);
  void compile_across(const Expression& expression, const WatchedRule& rule, Board& board);
  void add_from_age(std::size_t probe, const WatchedRule& rule, const Board& board);
  void compile_share(const Expression& expression, const WatchedRule& rule, Board& board);
  void compile_logic(const Expression& expression, const WatchedRule& rule, Board& board);
  void compile_chain(const std::vector<const Expression*>& parts, Op op, Op skip, const WatchedRule& rule,
                     Board& board);
  void compile_fold(const Expression& expression, Op op, const WatchedRule& rule, Board& board);
  void compile_shared(const Expression& expression, const WatchedRule& rule, Board& board);
  void compile_trade(const Expression& expression, const WatchedRule& rule, Board& board);
  void compile_curve(const Expression& expression, Op op, const WatchedRule& rule, Board& board);
  void note_measure(std::size_t measure);
  [[nodiscard]] double lost_since(Instant since, const Site& site, const Board& board) const;
  [[nodiscard]] double birds(const Site& site, const Board& board) const;
  [[nodiscard]] double tally(const Step& step, const Site& site, const Board& board) const;
  [[nodiscard]] double mortality(Instant wall, const Site& site, const Board& board) const;
  [[nodiscard]] Range count_range(const Step& step, const Site& site, const Outlook& outlook, const Board& board) const;
  [[nodiscard]] static Range share_range(const Share& share, double now, const Outlook& outlook);
  [[nodiscard]] Range curve_range(const CurveUse& use, const Range& age_h) const;
  [[nodiscard]] Range trade_range(const Step& step, std::span<const Range> arguments) const;

  std::vector<Step> steps_;
  std::vector<std::size_t> measures_;
  std::vector<CurveUse> curves_;
  std::vector<std::size_t> loss_series_;  ///< tallies of dead and culled birds, by their places in the house
  std::vector<std::vector<std::size_t>> probe_lists_;  ///< likewise
  Duration span_max_{0};
};

/// Value of a curve at a flock age in hours: straight lines between its points, level outside.
[[nodiscard]] double curve_at(const Curve& curve, double age_h);
/// The ages of its points, in hours.
[[nodiscard]] std::vector<double> hours_of_points(const Curve& curve);
/// The age in hours at which a curve that only rises or only falls has this value; of several the youngest;
/// unknown outside the curve.
[[nodiscard]] double curve_age_at(const Curve& curve, double value);

}  // namespace underwing
