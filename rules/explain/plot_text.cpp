#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "rules/explain/plot.hpp"
#include "rules/explain/words.hpp"

namespace underwing {
namespace {

struct GlyphSet {
  const char* upper;  ///< a line in the upper half of a character
  const char* lower;
  const char* whole;
  const char* fine;  ///< inside the limits
  const char* mark;
  const char* axis_left;
  const char* axis_tick;
  const char* corner;
  const char* axis;
  const char* tick;
  const char* pointer;
};
constexpr GlyphSet kBlocks{"▀", "▄", "█", "░", "┊", "│", "┤", "└", "─", "┬", "▲"};
constexpr GlyphSet kAscii{"#", "#", "#", ".", ":", "|", "+", "+", "-", "+", "^"};

/// The field of a plot: which half characters the lines take, where it is fine, where the mark stands.
class Field {
 public:
  Field(const Plot& plot, std::size_t columns, std::size_t rows)
      : plot_(plot), columns_(columns), rows_(rows), range_(value_range(plot)) {}

  /// The half row (0 at the top) of a value.
  [[nodiscard]] double half_row(double value) const {
    return (range_.second - value) / (range_.second - range_.first) * static_cast<double>(2 * rows_);
  }
  [[nodiscard]] std::size_t row_of(double value) const {
    return std::min(rows_ - 1, clamp(half_row(value)) / 2);
  }
  [[nodiscard]] std::size_t column_of(double age_d) const {
    const double part = (age_d - plot_.begin_d) / (plot_.end_d - plot_.begin_d);
    return std::min(columns_ - 1,
                    static_cast<std::size_t>(std::max(0.0, part * static_cast<double>(columns_))));
  }

  [[nodiscard]] const char* cell(std::size_t row, std::size_t column, const GlyphSet& glyphs) const {
    const bool upper = line_in(2 * row, column);
    const bool lower = line_in(2 * row + 1, column);
    if (upper && lower) return glyphs.whole;
    if (upper) return glyphs.upper;
    if (lower) return glyphs.lower;
    if (plot_.mark_d && column_of(*plot_.mark_d) == column) return glyphs.mark;
    return fine_at(value_of(row), age_of(column)) ? glyphs.fine : " ";
  }

 private:
  [[nodiscard]] std::size_t clamp(double half) const {
    return static_cast<std::size_t>(std::clamp(half, 0.0, static_cast<double>(2 * rows_ - 1)));
  }
  [[nodiscard]] double age_of(std::size_t column) const {
    return plot_.begin_d + (plot_.end_d - plot_.begin_d) * (static_cast<double>(column) + 0.5) /
                               static_cast<double>(columns_);
  }
  [[nodiscard]] double value_of(std::size_t row) const {
    return range_.second -
           (range_.second - range_.first) * (static_cast<double>(row) + 0.5) / static_cast<double>(rows_);
  }
  [[nodiscard]] bool line_in(std::size_t half, std::size_t column) const {
    return std::any_of(plot_.lines.begin(), plot_.lines.end(), [&](const Plot::Line& line) {
      return clamp(half_row(line.at(age_of(column)))) == half;
    });
  }
  [[nodiscard]] bool fine_at(double value, double age_d) const {
    return std::all_of(plot_.lines.begin(), plot_.lines.end(), [&](const Plot::Line& line) {
      return line.side == Limit::Side::low ? value >= line.at(age_d) : value <= line.at(age_d);
    });
  }

  const Plot& plot_;
  std::size_t columns_;
  std::size_t rows_;
  std::pair<double, double> range_;
};

/// Puts a text into a row of spaces, its middle at `column`, if there is room for it.
void put(std::string& row, std::size_t column, const std::string& text) {
  const std::size_t half = text.size() / 2;
  std::size_t begin = column > half ? column - half : 0;
  if (text.size() > row.size()) return;
  begin = std::min(begin, row.size() - text.size());
  const std::size_t before = begin > 0 ? begin - 1 : 0;
  if (row.find_first_not_of(' ', before) < std::min(row.size(), begin + text.size() + 1)) return;
  row.replace(begin, text.size(), text);
}

void trim(std::string& row) {
  row.erase(row.find_last_not_of(' ') + 1);
}

/// The name of the line that ends in this row, to stand at its right end.
std::string name_at_end(const Plot& plot, const Field& field, std::size_t row) {
  std::string names;
  for (const Plot::Line& line : plot.lines) {
    if (field.row_of(line.at(plot.end_d)) != row) continue;
    names += (names.empty() ? " " : "; ") + line.name;
  }
  return names;
}

}  // namespace

std::string plot_as_text(const Plot& plot, std::size_t width, std::size_t height, Glyphs glyphs) {
  const GlyphSet& set = glyphs == Glyphs::blocks ? kBlocks : kAscii;
  const auto [low, high] = value_range(plot);
  const std::vector<double> ticks = round_ticks(low, high, std::max<std::size_t>(2, height / 3));
  std::size_t left = columns_of(plot.unit);
  std::size_t right = 0;
  for (const double tick : ticks) left = std::max(left, plain_number(tick).size());
  for (const Plot::Line& line : plot.lines) right = std::max(right, line.name.size() + 1);
  const std::size_t taken = left + 2 + right;
  const std::size_t columns = width > taken + 20 ? width - taken : 20;
  const Field field(plot, columns, height);

  std::string out = right_aligned(plot.unit, left) + "\n";
  for (std::size_t row = 0; row < height; ++row) {
    const auto tick =
        std::find_if(ticks.begin(), ticks.end(), [&](double it) { return field.row_of(it) == row; });
    std::string line = right_aligned(tick == ticks.end() ? "" : plain_number(*tick), left) + ' ';
    line += tick == ticks.end() ? set.axis_left : set.axis_tick;
    for (std::size_t column = 0; column < columns; ++column) line += field.cell(row, column, set);
    line += name_at_end(plot, field, row);
    trim(line);
    out += line + "\n";
  }

  const std::vector<double> ages = age_ticks(plot.begin_d, plot.end_d, columns / 8);
  std::string axis = std::string(left + 1, ' ') + set.corner;
  std::string labels(left + 2 + columns, ' ');
  for (std::size_t column = 0; column < columns; ++column) {
    const bool at_tick =
        std::any_of(ages.begin(), ages.end(), [&](double age) { return field.column_of(age) == column; });
    axis += at_tick ? set.tick : set.axis;
  }
  for (const double age : ages) put(labels, left + 2 + field.column_of(age), plain_number(age) + " d");
  trim(labels);
  out += axis + "\n" + labels + "\n";
  if (plot.mark_d) {
    const std::size_t column = left + 2 + field.column_of(*plot.mark_d);
    const std::size_t size = plot.mark.size() + 2;
    // The words stand on the side that has room.
    const bool before = column + size > width && column > size;
    out += before ? std::string(column - size + 1, ' ') + plot.mark + " " + set.pointer
                  : std::string(column, ' ') + set.pointer + " " + plot.mark;
    out += "\n";
  }
  return out;
}

}  // namespace underwing
