#pragma once

#include <optional>
#include <string>
#include <utility>
#include <vector>

#include "rules/model.hpp"

/// The window that a rule leaves, over age: for a terminal and as an SVG picture.
namespace underwing {

struct Plot {
  struct Line {
    std::string name;  ///< "low", "high, soon"
    Limit::Side side = Limit::Side::low;
    std::vector<std::pair<double, double>> points;  ///< age in days, value in `unit`; ages rising
    [[nodiscard]] double at(double age_d) const;
  };
  std::string title;  ///< "cold-air, spring-house-1"
  std::string unit;   ///< as it is shown: "°C"
  std::vector<Line> lines;
  double begin_d = 0, end_d = 1;  ///< ages in days
  std::optional<double> mark_d;   ///< age to mark
  std::string mark;               ///< what stands beside the mark: "now, 3 d"
};

/// The plot of a rule's limits in those units; nullopt where none of them is a number by age alone.
[[nodiscard]] std::optional<Plot> plot_of(const WatchedRule& rule, const Flock* flock,
                                          std::optional<Duration> marked, Units units);

/// Evenly spaced round numbers that cover the range, about `count` of them.
[[nodiscard]] std::vector<double> round_ticks(double low, double high, std::size_t count);

/// The ages in days at which an axis of that many days has its marks.
[[nodiscard]] std::vector<double> age_ticks(double begin_d, double end_d, std::size_t count_max);

/// The lowest and highest value to show, with some room.
[[nodiscard]] std::pair<double, double> value_range(const Plot& plot);

enum class Glyphs {
  blocks,  ///< half blocks and shades
  ascii    ///< for terminals that know nothing else
};

/// `width` and `height` in characters, labels included; the height is that of the field alone.
[[nodiscard]] std::string plot_as_text(const Plot& plot, std::size_t width, std::size_t height,
                                       Glyphs glyphs);

/// A whole SVG document, 760 by 420, without scripts or anything from elsewhere.
[[nodiscard]] std::string plot_as_svg(const Plot& plot);

}  // namespace underwing
