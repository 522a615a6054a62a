// Program: from an expression to steps.
#include <algorithm>
#include <cmath>

#include "rules/engine/program.hpp"
#include "rules/trade/psychrometrics.hpp"

namespace underwing {

namespace {

bool is_difference(Expression::Function function) {
  using enum Expression::Function;
  return function == spread || function == change || function == slope || function == total;
}

std::uint32_t narrow(std::size_t index) {
  return static_cast<std::uint32_t>(index);
}

/// The probes of a measure in the rule's house. None where only `only_if` speaks of it: then it is unknown.
const std::vector<std::size_t>& probes_in_house(const WatchedRule& rule, std::size_t measure,
                                                const Board& board) {
  static const std::vector<std::size_t> kNone;
  const auto& probes = board.rules->houses[rule.house].probes;
  const auto found = probes.find(measure);
  return found == probes.end() ? kNone : found->second;
}

const Flock* flock_of(const WatchedRule& rule, const Board& board) {
  return rule.flock ? &board.rules->flocks[*rule.flock] : nullptr;
}

/// The flock, where one of these probes does not count for it from the first.
const Flock* part_house(const std::vector<std::size_t>& probes, const WatchedRule& rule, const Board& board) {
  const Flock* flock = flock_of(rule, board);
  const bool some = flock != nullptr && std::any_of(probes.begin(), probes.end(), [&](std::size_t probe) { return flock->counts_from.contains(probe); });
  return some ? flock : nullptr;
}

/// Within the house at hand.
std::vector<std::size_t> places_of(std::vector<std::size_t> probes, const Board& board) {
  for (std::size_t& probe : probes) probe -= board.house.series;
  return probes;
}

/// The parts of `a and b and c`, however it is nested.
void collect_parts(const Expression& expression, Expression::Kind kind,
                   std::vector<const Expression*>& parts) {
  if (expression.kind != kind) return parts.push_back(&expression);
  for (const auto& child : expression.children) collect_parts(*child, kind, parts);
}

/// How much work it is beside others, roughly: what reads the windows of many probes is dear.
std::size_t cost_of(const Expression& expression, const WatchedRule& rule, const Board& board) {
  using Kind = Expression::Kind;
  std::size_t cost = 1;
  for (const auto& child : expression.children) cost += cost_of(*child, rule, board);
  const auto probes = [&](const Expression& source) {
    return probes_in_house(rule, source.measure, board).size();
  };
  constexpr std::size_t kWindow = 4, kTrade = 100;  // times what a held value costs
  if (expression.kind == Kind::window) cost += kWindow;
  if (expression.kind == Kind::trade) cost += kTrade;
  if (expression.kind == Kind::across) cost *= std::max<std::size_t>(1, probes(*expression.children.front()));
  if (expression.kind == Kind::count || expression.kind == Kind::since)
    cost += probes(*expression.children.front());
  return cost;
}

}  // namespace

Program::Program(const Expression& expression, const WatchedRule& rule, Board& board) {
  for (const char* name : {"culled_birds", "dead_birds"}) {
    const auto measure = board.rules->find_measure(name);
    if (!measure) continue;
    const auto found = board.rules->houses[rule.house].probes.find(*measure);
    if (found == board.rules->houses[rule.house].probes.end()) continue;
    const std::vector<std::size_t> places = places_of(found->second, board);
    loss_series_.insert(loss_series_.end(), places.begin(), places.end());
  }
  compile(expression, rule, board);
}

Program::Program(const Program& whole, PartOf) : loss_series_(whole.loss_series_) {}

bool Program::Step::operator==(const Step& other) const {
  const auto alike = [](double a, double b) { return a == b || (std::isnan(a) && std::isnan(b)); };
  return op == other.op && function == other.function && index == other.index && slot == other.slot &&
         alike(number, other.number) && alike(offset, other.offset);
}

bool Program::operator==(const Program& other) const {
  return steps_ == other.steps_ && loss_series_ == other.loss_series_ && probe_lists_ == other.probe_lists_ &&
         measures_ == other.measures_ && span_max_ == other.span_max_ &&
         std::equal(curves_.begin(), curves_.end(), other.curves_.begin(), other.curves_.end(),
                    [](const CurveUse& a, const CurveUse& b) { return a.curve->points == b.curve->points; });
}

std::size_t Program::hash() const {
  std::size_t hash = steps_.size();
  for (const Step& step : steps_) {
    for (const std::size_t part : {static_cast<std::size_t>(step.op), static_cast<std::size_t>(step.index), static_cast<std::size_t>(step.slot),
                                   std::isnan(step.number) ? 0 : std::hash<double>()(step.number)}) {
      hash = hash * 31 + part;
    }
  }
  return hash;
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
    add(step);
    return;
  }
  note_measure(expression.measure);
  step.number = measure.unit.factor;
  step.offset = measure.unit.offset;
  const bool own = rule.probe && board.rules->probes[*rule.probe].measure == expression.measure;
  step.index = narrow((own ? *rule.probe : probes.front()) - board.house.series);
  if (expression.kind == Expression::Kind::measure) {
    step.op = measure.kind == MeasureKind::tally ? Op::tally : Op::own;
    if (step.op == Op::tally) {
      step.slot = narrow(probe_lists_.size());
      probe_lists_.push_back(places_of(own ? std::vector<std::size_t>{*rule.probe} : probes, board));
    }
    add(step);
    if (!own) add_from_age(probes.front(), rule, board);
    return;
  }
  step.op = Op::own_window;
  step.function = expression.function;
  if (is_difference(expression.function)) step.offset = 0;
  span_max_ = std::max(span_max_, expression.span);
  for (const std::size_t probe : probes) {
    step.slot = narrow(board.series[probe].add_window(expression.span, expression.function));
  }
  add(step);
  if (!own) add_from_age(probes.front(), rule, board);
}

/// What stands for the house's only probe is unknown as long as that does not count.
void Program::add_from_age(std::size_t probe, const WatchedRule& rule, const Board& board) {
  const Flock* flock = part_house({probe}, rule, board);
  if (flock != nullptr) add({.op = Op::from_age, .number = hours_of(flock->counts_from.at(probe))});
}

void Program::compile_across(const Expression& expression, const WatchedRule& rule, Board& board) {
  const bool bare_total = expression.kind == Expression::Kind::window;  // total adds its probes up by itself
  const Expression& source = bare_total ? expression : *expression.children.front();
  const Measure& measure = board.rules->measures[source.measure];
  ProbeRow row;
  Aggregate aggregate;
  aggregate.function = expression.function;
  row.probes = probes_in_house(rule, source.measure, board);
  row.flock = part_house(row.probes, rule, board);
  if (!row.probes.empty()) note_measure(source.measure);
  aggregate.factor = measure.unit.factor;
  aggregate.offset = measure.unit.offset;
  if (is_difference(expression.function)) aggregate.offset = 0;
  if (source.kind == Expression::Kind::window) {
    row.window_function = source.function;
    if (is_difference(source.function)) aggregate.offset = 0;
    span_max_ = std::max(span_max_, source.span);
    for (const std::size_t probe : row.probes) {
      row.window_slot = board.series[probe].add_window(source.span, source.function);
    }
  }
  aggregate.row = board.find_row(std::move(row));
  add({.op = Op::aggregate, .index = narrow(board.find_aggregate(aggregate) - board.house.aggregate)});
}

/// Weighings are looked at one by one, of all scales together; the window only has them kept.
void Program::compile_share(const Expression& expression, const WatchedRule& rule, Board& board) {
  const Expression& window = *expression.children.front();
  Share share;
  share.probes = probes_in_house(rule, window.measure, board);
  share.curve = rule.curves[expression.index];
  share.span = window.span;
  share.factor = board.rules->measures[window.measure].unit.factor;
  share.flock = flock_of(rule, board);
  if (!share.probes.empty()) note_measure(window.measure);
  for (const std::size_t probe : share.probes) (void)board.series[probe].add_window(window.span, window.function);
  span_max_ = std::max(span_max_, window.span);
  const bool mean = expression.function == Expression::Function::mean;
  add({.op = mean ? Op::share : Op::share_error, .index = narrow(board.find_share(std::move(share)) - board.house.share)});
}

/// What may settle the outcome by itself comes as early as it is cheap.
void Program::compile_logic(const Expression& expression, const WatchedRule& rule, Board& board) {
  const bool all = expression.kind == Expression::Kind::logic_and;
  std::vector<const Expression*> parts;
  collect_parts(expression, expression.kind, parts);
  std::stable_sort(parts.begin(), parts.end(), [&](const Expression* a, const Expression* b) {
    return cost_of(*a, rule, board) < cost_of(*b, rule, board);
  });
  compile_chain(parts, all ? Op::logic_and : Op::logic_or, all ? Op::skip_if_no : Op::skip_if_yes, rule,
                board);
}

/// Of several parts one step takes two, so that the stack stays as small as the nesting is deep. `skip`
/// leaves the chain where what is known already settles it; the default goes through all.
void Program::compile_chain(const std::vector<const Expression*>& parts, Op op, Op skip,
                            const WatchedRule& rule, Board& board) {
  compile(*parts.front(), rule, board);
  std::vector<std::size_t> skips;
  for (std::size_t i = 1; i < parts.size(); ++i) {
    if (skip != Op::number) {
      skips.push_back(steps_.size());
      add({.op = skip});
    }
    compile(*parts[i], rule, board);
    add({.op = op});
  }
  for (const std::size_t step : skips) steps_[step].index = narrow(steps_.size());
}

void Program::compile_fold(const Expression& expression, Op op, const WatchedRule& rule, Board& board) {
  std::vector<const Expression*> parts;
  for (const auto& child : expression.children) parts.push_back(child.get());
  compile_chain(parts, op, op == Op::first_known ? Op::skip_if_known : Op::number, rule, board);
}

/// What costs more than a look at a cell, and is often asked for by several rules.
void Program::compile_shared(const Expression& expression, const WatchedRule& rule, Board& board) {
  Program part(*this, PartOf());
  if (expression.kind == Expression::Kind::trade)
    part.compile_trade(expression, rule, board);
  else
    part.compile_curve(expression, Op::curve, rule, board);
  span_max_ = std::max(span_max_, part.span_max_);
  for (const std::size_t measure : part.measures_) note_measure(measure);
  add({.op = Op::cell, .index = narrow(board.find_cell(std::move(part), flock_of(rule, board)) - board.house.cell)});
}

void Program::compile_trade(const Expression& expression, const WatchedRule& rule, Board& board) {
  for (const auto& child : expression.children) compile(*child, rule, board);
  Step step;
  switch (expression.trade) {
    case Expression::Trade::wet_bulb: step.op = Op::wet_bulb; break;
    case Expression::Trade::dew_point: step.op = Op::dew_point; break;
    case Expression::Trade::felt_temperature: step.op = Op::felt_temperature; break;
  }
  step.number = psychrometrics::pressure_pa(board.rules->farm.altitude_m);
  add(step);
}

void Program::compile_curve(const Expression& expression, Op op, const WatchedRule& rule, Board& board) {
  for (const auto& child : expression.children) compile(*child, rule, board);
  const auto& curve = rule.curves[expression.index];
  std::size_t use = 0;
  while (use < curves_.size() && curves_[use].curve != curve) ++use;
  if (use == curves_.size()) curves_.push_back({curve, hours_of_points(*curve)});
  add({.op = op, .index = narrow(use)});
}

void Program::compile(const Expression& expression, const WatchedRule& rule, Board& board) {
  using Kind = Expression::Kind;
  const auto children = [&] {
    for (const auto& child : expression.children) compile(*child, rule, board);
  };
  const auto plain = [&](Op op) {
    children();
    add({.op = op});
  };
  const auto fold = [&](Op op) { compile_fold(expression, op, rule, board); };
  switch (expression.kind) {
    case Kind::number:
    case Kind::state: return add({.number = expression.number});
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
      step.index = narrow(probe_lists_.size());
      probe_lists_.push_back(places_of(probes_in_house(rule, measure, board), board));
      add(step);
      return;
    }
    case Kind::share: return compile_share(expression, rule, board);
    case Kind::curve:
    case Kind::trade: return compile_shared(expression, rule, board);
    case Kind::curve_at: return compile_curve(expression, Op::curve_at, rule, board);
    case Kind::curve_age_at: return compile_curve(expression, Op::curve_age_at, rule, board);
    case Kind::fact:
      switch (expression.fact) {
        case Expression::Fact::age: return plain(Op::age);
        case Expression::Fact::birds:
          for (const std::size_t probe : loss_series_) note_measure(board.rules->probes[board.house.series + probe].measure);
          return plain(Op::birds);
        case Expression::Fact::mortality:
          for (const std::size_t probe : loss_series_) note_measure(board.rules->probes[board.house.series + probe].measure);
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
      if (expression.kind == Kind::is_not) add({.op = Op::logic_not});
      return;
    case Kind::logic_and:
    case Kind::logic_or: return compile_logic(expression, rule, board);
    case Kind::logic_not: return plain(Op::logic_not);
    case Kind::plain_min: return fold(Op::min);
    case Kind::plain_max: return fold(Op::max);
    case Kind::plain_abs: return plain(Op::abs);
    case Kind::first_known: return fold(Op::first_known);
  }
}

}  // namespace underwing
