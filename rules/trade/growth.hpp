#pragma once

#include <optional>
#include <span>

#include "rules/model.hpp"
#include "rules/trade/flock.hpp"

/// A flock's weight from single weighings, held against a curve of weight by age. Pure functions; ages in
/// hours, weights in grams. Weighings of different hours are compared by their share of the curve at their own
/// age, so that a day's growth does not look like a spread of the birds.
namespace underwing::growth {

struct Weighing {
  double age_h = 0;
  double weight_g = 0;
};

/// A number and the interval that holds it in 95 of 100 cases.
struct Interval {
  double middle = 0, low = 0, high = 0;
};

struct Estimate {
  flock::Weights share;    ///< of the curve at each weighing's own age, doubles and empties left out
  Interval weight_g;       ///< at the age that was asked for
  std::optional<Interval> behind_h;  ///< hours behind the curve, less than 0 ahead; none: beyond its ends
  bool cut = false;        ///< the weighings lie closer together than birds do, see `looks_cut`
};

/// The shares of the curve that the weighings have at their own ages; nullopt: fewer than `kFewest` are left.
[[nodiscard]] std::optional<flock::Weights> share_of(std::span<const Weighing> weighings, const Curve& curve);
/// Half the width of the 95 % interval of that mean: 1.96 standard errors.
[[nodiscard]] double half_width_95(const flock::Weights& share);

/// What weighings say of the flock's weight at `age_h`: their mean share of the curve, times the curve there.
/// The interval is that of a mean (1.96 standard errors); weighings count as if each were another bird. A
/// curve that is 0 at an age takes no weighing of it. nullopt: fewer than `kFewest` are left.
[[nodiscard]] std::optional<Estimate> weigh(std::span<const Weighing> weighings, const Curve& curve, double age_h);

/// Fewer say nothing about a house: common practice is hundreds a day; 100 birds by hand (Aviagen, Ross
/// Broiler Management Handbook).
inline constexpr std::size_t kFewest = 30;

/// The weight at 7 days of a flock that keeps its share of the curve. The model: the share of now, with its
/// own error, wandering at random by 2 % a day (standard deviation; ours, no figure is published). nullopt:
/// the flock is 7 days old.
[[nodiscard]] std::optional<Interval> forecast_day_7(const Estimate& estimate, const Curve& curve, double age_h);

/// True where a scale takes only weights within a window round its own curve, which hides a flock that falls
/// behind. Shares that are spread normally reach several standard deviations to both sides, the further the more
/// there are. `below` and `above` are how far the lowest and the highest lie from the mean, in standard
/// deviations. Cut on both sides, their sum is too small; of a flock that lags, the window cuts the lower side
/// alone, and the lowest lies too near. Either happens by chance in one of 1000 flocks at most. `count` is
/// halved and held under 500, as birds come again. Source: Tippett, Biometrika 17, 1925, on the extreme
/// individuals and the range of samples, from memory; the chance and the halving are ours.
[[nodiscard]] bool looks_cut(double below, double above, std::size_t count);

/// The chance that `count` numbers spread normally have a range of at most this many standard deviations.
[[nodiscard]] double chance_of_range(double range, double count);

}  // namespace underwing::growth
