#include "daemon/plots.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <cmath>

#include "daemon/words.hpp"
#include "rules/languages/texts.hpp"

namespace underwing {

namespace {

using nlohmann::json;
using namespace std::chrono_literals;

constexpr Duration kShortest = 30min;
constexpr std::size_t kSpansMax = 144;      // a day
constexpr std::size_t kTicksMax = 7;        // as many clock times as stand side by side
constexpr std::size_t kTitleBytesMax = 60;
constexpr std::size_t kTimesMax = 3;        // stretches that the words name
constexpr Duration kQuarter = 15min;        // zones differ from UTC by whole quarters of an hour

static_assert(kSpansMax * AirSpan::kLength == 24h);

double seconds_since_1970(Instant time) { return seconds_of(time.time_since_epoch()); }

/// As much of a text as fits, whole characters.
std::string cut_bytes(std::string text, std::size_t bytes_max) {
  if (text.size() <= bytes_max) return text;
  while (bytes_max > 0 && (static_cast<unsigned char>(text[bytes_max]) & 0xc0) == 0x80) --bytes_max;
  return text.substr(0, bytes_max);
}

class HousePlot {
 public:
  HousePlot(const Watch& watch, std::size_t house, const Stretch& stretch, const Language& language)
      : watch_(watch), rules_(watch.rules()), language_(language), house_(house),
        unit_(shown_in(rules_.measures[*rules_.find_measure("air_temperature")].unit, rules_.farm.units)),
        wall_ahead_(watch.wall() - watch.now()) {
    const Duration over = stretch.from.time_since_epoch() % AirSpan::kLength;
    begin_ = over == Duration::zero() ? stretch.from : stretch.from - over + AirSpan::kLength;
    const auto count = static_cast<std::size_t>((stretch.until - begin_ + AirSpan::kLength - Duration(1)) / AirSpan::kLength);
    spans_.resize(std::min(count, kSpansMax));
    for (const AirSpan& span : watch.air_kept(rules_.houses[house].name)) place(span, stretch.until);
  }

  json run() const {
    json out = {{"title", title()}, {"unit", unit_.text}, {"begin", seconds_since_1970(begin_ + wall_ahead_)},
                {"every_s", std::chrono::duration_cast<std::chrono::seconds>(AirSpan::kLength).count()},
                {"no_data", say(language_, "no_data")}, {"alt", alt()}, {"ticks", ticks()}};
    for (const auto& [name, value] : std::array<std::pair<const char*, double AirSpan::*>, 4>{
             {{"lowest", &AirSpan::lowest}, {"highest", &AirSpan::highest}, {"low", &AirSpan::low}, {"high", &AirSpan::high}}}) {
      json& list = out[name] = json::array();
      for (const AirSpan& span : spans_) list.push_back(shown(span.*value));
    }
    return out;
  }

 private:
  using Spans = std::vector<std::pair<std::size_t, std::size_t>>;  ///< [first, last)

  /// The air of a span counts where more than half of its minutes are known. So ten minutes without air show, wherever
  /// they begin.
  void place(AirSpan span, Instant until) {
    const auto index = (span.begin - begin_) / AirSpan::kLength;
    if (span.begin < begin_ || static_cast<std::size_t>(index) >= spans_.size()) return;
    const auto passed = std::chrono::ceil<std::chrono::minutes>(std::min(AirSpan::kLength, until - span.begin));
    if (2 * static_cast<std::int64_t>(span.minutes) <= passed.count()) span.lowest = span.highest = kUnknown;
    spans_[static_cast<std::size_t>(index)] = span;
  }

  [[nodiscard]] json shown(double value) const { return known(value) ? json(std::round(unit_.from_canonical(value) * 100) / 100) : json(); }
  [[nodiscard]] std::string in_words(double value) const { return fmt::format("{:.1f} {}", unit_.from_canonical(value), unit_.text); }

  [[nodiscard]] Instant wall_at(std::size_t index) const { return begin_ + static_cast<int>(index) * AirSpan::kLength + wall_ahead_; }
  [[nodiscard]] std::string clock_at(std::size_t index) const { return clock_time(rules_.farm.zone, wall_at(index)); }

  [[nodiscard]] std::string title() const {
    std::string name = cut_bytes(rules_.houses[house_].name, kTitleBytesMax);
    const auto flock = rules_.flock_in(house_, watch_.wall());
    return flock ? name + ", " + day_of(rules_.flocks[*flock], rules_.farm.zone, watch_.wall(), language_) : name;
  }

  /// Whole hours of the farm's clock.
  [[nodiscard]] json ticks() const {
    const Instant end = wall_at(spans_.size());
    for (const int every_h : {1, 2, 3, 4, 6}) {
      json list = json::array();
      for (Instant time = wall_at(0) - wall_at(0).time_since_epoch() % kQuarter; time <= end; time += kQuarter) {
        const Duration of_day = rules_.farm.zone.to_local(time).as_if_utc.time_since_epoch() % Duration(24h);
        if (time >= wall_at(0) && of_day % std::chrono::hours(every_h) == Duration::zero()) list.push_back({seconds_since_1970(time), clock_time(rules_.farm.zone, time)});
      }
      if (list.size() <= kTicksMax) return list;
    }
    return json::array();
  }

  template <typename Fits>
  [[nodiscard]] Spans where(Fits fits) const {
    Spans found;
    for (std::size_t i = 0; i < spans_.size(); ++i) {
      if (!fits(spans_[i])) continue;
      if (!found.empty() && found.back().second == i) ++found.back().second;
      else found.emplace_back(i, i + 1);
    }
    return found;
  }

  /// "01:50-02:40, 04:10-04:20".
  [[nodiscard]] std::string times_of(const Spans& spans) const {
    std::vector<std::string> times;
    for (const auto& [first, last] : spans) {
      if (times.size() == kTimesMax) {
        times.push_back("…");
        break;
      }
      times.push_back(clock_at(first) + "-" + clock_at(last));
    }
    return list_of(times, ", ");
  }

  /// In words what the plot shows, for whoever does not see it.
  [[nodiscard]] std::string alt() const {
    const auto is_known = [](const AirSpan& span) { return known(span.lowest); };
    const std::string since = clock_at(0);
    const Spans seen = where(is_known);
    if (seen.empty()) return say(language_, "plot_unknown", {{"house", title()}, {"time", since}});
    std::size_t least = seen.front().first, most = least;
    for (std::size_t i = 0; i < spans_.size(); ++i) {
      if (spans_[i].lowest < spans_[least].lowest) least = i;
      if (spans_[i].highest > spans_[most].highest) most = i;
    }
    std::string text = say(language_, "plot_air", {{"house", title()}, {"time", since},
                                                   {"low", in_words(spans_[least].lowest)}, {"low_time", clock_at(least)},
                                                   {"high", in_words(spans_[most].highest)}, {"high_time", clock_at(most)}});
    const auto add = [&](TextKey key, const Spans& spans) {
      if (!spans.empty()) text += " " + say(language_, key, {{"times", times_of(spans)}});
    };
    const Spans below = where([](const AirSpan& span) { return span.lowest < span.low; });
    const Spans above = where([](const AirSpan& span) { return span.highest > span.high; });
    const bool limited = std::any_of(spans_.begin(), spans_.end(), [](const AirSpan& span) { return known(span.low) || known(span.high); });
    add("plot_below", below);
    add("plot_above", above);
    if (!limited) text += " " + say(language_, "plot_no_limits");
    else if (below.empty() && above.empty()) text += " " + say(language_, "plot_inside");
    add("plot_gap", where([&](const AirSpan& span) { return !is_known(span); }));
    return text;
  }

  const Watch& watch_;
  const RuleSet& rules_;
  const Language& language_;
  std::size_t house_;
  Unit unit_;  ///< that people read
  Duration wall_ahead_;
  Instant begin_{};
  std::vector<AirSpan> spans_;
};

}  // namespace

json plots(const Watch& watch, const Stretch& stretch, const Language& language) {
  json all = json::array();
  const RuleSet& rules = watch.rules();
  if (stretch.until - stretch.from < kShortest || !rules.find_measure("air_temperature")) return all;
  for (std::size_t house = 0; house < rules.houses.size() && all.size() < kPlotsMax; ++house) {
    if (!rules.flock_in(house, watch.wall()) || watch.air_kept(rules.houses[house].name).empty()) continue;
    all.push_back(HousePlot(watch, house, stretch, language).run());
  }
  return all;
}

}  // namespace underwing
