// Program: all that can come of an expression until the next whole minute.
#include <array>

#include "rules/engine/lights.hpp"
#include "rules/engine/program.hpp"
#include "rules/trade/psychrometrics.hpp"

namespace underwing {

namespace {

/// Formulas that search for a root find it to 1e-11; this covers it.
constexpr double kSearchSlack = 1e-6;
/// Under this the formulas of moist air change from water to ice, where they need not rise.
constexpr double kNoIceC = 5;

}  // namespace

Range Program::count_range(const Step& step, const Site& site, const Outlook& outlook, const Board& board) const {
  double count = 0;
  for (const std::size_t place : probe_lists_[step.index]) {
    const std::size_t probe = site.series + place;
    if (!counts(site.flock, probe, outlook.wall)) continue;
    const bool usable = board.series[probe].usable(outlook.now);
    if (usable && board.series[probe].gate.expected.empty())
      return Range::between(0, static_cast<double>(probe_lists_[step.index].size()));
    count += usable;
  }
  return Range::point(count);
}

Range Program::curve_range(const CurveUse& use, const Range& age_h) const {
  if (!age_h.sure()) return age_h.is_known == Range::Known::no ? age_h : Range::open();
  const double begin = use.at(age_h.low), end = use.at(age_h.high);
  if (!known(begin) || !known(end)) return Range::open();
  Range range = ranges::hull({begin, end});
  for (std::size_t i = 0; i < use.ages_h.size(); ++i) {
    if (use.ages_h[i] < age_h.low || use.ages_h[i] > age_h.high) continue;
    range.low = std::min(range.low, use.curve->points[i].second);
    range.high = std::max(range.high, use.curve->points[i].second);
  }
  return range;
}

/// All of them rise with temperature and humidity, and `felt_temperature` falls with the reference.
Range Program::trade_range(const Step& step, std::span<const Range> arguments) const {
  for (const Range& argument : arguments) {
    if (argument.is_known == Range::Known::no) return Range::unknown();
  }
  for (const Range& argument : arguments) {
    if (!argument.sure()) return Range::open();
  }
  const Range &t = arguments[0], &rh = arguments[1];
  if (t.low < kNoIceC) return Range::open();
  double low = kUnknown, high = kUnknown;
  if (step.op == Op::wet_bulb) {
    low = psychrometrics::wet_bulb_c(t.low, rh.low, step.number);
    high = psychrometrics::wet_bulb_c(t.high, rh.high, step.number);
  } else if (step.op == Op::felt_temperature) {
    if (!arguments[2].is_point()) return Range::open();
    low = psychrometrics::felt_temperature_c(t.low, rh.low, arguments[2].low, arguments[3].high, step.number);
    high =
        psychrometrics::felt_temperature_c(t.high, rh.high, arguments[2].low, arguments[3].low, step.number);
  }
  return known(low) && known(high) ? Range::between(low - kSearchSlack, high + kSearchSlack) : Range::open();
}

/// Worked out at whole minutes only.
Range Program::share_range(const Share& share, double now, const Outlook& outlook) {
  return outlook.has_within(minute_step(share.span)) ? Range::open() : Range::point(now);
}

Range Program::range(const Site& site, const Outlook& outlook, Board& board) const {
  std::array<Range, kStackMax> stack;
  std::size_t top = 0;
  const auto push = [&](const Range& range) { stack[top++] = range; };
  const auto two = [&](auto apply) {
    --top;
    stack[top - 1] = apply(stack[top - 1], stack[top]);
  };
  const auto scaled = [](Range range, const Step& step) {
    return range.sure()
               ? Range::between(range.low * step.number + step.offset, range.high * step.number + step.offset)
               : range;
  };
  const auto age_h = [&] {
    const double now = hours_of(outlook.wall - site.flock->placed);
    return Range::between(now, now + hours_of(outlook.length()));
  };
  for (std::size_t at = 0; at < steps_.size(); ++at) {
    const Step& step = steps_[at];
    const auto skip_if = [&](bool settled) {
      if (settled) at = step.index - 1;
    };
    switch (step.op) {
      case Op::number: push(Range::point(step.number)); break;
      case Op::aggregate: push(board.range_of(board.aggregates[site.aggregate + step.index], outlook)); break;
      case Op::cell: push(board.range_of_cell(site.cell + step.index, outlook)); break;
      case Op::skip_if_no: skip_if(stack[top - 1].is_no()); break;
      case Op::skip_if_yes: skip_if(stack[top - 1].is_yes()); break;
      case Op::skip_if_known: skip_if(stack[top - 1].sure()); break;
      case Op::count: push(count_range(step, site, outlook, board)); break;
      // Of what people enter every reading is one that was not expected.
      case Op::tally: push(Range::point(tally(step, site, board))); break;
      case Op::birds: push(Range::point(birds(site, board))); break;
      case Op::share: push(share_range(board.shares[site.share + step.index], board.shares[site.share + step.index].mean, outlook)); break;
      case Op::share_error: push(share_range(board.shares[site.share + step.index], board.shares[site.share + step.index].error, outlook)); break;
      case Op::own: push(scaled(board.series[site.series + step.index].held_range(outlook), step)); break;
      case Op::own_window:
        push(scaled(board.series[site.series + step.index].window_range(step.slot, step.function, outlook), step));
        break;
      case Op::curve: push(curve_range(curves_[step.index], age_h())); break;
      case Op::curve_at: stack[top - 1] = curve_range(curves_[step.index], stack[top - 1]); break;
      case Op::age: push(age_h()); break;
      case Op::birds_placed: push(Range::point(site.flock->birds)); break;
      case Op::chick_weight: push(Range::point(site.flock->chick_weight_g)); break;
      case Op::goal_day_7: push(Range::point(site.flock->goal_day_7_g.value_or(kUnknown))); break;
      case Op::lights: push(lights_range(*site.flock, board.rules->farm.zone, outlook)); break;
      case Op::negate: stack[top - 1] = ranges::negate(stack[top - 1]); break;
      case Op::add: two(ranges::add); break;
      case Op::subtract: two(ranges::subtract); break;
      case Op::multiply: two(ranges::multiply); break;
      case Op::divide: two(ranges::divide); break;
      case Op::less: two(ranges::below); break;
      case Op::less_equal:
        two([](const Range& a, const Range& b) { return ranges::logic_not(ranges::below(b, a)); });
        break;
      case Op::greater:
        two([](const Range& a, const Range& b) { return ranges::below(b, a); });
        break;
      case Op::greater_equal:
        two([](const Range& a, const Range& b) { return ranges::logic_not(ranges::below(a, b)); });
        break;
      case Op::is_number:
        two([](const Range& a, const Range& b) { return ranges::equal(a, b, false); });
        break;
      case Op::is_state:
        two([](const Range& a, const Range& b) { return ranges::equal(a, b, true); });
        break;
      case Op::logic_and: two(ranges::logic_and); break;
      case Op::logic_or: two(ranges::logic_or); break;
      case Op::logic_not: stack[top - 1] = ranges::logic_not(stack[top - 1]); break;
      case Op::min: two(ranges::least); break;
      case Op::max: two(ranges::most); break;
      case Op::abs: stack[top - 1] = ranges::size(stack[top - 1]); break;
      case Op::first_known: two(ranges::first_known); break;
      case Op::wet_bulb:
        top -= 1;
        stack[top - 1] = trade_range(step, {&stack[top - 1], 2});
        break;
      case Op::felt_temperature:
        top -= 3;
        stack[top - 1] = trade_range(step, {&stack[top - 1], 4});
        break;
      // A rule for which that age comes is not settled over it.
      case Op::from_age:
        if (age_h().low < step.number) stack[top - 1] = Range::unknown();
        break;
      case Op::dew_point:
      case Op::curve_age_at: {  // seldom asked for: open
        top -= step.op == Op::dew_point ? 1 : 0;
        stack[top - 1] = Range::open();
        break;
      }
      case Op::mortality:
      case Op::hour_of_day:
      case Op::since: push(Range::open()); break;
    }
  }
  return stack[0];
}

}  // namespace underwing
