#include "rules/engine/theil_sen.hpp"

#include <algorithm>

#include "rules/engine/compare.hpp"

namespace underwing {

double median_of(std::span<double> values) {
  if (values.empty()) return kUnknown;
  const auto middle = values.begin() + static_cast<std::ptrdiff_t>(values.size() / 2);
  std::nth_element(values.begin(), middle, values.end());
  if (values.size() % 2 == 1) return *middle;
  return (*std::max_element(values.begin(), middle) + *middle) / 2.0;
}

double theil_sen_per_minute(std::span<const TrendPoint> points, std::vector<double>& workspace) {
  workspace.clear();
  for (std::size_t i = 0; i < points.size(); ++i) {
    for (std::size_t j = i + 1; j < points.size(); ++j) {
      workspace.push_back((points[j].value - points[i].value) / (points[j].minute - points[i].minute));
    }
  }
  return median_of(workspace);
}

}  // namespace underwing
