#include "plugins/mail/plot.hpp"

#include <cairo.h>
#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <cmath>
#include <limits>
#include <memory>

namespace underwing {
namespace {

constexpr std::size_t kSpansMax = 300, kTicksMax = 30, kTextBytesMax = 2000;
constexpr double kFar = 1e6;  // No temperature, and a plot of it would be a flat line.

// The field within the picture, in pixels; around it stand title, values and times. Many phones show the picture at
// half its size, so that letters of 19 are as those of a text there.
constexpr double kLeft = 52, kRight = kPlotWidth - 106, kTop = 40, kBottom = kPlotHeight - 34;
constexpr double kFontSize = 19;
constexpr double kValueTicks = 4;

struct Colour {
  double red, green, blue;
};
constexpr Colour kWhite{1, 1, 1}, kInk{0.1, 0.1, 0.1}, kGrid{0.85, 0.85, 0.85}, kHatch{0.55, 0.55, 0.55}, kLimit{0.25, 0.25, 0.25},
    kOutside{0.97, 0.91, 0.86}, kAir{0.0, 0.27, 0.55}, kAirOutside{0.75, 0.0, 0.0};

bool known(double value) {
  return !std::isnan(value);
}

std::vector<double> numbers_of(const nlohmann::json& list) {
  std::vector<double> numbers;
  for (const auto& value : list) {
    numbers.push_back(value.is_null() ? std::numeric_limits<double>::quiet_NaN() : value.get<double>());
  }
  return numbers;
}

std::string size_trouble(const Plot& plot) {
  const std::size_t count = plot.lowest.size();
  if (count == 0 || count > kSpansMax) return fmt::format("{} spans are none or too many", count);
  for (const auto* list : {&plot.highest, &plot.low, &plot.high}) {
    if (list->size() != count) return "its lists are not equally long";
  }
  for (const auto* list : {&plot.lowest, &plot.highest, &plot.low, &plot.high}) {
    if (std::any_of(list->begin(), list->end(), [](double value) { return std::fabs(value) > kFar; })) return "a value is too large";
  }
  for (std::size_t i = 0; i < count; ++i) {
    if (known(plot.lowest[i]) != known(plot.highest[i]) || plot.lowest[i] > plot.highest[i]) return "lowest and highest do not fit";
  }
  if (!(plot.every_s > 0 && plot.every_s <= 86'400)) return "every_s is no span of at most a day";
  if (plot.ticks.size() > kTicksMax) return "it has too many ticks";
  for (const auto* text : {&plot.title, &plot.unit, &plot.no_data, &plot.alt}) {
    if (text->size() > kTextBytesMax) return "a text is too long";
  }
  return {};
}

/// Round values within the range, about kValueTicks of them, and the digits behind the point that they need.
std::pair<std::vector<double>, int> value_ticks(double low, double high) {
  const double rough = (high - low) / kValueTicks;
  const double power = std::pow(10.0, std::floor(std::log10(rough)));
  double step = 10 * power;
  for (const double times : {1.0, 2.0, 5.0}) {
    if (times * power < rough) continue;
    step = times * power;
    break;
  }
  std::vector<double> ticks;
  for (double i = std::ceil(low / step); i * step <= high; i += 1) ticks.push_back(i * step);
  return {ticks, step < 1 ? 1 : 0};
}

/// Draws one plot. Cairo keeps the first error and does nothing after it, so that it is asked at the end.
class Drawing {
 public:
  explicit Drawing(const Plot& plot)
      : plot_(plot),
        surface_(cairo_image_surface_create(CAIRO_FORMAT_RGB24, kPlotWidth, kPlotHeight), &cairo_surface_destroy),
        cairo_(cairo_create(surface_.get()), &cairo_destroy) {
    find_range();
  }

  std::string run(std::string& why) {
    font(CAIRO_FONT_WEIGHT_NORMAL);
    colour(kWhite);
    cairo_paint(cairo_.get());
    draw_outside();
    draw_values();
    draw_times();
    draw_gaps();
    draw_limit(plot_.low, "min");
    draw_limit(plot_.high, "max");
    draw_air();
    draw_frame();
    draw_gap_words();
    draw_worst();
    draw_title();
    std::string png;
    cairo_surface_flush(surface_.get());
    cairo_status_t status = cairo_status(cairo_.get());
    if (status == CAIRO_STATUS_SUCCESS) status = cairo_surface_write_to_png_stream(surface_.get(), &Drawing::append, &png);
    if (status == CAIRO_STATUS_SUCCESS) return png;
    why = cairo_status_to_string(status);
    return {};
  }

 private:
  [[nodiscard]] std::size_t count() const { return plot_.lowest.size(); }
  [[nodiscard]] bool seen(std::size_t i) const { return i < count() && known(plot_.lowest[i]); }
  [[nodiscard]] double x_of(double spans) const { return kLeft + (kRight - kLeft) * spans / static_cast<double>(count()); }
  [[nodiscard]] double left_of(std::size_t i) const { return x_of(static_cast<double>(i)); }
  [[nodiscard]] double middle_of(std::size_t i) const { return x_of(static_cast<double>(i) + 0.5); }
  [[nodiscard]] double y_of(double value) const { return kBottom - (kBottom - kTop) * (value - bottom_) / (top_ - bottom_); }

  static cairo_status_t append(void* png, const unsigned char* bytes, unsigned int length) {
    static_cast<std::string*>(png)->append(bytes, bytes + length);
    return CAIRO_STATUS_SUCCESS;
  }

  void colour(const Colour& it) { cairo_set_source_rgb(cairo_.get(), it.red, it.green, it.blue); }

  /// Where the machine has no fonts, cairo has letters of its own.
  void font(cairo_font_weight_t weight) {
    cairo_select_font_face(cairo_.get(), "DejaVu Sans", CAIRO_FONT_SLANT_NORMAL, weight);
    cairo_set_font_size(cairo_.get(), kFontSize);
  }

  [[nodiscard]] double width_of(const std::string& text) const {
    cairo_text_extents_t extents;
    cairo_text_extents(cairo_.get(), text.c_str(), &extents);
    return extents.x_advance;
  }

  void text_at(double x, double y, const std::string& text) {
    cairo_move_to(cairo_.get(), std::round(x), std::round(y));
    cairo_show_text(cairo_.get(), text.c_str());
  }

  void line(double x0, double y0, double x1, double y1, double width) {
    cairo_set_line_width(cairo_.get(), width);
    cairo_move_to(cairo_.get(), x0, y0);
    cairo_line_to(cairo_.get(), x1, y1);
    cairo_stroke(cairo_.get());
  }

  /// Air and limits, with some room; a calm night is not blown up into a storm.
  void find_range() {
    constexpr double kLeast = 4;
    double low = std::numeric_limits<double>::infinity(), high = -low;
    for (const auto* list : {&plot_.lowest, &plot_.highest, &plot_.low, &plot_.high}) {
      for (const double value : *list) {
        low = std::fmin(low, value);
        high = std::fmax(high, value);
      }
    }
    if (low > high) low = high = 0;
    const double room = std::max((high - low) * 0.12, (kLeast - (high - low)) / 2);
    bottom_ = low - room;
    top_ = high + room;
  }

  /// [first, last) of the spans for which `fits` holds.
  template <typename Fits>
  [[nodiscard]] std::vector<std::pair<std::size_t, std::size_t>> runs(Fits fits) const {
    std::vector<std::pair<std::size_t, std::size_t>> found;
    for (std::size_t i = 0; i < count(); ++i) {
      if (!fits(i)) continue;
      if (!found.empty() && found.back().second == i) ++found.back().second;
      else found.emplace_back(i, i + 1);
    }
    return found;
  }

  /// The path of all that is outside the limits.
  void path_outside() {
    for (std::size_t i = 0; i < count(); ++i) {
      const double x = left_of(i), width = left_of(i + 1) - x;
      if (known(plot_.high[i])) cairo_rectangle(cairo_.get(), x, kTop, width, y_of(plot_.high[i]) - kTop);
      if (known(plot_.low[i])) cairo_rectangle(cairo_.get(), x, y_of(plot_.low[i]), width, kBottom - y_of(plot_.low[i]));
    }
  }

  void draw_outside() {
    colour(kOutside);
    cairo_set_antialias(cairo_.get(), CAIRO_ANTIALIAS_NONE);  // Its pieces stand side by side without a seam.
    path_outside();
    cairo_fill(cairo_.get());
    cairo_set_antialias(cairo_.get(), CAIRO_ANTIALIAS_DEFAULT);
  }

  void draw_values() {
    const auto [ticks, digits] = value_ticks(bottom_, top_);
    for (const double value : ticks) {
      const double y = std::round(y_of(value)) + 0.5;
      colour(kGrid);
      line(kLeft, y, kRight, y, 1);
      colour(kInk);
      const std::string text = fmt::format("{:.{}f}", value, digits);
      text_at(kLeft - 7 - width_of(text), y + 7, text);
    }
  }

  void draw_times() {
    double free_from = 0;
    for (const auto& [time, text] : plot_.ticks) {
      const double spans = (time - plot_.begin) / plot_.every_s;
      if (!(spans >= 0 && spans <= static_cast<double>(count()))) continue;
      const double x = std::round(x_of(spans)) + 0.5;
      colour(kGrid);
      line(x, kTop, x, kBottom, 1);
      colour(kInk);
      line(x, kBottom, x, kBottom + 6, 2);
      const double width = width_of(text), begin = x - width / 2;
      if (begin < free_from || begin + width > kPlotWidth) continue;
      text_at(begin, kPlotHeight - 8, text);
      free_from = begin + width + 4;
    }
  }

  /// What is not known is struck out, so that nobody takes it for calm.
  void draw_gaps() {
    for (const auto& [first, last] : runs([&](std::size_t i) { return !seen(i); })) {
      const double x = left_of(first), width = left_of(last) - x;
      cairo_save(cairo_.get());
      cairo_rectangle(cairo_.get(), x, kTop, width, kBottom - kTop);
      cairo_clip(cairo_.get());
      colour(kWhite);
      cairo_paint(cairo_.get());
      colour(kHatch);
      const double height = kBottom - kTop;
      for (double at = x - height; at < x + width; at += 9) line(at, kBottom, at + height, kTop, 1.5);
      cairo_restore(cairo_.get());
    }
  }

  /// Words over the hatch of gaps, where they have room.
  void draw_gap_words() {
    const double width = width_of(plot_.no_data);
    for (const auto& [first, last] : runs([&](std::size_t i) { return !seen(i); })) {
      const double x = (left_of(first) + left_of(last)) / 2, y = (kTop + kBottom) / 2;
      if (left_of(last) - left_of(first) < width + 16) continue;
      colour(kWhite);
      cairo_rectangle(cairo_.get(), x - width / 2 - 6, y - 15, width + 12, 30);
      cairo_fill(cairo_.get());
      colour(kInk);
      text_at(x - width / 2, y + 7, plot_.no_data);
    }
  }

  /// Dashed, in steps where there is none for a while, with its last value beside it.
  void draw_limit(const std::vector<double>& limit, const char* name) {
    const std::array dashes{7.0, 5.0};
    const auto there = runs([&](std::size_t i) { return known(limit[i]); });
    colour(kLimit);
    cairo_set_dash(cairo_.get(), dashes.data(), static_cast<int>(dashes.size()), 0);
    cairo_set_line_width(cairo_.get(), 2);
    for (const auto& [first, last] : there) {
      cairo_move_to(cairo_.get(), left_of(first), y_of(limit[first]));
      for (std::size_t i = first; i < last; ++i) cairo_line_to(cairo_.get(), middle_of(i), y_of(limit[i]));
      cairo_line_to(cairo_.get(), left_of(last), y_of(limit[last - 1]));
      cairo_stroke(cairo_.get());
    }
    cairo_set_dash(cairo_.get(), nullptr, 0, 0);
    if (there.empty()) return;
    const double y = y_of(limit[there.back().second - 1]) + 7;
    // Low and high stand apart where the window is narrow.
    const double other = label_y_ == 0 ? y : std::min(y, label_y_ - kFontSize - 2);
    label_y_ = y;
    text_at(kRight + 8, std::max(other, kTop + 7), fmt::format("{} {:.1f}", name, limit[there.back().second - 1]));
  }

  /// From the lowest to the highest of each span, and on to the next: as thick as the air was restless.
  void path_air(std::size_t first, std::size_t last) {
    cairo_new_path(cairo_.get());
    for (std::size_t i = first; i < last; ++i) cairo_line_to(cairo_.get(), middle_of(i), y_of(plot_.highest[i]));
    for (std::size_t i = last; i-- > first;) cairo_line_to(cairo_.get(), middle_of(i), y_of(plot_.lowest[i]));
    cairo_close_path(cairo_.get());
  }

  /// One span alone would be too thin to be seen between its gaps.
  void dot(double x, double y, double radius) {
    cairo_new_path(cairo_.get());
    cairo_arc(cairo_.get(), x, y, radius, 0, 2 * std::acos(-1.0));
    cairo_fill(cairo_.get());
  }

  void stroke_air(const Colour& with, double width) {
    colour(with);
    cairo_set_line_width(cairo_.get(), width);
    for (const auto& [first, last] : runs([&](std::size_t i) { return seen(i); })) {
      if (last - first == 1) dot(middle_of(first), y_of((plot_.lowest[first] + plot_.highest[first]) / 2), width + 1.5);
      path_air(first, last);
      cairo_fill_preserve(cairo_.get());
      cairo_stroke(cairo_.get());
    }
  }

  /// Outside the limits the line is thicker, so that it does not go by colour alone.
  void draw_air() {
    cairo_set_line_join(cairo_.get(), CAIRO_LINE_JOIN_BEVEL);
    stroke_air(kAir, 3);
    cairo_save(cairo_.get());
    path_outside();
    cairo_clip(cairo_.get());
    stroke_air(kAirOutside, 6);
    cairo_restore(cairo_.get());
  }

  /// How far it went, in numbers, where it was outside.
  void draw_worst() {
    std::optional<std::size_t> coldest, hottest;
    for (std::size_t i = 0; i < count(); ++i) {
      if (plot_.lowest[i] < plot_.low[i] && !(coldest && plot_.lowest[*coldest] <= plot_.lowest[i])) coldest = i;
      if (plot_.highest[i] > plot_.high[i] && !(hottest && plot_.highest[*hottest] >= plot_.highest[i])) hottest = i;
    }
    if (coldest) draw_worst_at(*coldest, plot_.lowest[*coldest]);
    if (hottest) draw_worst_at(*hottest, plot_.highest[*hottest]);
  }

  /// Beside the line, on the side where the field has more room.
  void draw_worst_at(std::size_t i, double value) {
    constexpr double kAside = 16;
    const std::string text = fmt::format("{:.1f}", value);
    const double x = middle_of(i);
    const double begin = x > (kLeft + kRight) / 2 ? x - kAside - width_of(text) : x + kAside;
    cairo_move_to(cairo_.get(), std::round(begin), std::round(std::clamp(y_of(value) + 7, kTop + 16, kBottom - 5)));
    cairo_text_path(cairo_.get(), text.c_str());
    colour(kWhite);
    cairo_set_line_width(cairo_.get(), 5);
    cairo_stroke_preserve(cairo_.get());
    colour(kAirOutside);
    cairo_fill(cairo_.get());
  }

  void draw_frame() {
    colour(kInk);
    line(kLeft, kTop, kLeft, kBottom, 2);
    line(kLeft - 1, kBottom, kRight, kBottom, 2);
  }

  void draw_title() {
    colour(kInk);
    text_at(kLeft - 7 - width_of(plot_.unit), kTop - 16, plot_.unit);
    font(CAIRO_FONT_WEIGHT_BOLD);
    std::string title = plot_.title;
    const std::string dots = "…";
    const double room = kPlotWidth - kLeft - 8;
    if (width_of(title) > room) {
      do {
        while (!title.empty() && (static_cast<unsigned char>(title.back()) & 0xc0) == 0x80) title.pop_back();
        if (!title.empty()) title.pop_back();
      } while (!title.empty() && width_of(title + dots) > room);
      title += dots;
    }
    text_at(kLeft, kTop - 16, title);
  }

  const Plot& plot_;
  double bottom_ = 0, top_ = 1;  ///< values at the field's edges
  double label_y_ = 0;           ///< of the limit that was drawn last; 0: none
  std::unique_ptr<cairo_surface_t, decltype(&cairo_surface_destroy)> surface_;
  std::unique_ptr<cairo_t, decltype(&cairo_destroy)> cairo_;
};

}  // namespace

std::optional<Plot> read_plot(const nlohmann::json& from, std::string& why) {
  Plot plot;
  try {
    plot.title = from.at("title");
    plot.unit = from.at("unit");
    plot.no_data = from.at("no_data");
    plot.alt = from.at("alt");
    plot.begin = from.at("begin");
    plot.every_s = from.at("every_s");
    plot.lowest = numbers_of(from.at("lowest"));
    plot.highest = numbers_of(from.at("highest"));
    plot.low = numbers_of(from.at("low"));
    plot.high = numbers_of(from.at("high"));
    for (const auto& tick : from.at("ticks")) plot.ticks.emplace_back(tick.at(0), tick.at(1));
  } catch (const nlohmann::json::exception& failure) {
    why = failure.what();
    return std::nullopt;
  }
  why = size_trouble(plot);
  return why.empty() ? std::optional(std::move(plot)) : std::nullopt;
}

std::string draw_plot(const Plot& plot, std::string& why) {
  return Drawing(plot).run(why);
}

}  // namespace underwing
