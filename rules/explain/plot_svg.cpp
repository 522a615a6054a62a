#include <fmt/format.h>

#include <algorithm>

#include "rules/explain/plot.hpp"
#include "rules/explain/words.hpp"

namespace underwing {
namespace {

constexpr double kWidth = 760, kHeight = 420;
constexpr double kLeft = 64, kRight = 650, kTop = 56, kBottom = 360;

std::string escaped(std::string_view text) {
  std::string out;
  for (const char c : text) {
    if (c == '&')
      out += "&amp;";
    else if (c == '<')
      out += "&lt;";
    else if (c == '>')
      out += "&gt;";
    else if (c == '"')
      out += "&quot;";
    else
      out += c;
  }
  return out;
}

class Picture {
 public:
  explicit Picture(const Plot& plot) : plot_(plot), range_(value_range(plot)) {}

  std::string draw() {
    head();
    fine_area();
    value_axis();
    age_axis();
    for (const Plot::Line& line : plot_.lines) draw_line(line);
    if (plot_.mark_d) draw_mark();
    out_ += "</svg>\n";
    return out_;
  }

 private:
  [[nodiscard]] double x(double age_d) const {
    return kLeft + (age_d - plot_.begin_d) / (plot_.end_d - plot_.begin_d) * (kRight - kLeft);
  }
  [[nodiscard]] double y(double value) const {
    return kBottom - (value - range_.first) / (range_.second - range_.first) * (kBottom - kTop);
  }

  void head() {
    out_ += fmt::format(
        "<svg xmlns=\"http://www.w3.org/2000/svg\" viewBox=\"0 0 {0:g} {1:g}\" width=\"{0:g}\" "
        "height=\"{1:g}\" "
        "role=\"img\" font-family=\"sans-serif\" font-size=\"13\" fill=\"#222\">\n"
        "<title>{2}</title>\n<rect width=\"{0:g}\" height=\"{1:g}\" fill=\"#fff\"/>\n"
        "<text x=\"{3:g}\" y=\"28\" font-size=\"17\" font-weight=\"bold\">{2}</text>\n",
        kWidth, kHeight, escaped(plot_.title), kLeft);
  }

  /// Of several limits of a side the first is the innermost one, where it stops being fine.
  [[nodiscard]] const Plot::Line* first_of(Limit::Side side) const {
    const auto found = std::find_if(plot_.lines.begin(), plot_.lines.end(),
                                    [&](const Plot::Line& it) { return it.side == side; });
    return found == plot_.lines.end() ? nullptr : &*found;
  }

  [[nodiscard]] std::string points_of(const Plot::Line& line) const {
    std::string points;
    for (const auto& [age, value] : line.points) {
      points += fmt::format("{}{:.1f},{:.1f}", points.empty() ? "" : " ", x(age), y(value));
    }
    return points;
  }

  void fine_area() {
    const Plot::Line* low = first_of(Limit::Side::low);
    const Plot::Line* high = first_of(Limit::Side::high);
    std::string points =
        high ? points_of(*high) : fmt::format("{:.1f},{:.1f} {:.1f},{:.1f}", kLeft, kTop, kRight, kTop);
    if (low) {
      for (auto point = low->points.rbegin(); point != low->points.rend(); ++point) {
        points += fmt::format(" {:.1f},{:.1f}", x(point->first), y(point->second));
      }
    } else {
      points += fmt::format(" {:.1f},{:.1f} {:.1f},{:.1f}", kRight, kBottom, kLeft, kBottom);
    }
    out_ += fmt::format("<polygon points=\"{}\" fill=\"#e3efe0\"/>\n", points);
  }

  void value_axis() {
    for (const double tick : round_ticks(range_.first, range_.second, 6)) {
      out_ += fmt::format(
          "<line x1=\"{0:g}\" y1=\"{2:.1f}\" x2=\"{1:g}\" y2=\"{2:.1f}\" stroke=\"#ccc\"/>"
          "<text x=\"{3:g}\" y=\"{4:.1f}\" text-anchor=\"end\">{5}</text>\n",
          kLeft, kRight, y(tick), kLeft - 8, y(tick) + 4.5, plain_number(tick));
    }
    out_ += fmt::format("<text x=\"{:g}\" y=\"{:g}\" text-anchor=\"end\">{}</text>\n", kLeft - 8, kTop - 12,
                        escaped(plot_.unit));
  }

  void age_axis() {
    out_ += fmt::format("<path d=\"M{0:g} {1:g}V{2:g}H{3:g}\" fill=\"none\" stroke=\"#444\"/>\n", kLeft, kTop,
                        kBottom, kRight);
    for (const double tick : age_ticks(plot_.begin_d, plot_.end_d, 16)) {
      out_ += fmt::format(
          "<line x1=\"{0:.1f}\" y1=\"{1:g}\" x2=\"{0:.1f}\" y2=\"{2:g}\" stroke=\"#444\"/>"
          "<text x=\"{0:.1f}\" y=\"{3:g}\" text-anchor=\"middle\">{4}</text>\n",
          x(tick), kBottom, kBottom + 6, kBottom + 21, plain_number(tick));
    }
    out_ +=
        fmt::format("<text x=\"{:.1f}\" y=\"{:g}\" text-anchor=\"middle\">age of the flock in days</text>\n",
                    (kLeft + kRight) / 2, kBottom + 42);
  }

  void draw_line(const Plot::Line& line) {
    const char* colour = line.side == Limit::Side::low ? "#1f5f9e" : "#b3391f";
    out_ += fmt::format(
        "<polyline points=\"{}\" fill=\"none\" stroke=\"{}\" stroke-width=\"2.5\" stroke-linejoin=\"round\"/>"
        "<text x=\"{:g}\" y=\"{:.1f}\" fill=\"{}\">{}</text>\n",
        points_of(line), colour, kRight + 8, y(line.at(plot_.end_d)) + 4.5, colour, escaped(line.name));
  }

  void draw_mark() {
    const double at = x(*plot_.mark_d);
    const bool before = at > (kLeft + kRight) / 2;
    out_ += fmt::format(
        "<line x1=\"{0:.1f}\" y1=\"{1:g}\" x2=\"{0:.1f}\" y2=\"{2:g}\" stroke=\"#444\" stroke-dasharray=\"4 "
        "3\"/>"
        "<text x=\"{3:.1f}\" y=\"{4:g}\" text-anchor=\"{5}\">{6}</text>\n",
        at, kTop - 8, kBottom, before ? at - 6 : at + 6, kTop - 2, before ? "end" : "start",
        escaped(plot_.mark));
  }

  const Plot& plot_;
  std::pair<double, double> range_;
  std::string out_;
};

}  // namespace

std::string plot_as_svg(const Plot& plot) {
  return Picture(plot).draw();
}

}  // namespace underwing
