#pragma once

#include <optional>
#include <string>
#include <vector>

#include "rules/language/ast.hpp"
#include "rules/model.hpp"

namespace underwing::reference {

/// Whether two numbers are equal in every comparison: within 1e-9, or one part in 1e9 if that is more.
[[nodiscard]] bool same(double left, double right);
[[nodiscard]] bool below(double left, double right);

/// The mean of the middle two where the count is even. `values` is not empty.
[[nodiscard]] double median_of(std::vector<double> values);

struct Point {
  Instant time{};
  double value = 0;
};

/// Theil–Sen: the median of the slopes of all pairs, per hour. Needs two points at least.
[[nodiscard]] double median_slope(const std::vector<Point>& points);

/// Everything that one probe has ever said, and what can be told from it. Values are canonical.
class PlainSeries {
 public:
  explicit PlainSeries(const Measure& measure) : measure_(measure) {}

  /// Judges and keeps one reading. False, and nothing changes, where it is not newer than the newest.
  bool take(Instant time, double raw);

  /// The name of the test that the newest reading failed, or that the probe fails by sticking; empty: none.
  [[nodiscard]] std::string failed_test() const;
  [[nodiscard]] bool flat() const;
  [[nodiscard]] bool usable(Instant now) const;
  [[nodiscard]] std::optional<Instant> first_good() const;
  [[nodiscard]] std::optional<Instant> last_good() const;

  /// What was held at `time`: the last good reading at or before it, while younger than `stale_after`.
  [[nodiscard]] std::optional<double> held_at(Instant time) const;

  /// Sum of the good readings in (after, until].
  [[nodiscard]] double sum(Instant after, Instant until) const;

  /// The good readings in (after, until].
  [[nodiscard]] std::vector<Point> readings(Instant after, Instant until) const;

  /// A window function of held values or samples, as it is now; `slope` apart, see below.
  [[nodiscard]] std::optional<double> window(Expression::Function function, Duration span, Instant now) const;

  /// The slope at the whole minute `minute`, from what is known when this is asked, per hour.
  [[nodiscard]] std::optional<double> slope_at(Instant minute, Duration span) const;
  /// Whether a slope may be told now: neither flat nor silent.
  [[nodiscard]] bool silent_or_flat(Duration span, Instant now) const;

  [[nodiscard]] const Measure& measure() const { return measure_; }

 private:
  struct Taken {
    Instant time{};
    double raw = 0;
    double value = 0;
    std::string failed;  ///< empty: good
  };
  /// A good reading and the part of the window in which it was held.
  struct Held {
    Instant begin{};
    Instant end{};
    double value = 0;
  };

  [[nodiscard]] std::string judge(Instant time, double raw) const;
  [[nodiscard]] std::vector<Held> held_parts(Instant from, Instant now) const;
  [[nodiscard]] std::optional<double> of_held(Expression::Function function, Duration span,
                                              Instant now) const;
  [[nodiscard]] std::optional<double> of_samples(Expression::Function function, Duration span,
                                                 Instant now) const;
  [[nodiscard]] std::optional<double> growth(Duration span, Instant now) const;

  const Measure& measure_;
  std::vector<Taken> taken_;  ///< in time order, rejected ones included
  std::vector<Taken> good_;   ///< those that passed
};

}  // namespace underwing::reference
