// underwing explain --pack: rules and curves of a pack as tables, to be held against the breeder's book.
#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <map>
#include <nlohmann/json.hpp>
#include <set>

#include "daemon/tool/explain.hpp"
#include "daemon/tool/terminal.hpp"
#include "daemon/words.hpp"
#include "rules/explain/words.hpp"
#include "rules/language/check.hpp"

namespace underwing::tool {

namespace {

using nlohmann::ordered_json;

const std::vector<std::string> kPassedOver{"..."};

std::map<std::string, std::shared_ptr<const Curve>> curves_of(const std::vector<Chosen>& rules) {
  std::map<std::string, std::shared_ptr<const Curve>> curves;
  for (const Chosen& chosen : rules) {
    for (const auto& curve : chosen.rule->curves) curves.emplace(curve->name, curve);
  }
  return curves;
}

bool is_given(const Curve& curve, Duration age) {
  return std::any_of(curve.points.begin(), curve.points.end(),
                     [age](const auto& point) { return point.first == age; });
}

/// Every age that a curve names, and every whole day between; what lies between two given points in brackets.
void print_curves(const std::map<std::string, std::shared_ptr<const Curve>>& curves, Units shown) {
  std::set<Duration> ages;
  std::vector<std::string> names{"age"};
  std::vector<std::string> units{""};
  for (const auto& [name, curve] : curves) {
    names.push_back(name);
    units.push_back(shown_in(curve->unit, shown).text);
    for (const auto& point : curve->points) ages.insert(point.first);
  }
  const Duration first = *ages.begin();
  const Duration last = *ages.rbegin();
  for (Duration age = std::chrono::ceil<std::chrono::days>(first); age <= last; age += std::chrono::hours(24))
    ages.insert(age);
  std::vector<std::vector<std::string>> rows{names, units};
  for (const Duration age : ages) {
    std::vector<std::string> row{short_age(age)};
    for (const auto& [name, curve] : curves) {
      const std::string number = plain_number(shown_in(curve->unit, shown).from_canonical(value_of(*curve, hours_of(age))));
      row.push_back(is_given(*curve, age) ? number : "(" + number + ")");
    }
    rows.push_back(std::move(row));
  }
  fmt::print("\nCurves by age; in brackets what lies between two given points, or beyond the last one\n\n{}",
             grid(rows));
  for (const auto& [name, curve] : curves) {
    fmt::print("{}", wrapped(curve->source.empty() ? "no source given" : curve->source, text_columns(),
                             fmt::format("  {}: ", name)));
  }
}

std::string ages_of(const WatchedRule& rule) {
  if (!rule.flock) return "at all times";
  const std::string begin = short_age(rule.from.value_or(std::chrono::hours(-24)));
  return rule.until ? fmt::format("{} to {}", begin, short_age(*rule.until)) : fmt::format("from {}", begin);
}

void print_rule(const Chosen& chosen) {
  const WatchedRule& rule = *chosen.rule;
  std::string facts = ages_of(rule);
  if (rule.on_delay > Duration::zero()) facts += ", after " + to_words(rule.on_delay);
  if (rule.respond_within) facts += ", act within " + to_words(*rule.respond_within);
  if (rule.ahead) facts += fmt::format(", {} ahead", to_words(*rule.ahead));
  fmt::print("\n  {}, {}: {}\n", rule.name, to_string(rule.worst_priority()), facts);
  const auto line = [](const std::string& head, const std::string& text) {
    if (!text.empty()) fmt::print("{}", wrapped(text, text_columns(), left_aligned("    " + head, 18)));
  };
  line("head", capitals(rule.head));
  line("about", rule.about);
  if (rule.watch) line("watches", number_in_words(*rule.watch, chosen.wording()));
  for (const Limit& limit : rule.limits) {
    line(name_of_limit(rule, limit), limit.side == Limit::Side::when
                                         ? condition_in_words(*limit.expression, chosen.wording())
                                         : number_in_words(*limit.expression, chosen.wording()));
  }
  line("do", rule.action);
  line("source", rule.source);
}

/// One limit that goes by age, as a column by whole days; empty where the rule is not in force.
struct LimitColumn {
  std::string rule, side, unit;
  std::map<Duration, std::string> cells;
};

std::vector<LimitColumn> columns_by_age(const std::vector<Chosen>& rules) {
  std::vector<LimitColumn> all;
  for (const Chosen& chosen : rules) {
    const WatchedRule& rule = *chosen.rule;
    const LimitTable table = limits_by_day(rule, chosen.flock);
    const Unit unit = shown_in(rule.unit, chosen.rules->farm.units);
    for (std::size_t i = 0; i < rule.limits.size() && table.changes; ++i) {
      LimitColumn column{rule.name, name_of_limit(rule, rule.limits[i]), unit.text, {}};
      for (const LimitRow& row : table.rows) {
        if (row.age % std::chrono::hours(24) != Duration::zero() || std::isnan(row.values[i])) continue;
        column.cells[row.age] = plain_number(unit.from_canonical(row.values[i]));
      }
      if (!column.cells.empty()) all.push_back(std::move(column));
    }
  }
  return all;
}

/// Three head lines and a row a day for the columns from `first` on, as many as the terminal has room for.
std::vector<std::vector<std::string>> rows_from(const std::vector<LimitColumn>& columns, std::size_t first,
                                                std::size_t& next) {
  std::vector<std::vector<std::string>> rows{{"age"}, {""}, {""}};
  std::set<Duration> ages;
  std::size_t width = 8;
  for (next = first; next < columns.size(); ++next) {
    const LimitColumn& column = columns[next];
    width += 2 + std::max(columns_of(column.rule), columns_of(column.side));
    if (next > first && width > text_columns()) break;
    rows[0].push_back(column.rule);
    rows[1].push_back(column.side);
    rows[2].push_back(column.unit);
    for (const auto& [age, cell] : column.cells) ages.insert(age);
  }
  for (const Duration age : ages) {
    rows.push_back({short_age(age)});
    for (std::size_t i = first; i < next; ++i) {
      const auto cell = columns[i].cells.find(age);
      rows.back().push_back(cell == columns[i].cells.end() ? "" : cell->second);
    }
  }
  return rows;
}

/// What every limit is day by day, so that it can be read against the book without working it out.
void print_limits(const std::vector<Chosen>& rules) {
  const std::vector<LimitColumn> columns = columns_by_age(rules);
  for (std::size_t first = 0; first < columns.size();) {
    if (first == 0) fmt::print("\nLimits by age; empty where a rule is not in force\n");
    std::size_t next = first;
    fmt::print("\n{}", grid(rows_from(columns, first, next)));
    first = next;
  }
}

ordered_json curve_as_json(const Curve& curve) {
  ordered_json points = ordered_json::array();
  for (const auto& [age, value] : curve.points) {
    points.push_back(
        {{"age_h", hours_of(age)}, {"value", std::round(curve.unit.from_canonical(value) * 1000) / 1000}});
  }
  return {{"curve", curve.name},
          {"unit", curve.unit.text},
          {"points", std::move(points)},
          {"source", curve.source}};
}

}  // namespace

std::string table_as_text(const Chosen& chosen, const LimitTable& table, const std::optional<Duration>& age) {
  const WatchedRule& rule = *chosen.rule;
  const Unit in = shown_in(rule.unit, chosen.rules->farm.units);
  const std::string unit = in.text.empty() ? "" : " " + in.text;
  std::vector<std::string> head{"age"};
  if (chosen.flock) head.insert(head.end(), {"day", "date and time"});
  std::vector<std::size_t> shown;
  for (std::size_t i = 0; i < rule.limits.size(); ++i) {
    if (std::isnan(table.rows.front().values[i])) continue;
    shown.push_back(i);
    head.push_back(name_of_limit(rule, rule.limits[i]) + unit);
  }
  const auto same = [&shown](const LimitRow& one, const LimitRow& other) {
    return std::all_of(shown.begin(), shown.end(), [&](std::size_t limit) {
      return std::fabs(one.values[limit] - other.values[limit]) < 1e-9;
    });
  };
  std::vector<std::vector<std::string>> rows{head};
  for (std::size_t i = 0; i < table.rows.size(); ++i) {
    const LimitRow& row = table.rows[i];
    const bool last = i + 1 == table.rows.size();
    const bool marked =
        age && *age >= row.age && (last ? in_force_at(rule, *age) : *age < table.rows[i + 1].age);
    // Days on which nothing changes are passed over.
    if (!marked && i > 0 && !last && same(row, table.rows[i - 1]) && same(row, table.rows[i + 1])) {
      if (rows.back() != kPassedOver) rows.push_back(kPassedOver);
      continue;
    }
    std::vector<std::string> cells{short_age(row.age)};
    if (chosen.flock) {
      const Instant wall = chosen.flock->placed + row.age;
      const Zone& zone = chosen.rules->farm.zone;
      cells.insert(cells.end(), {day_of(*chosen.flock, zone, wall).substr(4), date_and_time(zone, wall)});
    }
    for (const std::size_t limit : shown)
      cells.push_back(plain_number(in.from_canonical(row.values[limit])));
    if (marked) cells.emplace_back(*age == row.age ? "<" : "< and on");
    rows.push_back(std::move(cells));
  }
  return grid(rows);
}

int explain_pack(const std::string& pack, const std::string& flock, const Opened& opened,
                 const Common& common) {
  std::string refusal;
  const std::vector<Chosen> rules = choose_pack(opened.files, opened.loaded.rules, pack, flock, now_on_the_clock(), refusal);
  if (!refusal.empty()) {
    fmt::print(stderr, "underwing: {}\n", refusal);
    return 2;
  }
  const auto curves = curves_of(rules);
  if (common.json) {
    for (const auto& [name, curve] : curves) fmt::print("{}\n", curve_as_json(*curve).dump());
    for (const Chosen& chosen : rules) fmt::print("{}\n", rule_as_json(chosen, std::nullopt).dump());
    return 0;
  }
  const bool alone = !rules.empty() && rules.front().any_house;
  const Flock* used = rules.empty() ? nullptr : rules.front().flock;
  fmt::print("pack {}{}\n", pack,
             alone  ? opened.loaded.ok() ? ", as it stands in the pack; nobody on this farm uses it"
                                         : ", as it stands in the pack"
             : used ? fmt::format(", as it stands for the flock {}", used->name)
                    : "");
  for (const Chosen& chosen : rules) print_rule(chosen);
  if (!curves.empty()) print_curves(curves, rules.front().rules->farm.units);
  print_limits(rules);
  return 0;
}

}  // namespace underwing::tool
