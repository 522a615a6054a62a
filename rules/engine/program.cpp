#include "rules/engine/program.hpp"

#include <algorithm>
#include <array>
#include <cmath>

#include "rules/engine/compare.hpp"
#include "rules/engine/lights.hpp"
#include "rules/trade/flock.hpp"
#include "rules/trade/psychrometrics.hpp"

namespace underwing {

namespace {

double curve_at(const Curve& curve, std::span<const double> ages, double age_h) {
  const auto& points = curve.points;
  if (!known(age_h) || points.empty()) return kUnknown;
  if (age_h <= ages.front()) return points.front().second;
  for (std::size_t i = 1; i < points.size(); ++i) {
    if (age_h > ages[i]) continue;
    return points[i - 1].second +
           (points[i].second - points[i - 1].second) * (age_h - ages[i - 1]) / (ages[i] - ages[i - 1]);
  }
  return points.back().second;
}

}  // namespace

double curve_at(const Curve& curve, double age_h) {
  return curve_at(curve, hours_of_points(curve), age_h);
}

std::vector<double> hours_of_points(const Curve& curve) {
  std::vector<double> ages;
  for (const auto& [age, value] : curve.points) ages.push_back(hours_of(age));
  return ages;
}

double Program::CurveUse::at(double age_h) const { return curve_at(*curve, ages_h, age_h); }

double curve_age_at(const Curve& curve, double value) {
  const auto& points = curve.points;
  if (!known(value)) return kUnknown;
  for (std::size_t i = 0; i < points.size(); ++i) {
    if (same(points[i].second, value)) return hours_of(points[i].first);
    if (i + 1 == points.size()) break;
    const double low = std::min(points[i].second, points[i + 1].second);
    const double high = std::max(points[i].second, points[i + 1].second);
    if (low < value && value < high && !same(points[i + 1].second, value)) {
      const double begin = hours_of(points[i].first);
      const double end = hours_of(points[i + 1].first);
      return begin + (end - begin) * (value - points[i].second) / (points[i + 1].second - points[i].second);
    }
  }
  return kUnknown;
}

double Program::lost_since(Instant since, const Site& site, const Board& board) const {
  double lost = 0;
  for (const std::size_t probe : loss_series_) lost += board.series[site.series + probe].tally_since(since);
  return lost;
}

double Program::birds(const Site& site, const Board& board) const { return site.flock->birds - lost_since(site.flock->placed, site, board); }

double Program::mortality(Instant wall, const Site& site, const Board& board) const {
  constexpr Duration kDay = std::chrono::hours(24);
  std::vector<double> days;
  for (Instant day = site.flock->placed; day <= wall; day += kDay) {
    days.push_back(std::max(0.0, lost_since(day, site, board) - lost_since(day + kDay, site, board)));
  }
  return flock::cumulative_daily_mortality_percent(site.flock->birds, days);
}

double Program::tally(const Step& step, const Site& site, const Board& board) const {
  double sum = 0;
  const Instant since = site.flock ? site.flock->placed : Instant(Duration::min());
  for (const std::size_t probe : probe_lists_[step.slot]) sum += board.series[site.series + probe].tally_since(since);
  return sum * step.number;
}

double Program::run(const Site& site, const Moment& moment, Board& board) const {
  // Most rules hold one combined number against another that is as plain.
  if (steps_.size() == 1 && steps_.front().op == Op::number) return steps_.front().number;
  if (steps_.size() == 1 && steps_.front().op == Op::aggregate) {
    const double value = board.value_of(board.aggregates[site.aggregate + steps_.front().index], moment);
    return known(value) ? value : kUnknown;
  }
  std::array<double, kStackMax> stack;
  std::size_t top = 0;  // number of values on the stack
  const auto push = [&](double value) { stack[top++] = value; };
  const auto two = [&](auto apply) {
    const double right = stack[--top];
    stack[top - 1] = apply(stack[top - 1], right);
  };
  const auto age_h = [&] { return hours_of(moment.wall - site.flock->placed); };
  for (std::size_t at = 0; at < steps_.size(); ++at) {
    const Step& step = steps_[at];
    const auto skip_if = [&](bool settled) {
      if (settled) at = step.index - 1;
    };
    switch (step.op) {
      case Op::number: push(step.number); break;
      case Op::aggregate: push(board.value_of(board.aggregates[site.aggregate + step.index], moment)); break;
      case Op::cell: push(board.value_of_cell(site.cell + step.index, moment)); break;
      case Op::skip_if_no: skip_if(stack[top - 1] == 0.0); break;
      case Op::skip_if_yes: skip_if(stack[top - 1] == 1.0); break;
      case Op::skip_if_known: skip_if(known(stack[top - 1])); break;
      case Op::count: {
        double count = 0;
        for (const std::size_t probe : probe_lists_[step.index])
          count += counts(site.flock, site.series + probe, moment.wall) && board.series[site.series + probe].usable(moment.engine);
        push(count);
        break;
      }
      case Op::tally: push(tally(step, site, board)); break;
      case Op::own: push(board.series[site.series + step.index].held(moment.engine) * step.number + step.offset); break;
      case Op::own_window:
        push(board.series[site.series + step.index].window(step.slot, step.function, moment.engine) * step.number +
             step.offset);
        break;
      case Op::curve: push(curves_[step.index].at(age_h())); break;
      case Op::curve_at: stack[top - 1] = curves_[step.index].at(stack[top - 1]); break;
      case Op::curve_age_at: stack[top - 1] = curve_age_at(*curves_[step.index].curve, stack[top - 1]); break;
      case Op::age: push(age_h()); break;
      case Op::birds: push(birds(site, board)); break;
      case Op::mortality: push(mortality(moment.wall, site, board)); break;
      case Op::share: push(board.shares[site.share + step.index].mean); break;
      case Op::share_error: push(board.shares[site.share + step.index].error); break;
      case Op::birds_placed: push(site.flock->birds); break;
      case Op::chick_weight: push(site.flock->chick_weight_g); break;
      case Op::goal_day_7: push(site.flock->goal_day_7_g.value_or(kUnknown)); break;
      case Op::hour_of_day: {
        const Instant local = board.rules->farm.zone.to_local(moment.wall).as_if_utc;
        push(hours_of(local - std::chrono::floor<std::chrono::days>(local)));
        break;
      }
      case Op::lights: push(lights_now(*site.flock, board.rules->farm.zone, moment.wall)); break;
      case Op::negate: stack[top - 1] = -stack[top - 1]; break;
      case Op::add:
        two([](double a, double b) { return a + b; });
        break;
      case Op::subtract:
        two([](double a, double b) { return a - b; });
        break;
      case Op::multiply:
        two([](double a, double b) { return a * b; });
        break;
      case Op::divide:
        two([](double a, double b) { return b == 0 ? kUnknown : a / b; });
        break;
      case Op::less:
        two([](double a, double b) { return logic::below(a, b); });
        break;
      case Op::less_equal:
        two([](double a, double b) { return logic::negate(logic::below(b, a)); });
        break;
      case Op::greater:
        two([](double a, double b) { return logic::below(b, a); });
        break;
      case Op::greater_equal:
        two([](double a, double b) { return logic::negate(logic::below(a, b)); });
        break;
      case Op::is_number:
        two([](double a, double b) { return known(a) && known(b) ? logic::of(same(a, b)) : kUnknown; });
        break;
      case Op::is_state:
        two([](double a, double b) {
          return known(a) && known(b) ? logic::of((a >= 0.5) == (b >= 0.5)) : kUnknown;
        });
        break;
      case Op::logic_and: two(logic::both); break;
      case Op::logic_or: two(logic::either); break;
      case Op::logic_not: stack[top - 1] = logic::negate(stack[top - 1]); break;
      case Op::min:
        two([](double a, double b) { return known(a) && known(b) ? std::min(a, b) : kUnknown; });
        break;
      case Op::max:
        two([](double a, double b) { return known(a) && known(b) ? std::max(a, b) : kUnknown; });
        break;
      case Op::abs: stack[top - 1] = std::fabs(stack[top - 1]); break;
      case Op::first_known:
        two([](double a, double b) { return known(a) ? a : b; });
        break;
      case Op::since: {
        Instant newest{Duration::min()};
        for (const std::size_t place : probe_lists_[step.index]) {
          const std::size_t probe = site.series + place;
          if (board.series[probe].ever_good() && counts(site.flock, probe, moment.wall)) newest = std::max(newest, board.series[probe].last_good());
        }
        push(newest == Instant(Duration::min()) ? kUnknown
                                                : hours_of(std::max(Duration(0), moment.engine - newest)));
        break;
      }
      case Op::from_age:
        if (age_h() < step.number) stack[top - 1] = kUnknown;
        break;
      case Op::wet_bulb:
        two([&](double t, double rh) { return psychrometrics::wet_bulb_c(t, rh, step.number); });
        break;
      case Op::dew_point: two(psychrometrics::dew_point_c); break;
      case Op::felt_temperature: {
        const double reference = stack[--top];
        const double at_most_k = stack[--top];
        two([&](double t, double rh) {
          return psychrometrics::felt_temperature_c(t, rh, at_most_k, reference, step.number);
        });
        break;
      }
    }
  }
  return known(stack[0]) ? stack[0] : kUnknown;
}

}  // namespace underwing
