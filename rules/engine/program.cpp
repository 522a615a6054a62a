#include "rules/engine/program.hpp"

#include <algorithm>
#include <array>
#include <cmath>

#include "rules/engine/compare.hpp"
#include "rules/trade/growth.hpp"
#include "rules/trade/psychrometrics.hpp"

namespace underwing {

namespace {

constexpr std::size_t kStackMax = 256;   // the loader refuses expressions that are nested deeper
constexpr std::size_t kProbesMax = 1024;  // of one measure in one house

bool is_difference(Expression::Function function) {
  using enum Expression::Function;
  return function == spread || function == change || function == slope || function == total;
}

double combine(Expression::Function function, std::span<double> values, std::size_t probes) {
  if (values.empty() || values.size() * 2 < probes) return kUnknown;
  switch (function) {
    using enum Expression::Function;
    case mean: {
      double sum = 0;
      for (const double value : values) sum += value;
      return sum / static_cast<double>(values.size());
    }
    case lowest: return *std::min_element(values.begin(), values.end());
    case highest: return *std::max_element(values.begin(), values.end());
    case spread: {
      const auto [low, high] = std::minmax_element(values.begin(), values.end());
      return *high - *low;
    }
    default: return kUnknown;
  }
}

/// `total` over several probes adds them up and knows nothing where one of them does not.
double add_up(std::span<double> values, std::size_t probes) {
  if (values.size() < probes) return kUnknown;
  double sum = 0;
  for (const double value : values) sum += value;
  return sum;
}

double lights_now(const Flock& flock, const Zone& zone, Instant wall) {
  if (flock.lights.empty()) return kUnknown;
  const Duration age = wall - flock.placed;
  Duration hours = flock.lights.front().second;
  for (const auto& [from, length] : flock.lights) {
    if (from <= age) hours = length;
  }
  constexpr Duration kDay = std::chrono::hours(24);
  const Instant local = zone.to_local(wall).as_if_utc;
  const Duration time_of_day = local - std::chrono::floor<std::chrono::days>(local);
  const Duration since_on = (time_of_day - flock.lights_on + kDay) % kDay;
  return logic::of(since_on < hours);
}

std::vector<double> ages_h(const Curve& curve) {
  std::vector<double> ages;
  for (const auto& [age, value] : curve.points) ages.push_back(hours_of(age));
  return ages;
}

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

double curve_at(const Curve& curve, double age_h) { return curve_at(curve, ages_h(curve), age_h); }

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

/// Of each probe that is known the number that the aggregate combines: take(probe's place in the list, value).
template <typename Take>
void Board::read_probes(const Aggregate& aggregate, Instant now, Take take) {
  const std::vector<std::size_t>& probes = aggregate.probes;
  const bool held = aggregate.window_function == Expression::Function::none;
  for (std::size_t i = 0; i < probes.size(); ++i) {
    Series& one = series[probes[i]];
    const double value = held ? one.held(now) : one.window(aggregate.window_slot, aggregate.window_function, now);
    if (known(value)) take(i, value);
  }
}

/// From one moment to the next hardly any two values change places: sorting them into the order of the last time
/// costs little more than reading them.
double Board::median(Aggregate& aggregate, Instant now) {
  std::array<double, kProbesMax> values;
  std::vector<std::size_t>& probes = aggregate.probes;
  std::size_t count = 0;
  read_probes(aggregate, now, [&](std::size_t i, double value) {
    if (i != count) std::swap(probes[i], probes[count]);
    std::size_t place = count++;
    if (place == 0 || values[place - 1] <= value) {
      values[place] = value;
      return;
    }
    const std::size_t probe = probes[place];
    for (; place > 0 && values[place - 1] > value; --place) {
      values[place] = values[place - 1];
      probes[place] = probes[place - 1];
    }
    values[place] = value;
    probes[place] = probe;
  });
  if (count == 0 || count * 2 < probes.size()) return kUnknown;
  const std::size_t middle = count / 2;
  return count % 2 == 1 ? values[middle] : (values[middle - 1] + values[middle]) / 2.0;
}

double Board::value_of(std::size_t index, const Moment& moment) {
  Aggregate& aggregate = aggregates[index];
  if (aggregate.memo_version == moment.version && aggregate.memo_time == moment.engine) return aggregate.memo_value;
  double combined = kUnknown;
  if (aggregate.function == Expression::Function::median) {
    combined = median(aggregate, moment.engine);
  } else {
    std::array<double, kProbesMax> values;
    std::size_t count = 0;
    read_probes(aggregate, moment.engine, [&](std::size_t, double value) { values[count++] = value; });
    const std::span<double> told(values.data(), count);
    combined = aggregate.function == Expression::Function::total
                   ? add_up(told, aggregate.probes.size())
                   : combine(aggregate.function, told, aggregate.probes.size());
  }
  aggregate.memo_time = moment.engine;
  aggregate.memo_version = moment.version;
  aggregate.memo_value = combined * aggregate.factor + aggregate.offset;
  return aggregate.memo_value;
}

Program::Program(const Expression& expression, const WatchedRule& rule, Board& board) : curves_(rule.curves) {
  if (rule.flock) flock_ = &board.rules->flocks[*rule.flock];
  for (const auto& curve : curves_) curve_ages_h_.push_back(ages_h(*curve));
  for (const char* name : {"culled_birds", "dead_birds"}) {
    const auto measure = board.rules->find_measure(name);
    if (!measure) continue;
    const auto found = board.rules->houses[rule.house].probes.find(*measure);
    if (found == board.rules->houses[rule.house].probes.end()) continue;
    loss_series_.insert(loss_series_.end(), found->second.begin(), found->second.end());
  }
  compile(expression, rule, board);
}

/// The probes of a measure in the rule's house. None where only `only_if` speaks of it: then it is unknown.
const std::vector<std::size_t>& probes_in_house(const WatchedRule& rule, std::size_t measure, const Board& board) {
  static const std::vector<std::size_t> kNone;
  const auto& probes = board.rules->houses[rule.house].probes;
  const auto found = probes.find(measure);
  return found == probes.end() ? kNone : found->second;
}

void Program::note_measure(std::size_t measure) {
  const auto place = std::lower_bound(measures_.begin(), measures_.end(), measure);
  if (place == measures_.end() || *place != measure) measures_.insert(place, measure);
}

void Program::compile_source(const Expression& expression, const WatchedRule& rule, Board& board) {
  const Measure& measure = board.rules->measures[expression.measure];
  const auto& probes = probes_in_house(rule, expression.measure, board);
  Step step;
  if (probes.empty()) {
    step.number = kUnknown;
    steps_.push_back(step);
    return;
  }
  note_measure(expression.measure);
  step.number = measure.unit.factor;
  step.offset = measure.unit.offset;
  const bool own = rule.probe && board.rules->probes[*rule.probe].measure == expression.measure;
  step.index = static_cast<std::uint32_t>(own ? *rule.probe : probes.front());
  if (expression.kind == Expression::Kind::measure) {
    step.op = measure.kind == MeasureKind::tally ? Op::tally : Op::own;
    if (step.op == Op::tally) {
      step.slot = static_cast<std::uint32_t>(probe_lists_.size());
      probe_lists_.push_back(own ? std::vector<std::size_t>{*rule.probe} : probes);
    }
    steps_.push_back(step);
    return;
  }
  step.op = Op::own_window;
  step.function = expression.function;
  if (is_difference(expression.function)) step.offset = 0;
  span_max_ = std::max(span_max_, expression.span);
  for (const std::size_t probe : probes) {
    step.slot = static_cast<std::uint32_t>(board.series[probe].add_window(expression.span, expression.function));
  }
  steps_.push_back(step);
}

void Program::compile_across(const Expression& expression, const WatchedRule& rule, Board& board) {
  const bool bare_total = expression.kind == Expression::Kind::window;  // total adds its probes up by itself
  const Expression& source = bare_total ? expression : *expression.children.front();
  const Measure& measure = board.rules->measures[source.measure];
  Aggregate aggregate;
  aggregate.function = expression.function;
  aggregate.measure = source.measure;
  aggregate.probes = probes_in_house(rule, source.measure, board);
  if (!aggregate.probes.empty()) note_measure(source.measure);
  aggregate.factor = measure.unit.factor;
  aggregate.offset = measure.unit.offset;
  if (is_difference(expression.function)) aggregate.offset = 0;
  if (source.kind == Expression::Kind::window) {
    aggregate.window_function = source.function;
    if (is_difference(source.function)) aggregate.offset = 0;
    span_max_ = std::max(span_max_, source.span);
    for (const std::size_t probe : aggregate.probes) {
      aggregate.window_slot = board.series[probe].add_window(source.span, source.function);
    }
  }
  std::size_t index = board.house_begin;
  const auto equal = [&](const Aggregate& other) {
    return other.function == aggregate.function && other.probes == aggregate.probes &&
           other.window_function == aggregate.window_function && other.window_slot == aggregate.window_slot;
  };
  while (index < board.aggregates.size() && !equal(board.aggregates[index])) ++index;
  if (index == board.aggregates.size()) board.aggregates.push_back(aggregate);
  Step step;
  step.op = Op::aggregate;
  step.index = static_cast<std::uint32_t>(index);
  steps_.push_back(step);
}

/// Weighings are looked at one by one, of all scales together; the window only has them kept.
void Program::compile_share(const Expression& expression, const WatchedRule& rule, Board& board) {
  const Expression& window = *expression.children.front();
  const auto& probes = probes_in_house(rule, window.measure, board);
  if (!probes.empty()) note_measure(window.measure);
  for (const std::size_t probe : probes) (void)board.series[probe].add_window(window.span, window.function);
  span_max_ = std::max(span_max_, window.span);
  Step step;
  step.op = expression.function == Expression::Function::mean ? Op::share : Op::share_error;
  step.index = static_cast<std::uint32_t>(probe_lists_.size());
  step.slot = static_cast<std::uint32_t>(expression.index);
  step.number = board.rules->measures[window.measure].unit.factor;
  step.offset = hours_of(window.span);
  probe_lists_.push_back(probes);
  steps_.push_back(step);
}

void Program::compile(const Expression& expression, const WatchedRule& rule, Board& board) {
  using Kind = Expression::Kind;
  const auto children = [&] {
    for (const auto& child : expression.children) compile(*child, rule, board);
  };
  const auto plain = [&](Op op) {
    children();
    Step step;
    step.op = op;
    step.index = static_cast<std::uint32_t>(expression.index);
    steps_.push_back(step);
  };
  // Of several arguments one step takes two, so that the stack stays as small as the nesting is deep.
  const auto fold = [&](Op op) {
    compile(*expression.children.front(), rule, board);
    for (std::size_t i = 1; i < expression.children.size(); ++i) {
      compile(*expression.children[i], rule, board);
      Step step;
      step.op = op;
      steps_.push_back(step);
    }
  };
  switch (expression.kind) {
    case Kind::number:
    case Kind::state: {
      Step step;
      step.number = expression.number;
      steps_.push_back(step);
      return;
    }
    case Kind::measure: return compile_source(expression, rule, board);
    case Kind::window: {
      const bool own = rule.probe && board.rules->probes[*rule.probe].measure == expression.measure;
      const std::size_t probes = probes_in_house(rule, expression.measure, board).size();
      if (expression.function == Expression::Function::total && !own && probes > 1) {
        return compile_across(expression, rule, board);
      }
      return compile_source(expression, rule, board);
    }
    case Kind::across: return compile_across(expression, rule, board);
    case Kind::count:
    case Kind::since: {
      const std::size_t measure = expression.children.front()->measure;
      if (!probes_in_house(rule, measure, board).empty()) note_measure(measure);
      Step step;
      step.op = expression.kind == Kind::count ? Op::count : Op::since;
      step.index = static_cast<std::uint32_t>(probe_lists_.size());
      probe_lists_.push_back(probes_in_house(rule, measure, board));
      steps_.push_back(step);
      return;
    }
    case Kind::share: return compile_share(expression, rule, board);
    case Kind::curve: return plain(Op::curve);
    case Kind::curve_at: return plain(Op::curve_at);
    case Kind::curve_age_at: return plain(Op::curve_age_at);
    case Kind::fact:
      switch (expression.fact) {
        case Expression::Fact::age: return plain(Op::age);
        case Expression::Fact::birds:
          for (const std::size_t probe : loss_series_) note_measure(board.rules->probes[probe].measure);
          return plain(Op::birds);
        case Expression::Fact::mortality:
          for (const std::size_t probe : loss_series_) note_measure(board.rules->probes[probe].measure);
          return plain(Op::mortality);
        case Expression::Fact::birds_placed: return plain(Op::birds_placed);
        case Expression::Fact::chick_weight: return plain(Op::chick_weight);
        case Expression::Fact::goal_day_7: return plain(Op::goal_day_7);
        case Expression::Fact::hour_of_day: return plain(Op::hour_of_day);
        case Expression::Fact::lights: return plain(Op::lights);
      }
      return;
    case Kind::negate: return plain(Op::negate);
    case Kind::add: return plain(Op::add);
    case Kind::subtract: return plain(Op::subtract);
    case Kind::multiply: return plain(Op::multiply);
    case Kind::divide: return plain(Op::divide);
    case Kind::less: return plain(Op::less);
    case Kind::less_equal: return plain(Op::less_equal);
    case Kind::greater: return plain(Op::greater);
    case Kind::greater_equal: return plain(Op::greater_equal);
    case Kind::is:
    case Kind::is_not:
      plain(expression.children.front()->type.kind == Type::Kind::number ? Op::is_number : Op::is_state);
      if (expression.kind == Kind::is_not) {
        Step step;
        step.op = Op::logic_not;
        steps_.push_back(step);
      }
      return;
    case Kind::logic_and: return plain(Op::logic_and);
    case Kind::logic_or: return plain(Op::logic_or);
    case Kind::logic_not: return plain(Op::logic_not);
    case Kind::plain_min: return fold(Op::min);
    case Kind::plain_max: return fold(Op::max);
    case Kind::plain_abs: return plain(Op::abs);
    case Kind::first_known: return fold(Op::first_known);
    case Kind::trade: {
      children();
      Step step;
      switch (expression.trade) {
        case Expression::Trade::wet_bulb: step.op = Op::wet_bulb; break;
        case Expression::Trade::dew_point: step.op = Op::dew_point; break;
        case Expression::Trade::felt_temperature: step.op = Op::felt_temperature; break;
      }
      step.number = psychrometrics::pressure_pa(board.rules->farm.altitude_m);
      steps_.push_back(step);
      return;
    }
  }
}

double Program::birds(const Flock& flock, Board& board) const {
  double lost = 0;
  for (const std::size_t probe : loss_series_) lost += board.series[probe].tally_since(flock.placed);
  return flock.birds - lost;
}

double Program::mortality(const Moment& moment, Board& board) const {
  const auto lost_since = [&](Instant since) {
    double lost = 0;
    for (const std::size_t probe : loss_series_) lost += board.series[probe].tally_since(since);
    return lost;
  };
  constexpr Duration kDay = std::chrono::hours(24);
  std::vector<double> days;
  for (Instant day = flock_->placed; day <= moment.wall; day += kDay) days.push_back(std::max(0.0, lost_since(day) - lost_since(day + kDay)));
  return flock::cumulative_daily_mortality_percent(flock_->birds, days);
}

double Program::share(const Step& step, const Moment& moment, Board& board) const {
  const Duration span(std::llround(step.offset * 3'600'000));
  const Duration wall_ahead = moment.wall - moment.engine;
  std::vector<growth::Weighing> weighings;
  for (const std::size_t probe : probe_lists_[step.index]) {
    board.series[probe].each_since(moment.engine - span, [&](Instant time, double value) {
      weighings.push_back({hours_of(time + wall_ahead - flock_->placed), value * step.number});
    });
  }
  const auto of = growth::share_of(weighings, *curves_[step.slot]);
  if (!of) return kUnknown;
  return step.op == Op::share ? of->mean : growth::half_width_95(*of);
}

double Program::run(const Moment& moment, Board& board) const {
  // Most rules hold one combined number against another that is as plain.
  if (steps_.size() == 1 && steps_.front().op == Op::number) return steps_.front().number;
  if (steps_.size() == 1 && steps_.front().op == Op::aggregate) {
    const double value = board.value_of(steps_.front().index, moment);
    return known(value) ? value : kUnknown;
  }
  std::array<double, kStackMax> stack;
  std::size_t top = 0;  // number of values on the stack
  const auto push = [&](double value) { stack[top++] = value; };
  const auto two = [&](auto apply) {
    const double right = stack[--top];
    stack[top - 1] = apply(stack[top - 1], right);
  };
  const auto age_h = [&] { return hours_of(moment.wall - flock_->placed); };
  for (const Step& step : steps_) {
    switch (step.op) {
      case Op::number: push(step.number); break;
      case Op::aggregate: push(board.value_of(step.index, moment)); break;
      case Op::count: {
        double count = 0;
        for (const std::size_t probe : probe_lists_[step.index]) count += board.series[probe].usable(moment.engine);
        push(count);
        break;
      }
      case Op::tally: {
        double sum = 0;
        const Instant since = flock_ ? flock_->placed : Instant(Duration::min());
        for (const std::size_t probe : probe_lists_[step.slot]) sum += board.series[probe].tally_since(since);
        push(sum * step.number);
        break;
      }
      case Op::own: push(board.series[step.index].held(moment.engine) * step.number + step.offset); break;
      case Op::own_window:
        push(board.series[step.index].window(step.slot, step.function, moment.engine) * step.number + step.offset);
        break;
      case Op::curve: push(curve_at(*curves_[step.index], curve_ages_h_[step.index], age_h())); break;
      case Op::curve_at: stack[top - 1] = curve_at(*curves_[step.index], curve_ages_h_[step.index], stack[top - 1]); break;
      case Op::curve_age_at: stack[top - 1] = curve_age_at(*curves_[step.index], stack[top - 1]); break;
      case Op::age: push(age_h()); break;
      case Op::birds: push(birds(*flock_, board)); break;
      case Op::mortality: push(mortality(moment, board)); break;
      case Op::share:
      case Op::share_error: push(share(step, moment, board)); break;
      case Op::birds_placed: push(flock_->birds); break;
      case Op::chick_weight: push(flock_->chick_weight_g); break;
      case Op::goal_day_7: push(flock_->goal_day_7_g.value_or(kUnknown)); break;
      case Op::hour_of_day: {
        const Instant local = board.rules->farm.zone.to_local(moment.wall).as_if_utc;
        push(hours_of(local - std::chrono::floor<std::chrono::days>(local)));
        break;
      }
      case Op::lights: push(lights_now(*flock_, board.rules->farm.zone, moment.wall)); break;
      case Op::negate: stack[top - 1] = -stack[top - 1]; break;
      case Op::add: two([](double a, double b) { return a + b; }); break;
      case Op::subtract: two([](double a, double b) { return a - b; }); break;
      case Op::multiply: two([](double a, double b) { return a * b; }); break;
      case Op::divide: two([](double a, double b) { return b == 0 ? kUnknown : a / b; }); break;
      case Op::less: two([](double a, double b) { return logic::below(a, b); }); break;
      case Op::less_equal: two([](double a, double b) { return logic::negate(logic::below(b, a)); }); break;
      case Op::greater: two([](double a, double b) { return logic::below(b, a); }); break;
      case Op::greater_equal: two([](double a, double b) { return logic::negate(logic::below(a, b)); }); break;
      case Op::is_number:
        two([](double a, double b) { return known(a) && known(b) ? logic::of(same(a, b)) : kUnknown; });
        break;
      case Op::is_state:
        two([](double a, double b) { return known(a) && known(b) ? logic::of((a >= 0.5) == (b >= 0.5)) : kUnknown; });
        break;
      case Op::logic_and: two(logic::both); break;
      case Op::logic_or: two(logic::either); break;
      case Op::logic_not: stack[top - 1] = logic::negate(stack[top - 1]); break;
      case Op::min: two([](double a, double b) { return known(a) && known(b) ? std::min(a, b) : kUnknown; }); break;
      case Op::max: two([](double a, double b) { return known(a) && known(b) ? std::max(a, b) : kUnknown; }); break;
      case Op::abs: stack[top - 1] = std::fabs(stack[top - 1]); break;
      case Op::first_known: two([](double a, double b) { return known(a) ? a : b; }); break;
      case Op::since: {
        Instant newest{Duration::min()};
        for (const std::size_t probe : probe_lists_[step.index]) {
          if (board.series[probe].ever_good()) newest = std::max(newest, board.series[probe].last_good());
        }
        push(newest == Instant(Duration::min()) ? kUnknown : hours_of(std::max(Duration(0), moment.engine - newest)));
        break;
      }
      case Op::wet_bulb:
        two([&](double t, double rh) { return psychrometrics::wet_bulb_c(t, rh, step.number); });
        break;
      case Op::dew_point: two(psychrometrics::dew_point_c); break;
      case Op::felt_temperature: {
        const double reference = stack[--top];
        const double at_most_k = stack[--top];
        two([&](double t, double rh) { return psychrometrics::felt_temperature_c(t, rh, at_most_k, reference, step.number); });
        break;
      }
    }
  }
  return known(stack[0]) ? stack[0] : kUnknown;
}

}  // namespace underwing
