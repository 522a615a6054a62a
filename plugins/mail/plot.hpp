#pragma once

#include <nlohmann/json.hpp>
#include <optional>
#include <string>
#include <string_view>
#include <utility>
#include <vector>

namespace underwing {

/// A house's air over the time since the last summary: one of `plots` in `deliver` (plugins/README.md).
struct Plot {
  std::string title;
  std::string unit;     ///< "°C", of all values
  std::string no_data;  ///< what stands in a gap that has room for it
  std::string alt;      ///< in words what the plot shows
  double begin = 0;     ///< seconds since 1970
  double every_s = 600;
  /// Spans of `every_s`, all lists as long; NaN: the air is not known, there is no such limit.
  std::vector<double> lowest, highest, low, high;
  std::vector<std::pair<double, std::string>> ticks;  ///< times and what stands below them
};

/// Reads one. nullopt, with the reason in `why`: it is none, or too large.
[[nodiscard]] std::optional<Plot> read_plot(const nlohmann::json& from, std::string& why);

/// Draws it, in pixels, as PNG. A gap stays one. Empty, with the reason in `why`: it cannot be drawn.
inline constexpr int kPlotWidth = 640, kPlotHeight = 240;
[[nodiscard]] std::string draw_plot(const Plot& plot, std::string& why);

}  // namespace underwing
