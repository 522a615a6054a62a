#include "rules/engine/theil_sen.hpp"

#include <algorithm>
#include <utility>

#include "rules/engine/compare.hpp"

namespace underwing {

namespace {

constexpr std::size_t kFew = 16;  // which the library selects from as fast

/// Puts those that go first in front, without a branch that the processor would guess wrong half of the time; how many.
template <typename GoesFirst>
std::size_t part(std::span<double> values, GoesFirst goes_first) {
  std::size_t front = 0;
  for (double& one : values) {
    const double value = std::exchange(one, values[front]);
    values[front] = value;
    front += static_cast<std::size_t>(goes_first(value));
  }
  return front;
}

/// The value that would stand at `place` if they were sorted; reorders them.
double select(std::span<double> values, std::size_t place) {
  while (values.size() > kFew) {
    const double first = values.front(), middle = values[values.size() / 2], last = values.back();
    const double pivot = std::max(std::min(first, middle), std::min(std::max(first, middle), last));
    const std::size_t lower = part(values, [&](double value) { return value < pivot; });
    if (place < lower) {
      values = values.first(lower);
      continue;
    }
    const std::span<double> rest = values.subspan(lower);
    const std::size_t equal = part(rest, [&](double value) { return value <= pivot; });
    place -= lower;
    if (place < equal) return pivot;
    place -= equal;
    values = rest.subspan(equal);
  }
  const auto found = values.begin() + static_cast<std::ptrdiff_t>(place);
  std::nth_element(values.begin(), found, values.end());
  return *found;
}

}  // namespace

double median_of(std::span<double> values) {
  if (values.empty()) return kUnknown;
  const std::size_t middle = values.size() / 2;
  const double upper = select(values, middle);
  if (values.size() % 2 == 1) return upper;
  // The one before it is equal to it, unless exactly the lower half lies below.
  double lower = values.front();
  std::size_t below = 0;
  for (const double value : values) {
    if (!(value < upper)) continue;
    lower = below++ == 0 ? value : std::max(lower, value);
  }
  return below == middle ? (lower + upper) / 2.0 : upper;
}

double theil_sen_per_minute(std::span<const TrendPoint> points, std::vector<double>& workspace) {
  const std::size_t count = points.size();
  workspace.resize(count < 2 ? 0 : count * (count - 1) / 2);
  double* slope = workspace.data();
  for (std::size_t i = 0; i < count; ++i) {
    for (std::size_t j = i + 1; j < count; ++j) {
      *slope++ = (points[j].value - points[i].value) / (points[j].minute - points[i].minute);
    }
  }
  return median_of(workspace);
}

}  // namespace underwing
