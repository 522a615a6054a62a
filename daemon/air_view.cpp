#include "daemon/air_view.hpp"

#include <algorithm>

#include "daemon/flock_view.hpp"
#include "rules/files/reach.hpp"
#include "rules/language/check.hpp"

namespace underwing {

namespace {

constexpr const char* kAir = "air_temperature";

bool is_felt(const Expression& it) {
  return (it.kind == Expression::Kind::trade && it.trade == Expression::Trade::felt_temperature) ||
         std::any_of(it.children.begin(), it.children.end(), [](const ExpressionPtr& child) { return is_felt(*child); });
}

}  // namespace

AirView air_view(Engine& engine, std::size_t house) {
  using Side = Limit::Side;
  const RuleSet& rules = engine.rules();
  const auto air = rules.find_measure(kAir);
  AirView view;
  bool watched = false;
  const auto [begin, end] = engine.rules_of(house);
  for (std::size_t i = begin; air && i < end; ++i) {
    const WatchedRule& rule = rules.rules[i];
    if (rule.probe || !rule.watch || !engine.state(i).in_force) continue;
    const auto level = level_of(*rule.watch);
    if (!level || level->measure != *air) continue;
    const Sight sight = engine.look(i);
    bool nearest = false;
    for (std::size_t k = 0; k < rule.limits.size(); ++k) {
      if (!known(sight.limits[k]) || !measures_of(*rule.limits[k].expression).empty()) continue;
      double& so_far = rule.limits[k].side == Side::low ? view.low : view.high;
      const bool nearer = !known(so_far) || (rule.limits[k].side == Side::low ? sight.limits[k] > so_far : sight.limits[k] < so_far);
      if (nearer) so_far = sight.limits[k];
      nearest = nearest || nearer;
    }
    watched = watched || nearest;
    if (!nearest || !known(sight.value) || (view.felt && !is_felt(*rule.watch))) continue;
    view.value = sight.value;
    view.felt = is_felt(*rule.watch);
  }
  if (!known(view.value)) {
    view.blind = watched;
    view.value = middle_held(engine, house, kAir);
  }
  return view;
}

}  // namespace underwing
