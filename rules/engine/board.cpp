#include "rules/engine/board.hpp"

#include <algorithm>
#include <numeric>

#include "rules/engine/compare.hpp"
#include "rules/engine/program.hpp"
#include "rules/trade/growth.hpp"

namespace underwing {

Board::Board() = default;
Board::~Board() = default;
Board::Board(Board&&) noexcept = default;
Board& Board::operator=(Board&&) noexcept = default;

std::size_t Board::find_row(ProbeRow row) {
  std::size_t index = house_begin.row;
  while (index < rows.size() && !rows[index].reads_like(row)) ++index;
  if (index == rows.size()) rows.push_back(std::move(row));
  return index;
}

std::size_t Board::find_aggregate(const Aggregate& aggregate) {
  std::size_t index = house_begin.aggregate;
  while (index < aggregates.size() && !(aggregates[index] == aggregate)) ++index;
  if (index == aggregates.size()) aggregates.push_back(aggregate);
  return index;
}

std::size_t Board::find_share(Share share) {
  std::size_t index = house_begin.share;
  while (index < shares.size() && !shares[index].reads_like(share)) ++index;
  if (index == shares.size()) shares.push_back(std::move(share));
  return index;
}

std::size_t Board::find_cell(std::unique_ptr<const Program> program) {
  std::size_t index = house_begin.cell;
  while (index < cells.size() && !cells[index].program->computes_like(*program)) ++index;
  if (index == cells.size()) cells.emplace_back().program = std::move(program);
  return index;
}

void Board::work_off_minute(Instant minute, Duration wall_ahead) {
  for (Share& share : shares) {
    if (minute.time_since_epoch() % minute_step(share.span) == Duration::zero()) work_out(share, minute, wall_ahead);
  }
}

void Board::work_out(Share& share, Instant now, Duration wall_ahead) {
  std::vector<growth::Weighing> weighings;
  for (const std::size_t probe : share.probes) {
    series[probe].each_since(now - share.span, [&](Instant time, double value) {
      weighings.push_back({hours_of(time + wall_ahead - share.placed), value * share.factor});
    });
  }
  const auto of = growth::share_of(weighings, *share.curve);
  share.mean = of ? of->mean : kUnknown;
  share.error = of ? growth::half_width_95(*of) : kUnknown;
}

/// From one moment to the next hardly any two values change places: sorting them into the order of the last
/// time costs little more than reading them.
void Board::fill(ProbeRow& row, Instant now) {
  const bool held = row.window_function == Expression::Function::none;
  row.values.resize(row.probes.size());
  std::size_t count = 0;
  for (std::size_t i = 0; i < row.probes.size(); ++i) {
    Series& one = series[row.probes[i]];
    const double value = held ? one.held(now) : one.window(row.window_slot, row.window_function, now);
    if (!known(value)) continue;
    if (i != count) std::swap(row.probes[i], row.probes[count]);
    std::size_t place = count++;
    const std::size_t probe = row.probes[place];
    for (; place > 0 && row.values[place - 1] > value; --place) {
      row.values[place] = row.values[place - 1];
      row.probes[place] = row.probes[place - 1];
    }
    row.values[place] = value;
    row.probes[place] = probe;
  }
  row.values.resize(count);
}

double Board::value_of(const Aggregate& aggregate, const Moment& moment) {
  ProbeRow& row = rows[aggregate.row];
  if (!row.known_for.is(moment)) {
    fill(row, moment.engine);
    row.known_for.set(moment);
  }
  const std::vector<double>& values = row.values;
  const std::size_t count = values.size();
  const auto canonical = [&](double value) { return value * aggregate.factor + aggregate.offset; };
  // A sum says nothing where one part is missing; all else needs half of the probes.
  const bool sum = aggregate.function == Expression::Function::total;
  if (sum ? count < row.probes.size() : count == 0 || count * 2 < row.probes.size()) return kUnknown;
  switch (aggregate.function) {
    using enum Expression::Function;
    case median: {
      const std::size_t middle = count / 2;
      return canonical(count % 2 == 1 ? values[middle] : (values[middle - 1] + values[middle]) / 2.0);
    }
    case lowest: return canonical(values.front());
    case highest: return canonical(values.back());
    case spread: return canonical(values.back() - values.front());
    case mean: return canonical(std::accumulate(values.begin(), values.end(), 0.0) / static_cast<double>(count));
    case total: return canonical(std::accumulate(values.begin(), values.end(), 0.0));
    default: return kUnknown;
  }
}

double Board::value_of_cell(std::size_t index, const Moment& moment) {
  Cell& cell = cells[index];
  if (!cell.known_for.is(moment)) {
    cell.value = cell.program->run(moment, *this);
    cell.known_for.set(moment);
  }
  return cell.value;
}

}  // namespace underwing
