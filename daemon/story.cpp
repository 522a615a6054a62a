#include "daemon/story.hpp"

#include <fmt/format.h>

#include <cmath>
#include <nlohmann/json.hpp>

#include "daemon/json_text.hpp"
#include "daemon/words.hpp"

namespace underwing {

namespace {

using nlohmann::json;

/// Without its unit, in that which people are shown.
std::string number_of(const json& event, const char* key, Units units) {
  const auto found = event.find(key);
  if (found == event.end() || !found->is_number()) return "";
  std::string text = fmt::format("{:.2f}", value_shown(found->get<double>(), text_of(event, "unit"), units));
  while (text.back() == '0') text.pop_back();
  if (text.back() == '.') text.pop_back();
  return text;
}

std::string value_and_limit(const json& event, Units units) {
  const std::string value = number_of(event, "value", units);
  if (value.empty()) return "";
  const std::string limit = number_of(event, "limit", units);
  const std::string unit = unit_shown(text_of(event, "unit"), units);
  return fmt::format(": {}{}{}{}", value, unit.empty() ? "" : " ", unit, limit.empty() ? "" : ", limit " + limit);
}

}  // namespace

std::string Story::clock(Instant wall) const { return clock_time(rules_->farm.zone, wall); }

std::string Story::stamp(Instant wall) const {
  return date_and_time(rules_->farm.zone, wall);
}

std::string Story::sentence(const Effect& effect) {
  if (effect.kind == Effect::Kind::story) return effect.json;
  if (effect.kind != Effect::Kind::event && effect.kind != Effect::Kind::answer) return "";
  const json event = json::parse(effect.json, nullptr, false);
  const std::string kind = text_of(event, "event");
  const std::string house = text_of(event, "house");
  const std::string probe = text_of(event, "probe");
  const std::string rule = text_of(event, "rule");
  const std::string place = house + (probe.empty() ? "" : " " + probe);
  if (kind == "told") {
    return fmt::format("{} is told by {}: {}", text_of(event, "who"), text_of(event, "by"), text_of(event, "text"));
  }
  if (kind == "reply") {
    const std::string who = text_of(event, "who");
    return fmt::format("{} replies: {}", who.empty() ? "a stranger (" + text_of(event, "from") + ")" : who, text_of(event, "text"));
  }
  if (kind == "acknowledged") return fmt::format("{}: {} is answered by {}", house, rule, text_of(event, "who"));
  if (kind == "trouble") return text_of(event, "text");
  if (kind == "swapped") return text_of(event, "text");
  if (kind == "work") return fmt::format("{}: work until {}, {}", house, text_of(event, "until_local"), text_of(event, "who"));
  if (kind == "drill") return fmt::format("A drill begins: {}{}", text_of(event, "code"), text_of(event, "who").empty() ? "" : ", for " + text_of(event, "who"));
  if (kind == "drilled") {
    const bool answered = event.value("answered", false);
    return answered ? "The drill is answered by " + text_of(event, "who") : "The drill was not answered";
  }
  if (kind == "raised") {
    since_[place + "/" + rule] = effect.time;
    return fmt::format("{}: {} is raised, {}{}", place, rule, text_of(event, "priority"), value_and_limit(event, rules_->farm.units));
  }
  if (kind == "worsened" || kind == "eased") {
    return fmt::format("{}: {} has {}, {}{}", place, rule, kind, text_of(event, "priority"), value_and_limit(event, rules_->farm.units));
  }
  if (kind == "returned") {
    const auto since = since_.find(place + "/" + rule);
    const std::string how_long = since == since_.end() ? "" : " after " + to_words(effect.time - since->second);
    return fmt::format("{}: {} is {}{}", place, rule,
                       text_of(event, "reason") == "not watched" ? "not watched any more" : "back to normal", how_long);
  }
  if (kind == "blind") return fmt::format("{}: {} cannot tell, its readings are missing or not to be believed", place, rule);
  if (kind == "sees") return fmt::format("{}: {} can tell again", place, rule);
  const std::string series = text_of(event, "series");
  const std::string test = text_of(event, "test");
  if (kind == "rejected") return fmt::format("{}: {} fails the {} test{}", house, series, test, value_and_limit(event, rules_->farm.units));
  if (kind == "suspect") return fmt::format("{}: {} is far from its neighbours{}: the house, or the probe", house, series, value_and_limit(event, rules_->farm.units));
  if (kind == "accepted") return fmt::format("{}: {} is good again", house, series);
  if (kind == "ran back") return fmt::format("{}: the meter {} ran back", house, series);
  return "";
}

std::vector<std::string> Story::opening(Watch& watch) {
  const RuleSet& rules = watch.rules();
  std::vector<std::string> lines;
  for (std::size_t house = 0; house < rules.houses.size(); ++house) {
    const auto index = rules.flock_in(house, watch.wall());
    if (!index) {
      lines.push_back(fmt::format("{} is empty.", rules.houses[house].name));
      continue;
    }
    const Flock& flock = rules.flocks[*index];
    const Duration age = watch.wall() - flock.placed;
    const std::string placed = to_rfc3339(rules.farm.zone.to_local(flock.placed).as_if_utc).substr(0, 10) + " " +
                               clock_time(rules.farm.zone, flock.placed);
    if (age < Duration::zero()) {
      lines.push_back(fmt::format("{} waits for {:.0f} chicks, to be placed {}.", rules.houses[house].name, flock.birds, placed));
    } else {
      lines.push_back(fmt::format("{}: {:.0f} chicks placed {}, {} and {} old.", rules.houses[house].name, flock.birds, placed,
                                  day_of(flock, rules.farm.zone, watch.wall()), to_words(std::chrono::floor<std::chrono::minutes>(age))));
    }
    for (std::size_t i = 0; i < rules.rules.size(); ++i) {
      const WatchedRule& rule = rules.rules[i];
      if (rule.house != house || rule.worst_priority() != Priority::urgent || !rule.watch) continue;
      const Sight sight = watch.engine().look(i);
      if (!sight.in_force) continue;
      for (std::size_t k = 0; k < rule.limits.size(); ++k) {
        if (!known(sight.limits[k]) || rule.limits[k].priority != Priority::urgent) continue;
        lines.push_back(fmt::format("    {}: {} {} for {} calls somebody out.", rule.name,
                                    rule.limits[k].side == Limit::Side::low ? "below" : "above",
                                    with_unit(sight.limits[k], shown_in(rule.limits[k].unit, rules.farm.units)), to_words(rule.on_delay)));
      }
    }
  }
  return lines;
}

}  // namespace underwing
