#include "rules/engine/board.hpp"

#include <algorithm>
#include <numeric>

#include "rules/engine/compare.hpp"
#include "rules/engine/program.hpp"
#include "rules/trade/growth.hpp"

namespace underwing {

namespace {

/// Of values in rising order.
double middle_of(const std::vector<double>& values) {
  const std::size_t middle = values.size() / 2;
  return values.size() % 2 == 1 ? values[middle] : (values[middle - 1] + values[middle]) / 2.0;
}

double sum_of(const std::vector<double>& values) { return std::accumulate(values.begin(), values.end(), 0.0); }

/// A sum says nothing where one part is missing; all else needs half of the probes.
bool too_few(const Aggregate& aggregate, std::size_t count, std::size_t probes) {
  if (aggregate.function == Expression::Function::total) return count == 0 || count < probes;
  return count == 0 || count * 2 < probes;
}

}  // namespace

Board::Board() = default;
Board::~Board() = default;
Board::Board(Board&&) noexcept = default;
Board& Board::operator=(Board&&) noexcept = default;

void Board::begin_house(std::size_t first_series) {
  const auto narrow = [](std::size_t index) { return static_cast<std::uint32_t>(index); };
  house = {nullptr, narrow(first_series), narrow(aggregates.size()), narrow(cells.size()), narrow(shares.size())};
  house_row = rows.size();
}

void Board::add_series(const Measure& measure, Instant begin) {
  const Series::Quality quality(measure);
  auto found = std::find(qualities.begin(), qualities.end(), quality);
  if (found == qualities.end()) found = qualities.insert(qualities.end(), quality);
  series.emplace_back(measure, *found, begin);
}

std::size_t Board::find_row(ProbeRow row) {
  std::size_t index = house_row;
  while (index < rows.size() && !rows[index].reads_like(row)) ++index;
  if (index == rows.size()) rows.push_back(std::move(row));
  return index;
}

std::size_t Board::find_aggregate(const Aggregate& aggregate) {
  std::size_t index = house.aggregate;
  while (index < aggregates.size() && !(aggregates[index] == aggregate)) ++index;
  if (index == aggregates.size()) aggregates.push_back(aggregate);
  return index;
}

std::size_t Board::find_share(Share share) {
  std::size_t index = house.share;
  while (index < shares.size() && !shares[index].reads_like(share)) ++index;
  if (index == shares.size()) shares.push_back(std::move(share));
  return index;
}

std::size_t Board::find_cell(Program program, const Flock* flock) {
  const auto shared = share_program(std::move(program));
  std::size_t index = house.cell;
  while (index < cells.size() && !(cells[index].program == shared && cells[index].site.flock == flock)) ++index;
  if (index < cells.size()) return index;
  Cell& cell = cells.emplace_back();
  cell.program = shared;
  cell.site = house;
  cell.site.flock = flock;
  return index;
}

std::shared_ptr<const Program> Board::share_program(Program program) {
  const std::size_t hash = program.hash();
  const auto [first, last] = programs_.equal_range(hash);
  const auto found = std::find_if(first, last, [&](const auto& entry) { return *entry.second == program; });
  if (found != last) return found->second;
  return programs_.emplace(hash, std::make_shared<const Program>(std::move(program)))->second;
}

void Board::work_off_minute(std::span<Share> some, Instant minute, Duration wall_ahead) {
  for (Share& share : some) {
    if (minute.time_since_epoch() % minute_step(share.span) == Duration::zero()) work_out(share, minute, wall_ahead);
  }
}

void Board::work_out(Share& share, Instant now, Duration wall_ahead) {
  std::vector<growth::Weighing> weighings;
  for (const std::size_t probe : share.probes) {
    if (!counts(share.flock, probe, now + wall_ahead)) continue;
    series[probe].each_since(now - share.span, [&](Instant time, double value) {
      weighings.push_back({hours_of(time + wall_ahead - share.flock->placed), value * share.factor});
    });
  }
  const auto of = growth::share_of(weighings, *share.curve);
  share.mean = of ? of->mean : kUnknown;
  share.error = of ? growth::half_width_95(*of) : kUnknown;
}

/// From one moment to the next hardly any two values change places: sorting them into the order of the last
/// time costs little more than reading them.
void Board::fill(ProbeRow& row, const Moment& moment) {
  const Instant now = moment.engine;
  const bool held = row.window_function == Expression::Function::none;
  row.values.resize(row.probes.size());
  row.counting = row.probes.size();
  std::size_t count = 0;
  for (std::size_t i = 0; i < row.probes.size(); ++i) {
    if (!counts(row.flock, row.probes[i], moment.wall)) {
      --row.counting;
      continue;
    }
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
    fill(row, moment);
    row.known_for.set(moment);
  }
  const std::vector<double>& values = row.values;
  const std::size_t count = values.size();
  const auto canonical = [&](double value) { return value * aggregate.factor + aggregate.offset; };
  if (too_few(aggregate, count, row.counting)) return kUnknown;
  switch (aggregate.function) {
    using enum Expression::Function;
    case median: return canonical(middle_of(values));
    case lowest: return canonical(values.front());
    case highest: return canonical(values.back());
    case spread: return canonical(values.back() - values.front());
    case mean: return canonical(sum_of(values) / static_cast<double>(count));
    case total: return canonical(sum_of(values));
    default: return kUnknown;
  }
}

double Board::value_of_cell(std::size_t index, const Moment& moment) {
  Cell& cell = cells[index];
  if (!cell.known_for.is(moment)) {
    cell.value = cell.program->run(cell.site, moment, *this);
    cell.known_for.set(moment);
  }
  return cell.value;
}

void Board::fill_range(ProbeRow& row, const Outlook& outlook) {
  row.outlook = outlook.serial;
  row.settled = true;
  row.counting_then = row.probes.size();
  row.lows.clear();
  row.highs.clear();
  for (const std::size_t probe : row.probes) {
    if (!counts(row.flock, probe, outlook.wall)) {
      --row.counting_then;
      continue;
    }
    Series& one = series[probe];
    const Range range = row.window_function == Expression::Function::none
                            ? one.held_range(outlook)
                            : one.window_range(row.window_slot, row.window_function, outlook);
    if (range.is_known == Range::Known::perhaps) row.settled = false;
    if (!range.sure()) continue;
    row.lows.push_back(range.low);
    row.highs.push_back(range.high);
  }
  std::sort(row.lows.begin(), row.lows.end());
  std::sort(row.highs.begin(), row.highs.end());
}

Range Board::range_of(const Aggregate& aggregate, const Outlook& outlook) {
  ProbeRow& row = rows[aggregate.row];
  if (row.outlook != outlook.serial) fill_range(row, outlook);
  if (!row.settled) return Range::open();
  const std::vector<double>&lows = row.lows, &highs = row.highs;
  const std::size_t count = lows.size();
  if (too_few(aggregate, count, row.counting_then)) return Range::unknown();
  const auto canonical = [&](double low, double high) {
    return Range::between(low * aggregate.factor + aggregate.offset,
                          high * aggregate.factor + aggregate.offset);
  };
  switch (aggregate.function) {
    using enum Expression::Function;
    case median: return canonical(middle_of(lows), middle_of(highs));
    case lowest: return canonical(lows.front(), highs.front());
    case highest: return canonical(lows.back(), highs.back());
    case spread: return canonical(std::max(0.0, lows.back() - highs.front()), highs.back() - lows.front());
    case mean: return canonical(sum_of(lows) / static_cast<double>(count), sum_of(highs) / static_cast<double>(count));
    case total: return canonical(sum_of(lows), sum_of(highs));
    default: return Range::open();
  }
}

Range Board::range_of_cell(std::size_t index, const Outlook& outlook) {
  Cell& cell = cells[index];
  if (cell.outlook != outlook.serial) {
    cell.outlook = outlook.serial;
    cell.range = cell.program->range(cell.site, outlook, *this);
  }
  return cell.range;
}

}  // namespace underwing
