// describe_changes: what differs between the rules of two sets.
#include <cmath>
#include <map>
#include <tuple>

#include "daemon/changes_impl.hpp"
#include "rules/explain/by_age.hpp"
#include "rules/explain/phrase.hpp"
#include "rules/explain/words.hpp"

namespace underwing {

namespace {

constexpr Duration kDay = std::chrono::hours(24);
/// Older flocks are not looked at: no limit moves then.
constexpr Duration kAgeMax = 60 * kDay;

/// A rule with the set that it belongs to.
struct Placed {
  const RuleSet& set;
  const WatchedRule& rule;

  [[nodiscard]] const Flock* flock() const { return rule.flock ? &set.flocks[*rule.flock] : nullptr; }
  [[nodiscard]] Wording wording() const { return {set, rule}; }
  [[nodiscard]] std::string where() const {
    return set.houses[rule.house].name + (rule.probe ? " " + set.probes[*rule.probe].name : "");
  }
};

bool same(const Placed& a, const ExpressionPtr& x, const Placed& b, const ExpressionPtr& y) {
  using Kind = Expression::Kind;
  if (!x || !y) return !x && !y;
  if (x->kind != y->kind || x->function != y->function || x->span != y->span || x->children.size() != y->children.size()) return false;
  if (x->kind == Kind::number && std::abs(x->number - y->number) > 1e-9) return false;
  if (x->kind == Kind::state && x->number != y->number) return false;
  if (x->kind == Kind::fact && x->fact != y->fact) return false;
  if (x->kind == Kind::trade && x->trade != y->trade) return false;
  if ((x->kind == Kind::measure || x->kind == Kind::window) && a.set.measures[x->measure].name != b.set.measures[y->measure].name) return false;
  const bool reads_curve = x->kind == Kind::curve || x->kind == Kind::curve_at || x->kind == Kind::curve_age_at || x->kind == Kind::share;
  if (reads_curve && a.rule.curves[x->index]->points != b.rule.curves[y->index]->points) return false;
  for (std::size_t i = 0; i < x->children.size(); ++i) {
    if (!same(a, x->children[i], b, y->children[i])) return false;
  }
  return true;
}

/// Two values with as many digits behind the point, "29.0 °C" and "28.5 °C"; where those who are shown them would not see that they
/// differ, with all digits.
std::pair<std::string, std::string> alike(double was, double is, const Unit& unit) {
  const auto in_full = [&](double value) { return fmt::format("{:g}{}{}", unit.from_canonical(value), unit.text.empty() ? "" : " ", unit.text); };
  std::string one = with_unit(was, unit), other = with_unit(is, unit);
  if (one == other) return {in_full(was), in_full(is)};
  const std::size_t behind = unit.text.empty() ? 0 : unit.text.size() + 1;
  const auto decimals = [&](const std::string& text) {
    const std::size_t point = text.find('.');
    return point == std::string::npos ? 0 : text.size() - behind - point - 1;
  };
  const std::size_t wanted = std::max(decimals(one), decimals(other));
  for (std::string* text : {&one, &other}) {
    const std::size_t has = decimals(*text);
    if (has < wanted) text->insert(text->size() - behind, (has == 0 ? "." : "") + std::string(wanted - has, '0'));
  }
  return {one, other};
}

/// Compares one rule as it was and as it is.
class Comparer {
 public:
  Comparer(const Placed& was, const Placed& is, Instant wall, Changes& changes) : was_(was), is_(is), wall_(wall), changes_(changes) {}

  void compare() {
    const WatchedRule &a = was_.rule, &b = is_.rule;
    if (!same(was_, a.watch, is_, b.watch)) watched();
    if (limit_names(a) != limit_names(b)) differs("limits", limit_names(a), limit_names(b));
    else for (std::size_t i = 0; i < a.limits.size(); ++i) limit(a.limits[i], b.limits[i]);
    if (!same(was_, a.only_if, is_, b.only_if)) other_condition("only_if", a.only_if, b.only_if);
    differs("from", or_none(a.from, short_age), or_none(b.from, short_age));
    differs("until", or_none(a.until, short_age), or_none(b.until, short_age));
    differs("on_delay", to_words(a.on_delay), to_words(b.on_delay));
    differs("off_delay", to_words(a.off_delay), to_words(b.off_delay));
    differs("blind_after", to_words(a.blind_after), to_words(b.blind_after));
    differs("ahead", or_none(a.ahead), or_none(b.ahead));
    differs("respond_within", or_none(a.respond_within), or_none(b.respond_within));
    if (std::abs(a.deadband - b.deadband) > 1e-9) {
      const auto [before, now] = alike_difference(a.deadband, b.deadband);
      differs("deadband", before, now);
    }
    differs("follows", list_or_none(a.follows), list_or_none(b.follows));
    if (a.even_during_work != b.even_during_work) say(b.even_during_work ? "in force while people work in the house, too" : "no longer in force while people work in the house");
    if (a.latch != b.latch) say(b.latch ? "now stays until it is reset on the spot" : "no longer stays until it is reset");
    words();
  }

 private:
  void say(const std::string& text) { changes_.push_back({is_.where(), is_.rule.name + ": " + text, std::max(was_.rule.worst_priority(), is_.rule.worst_priority())}); }
  void differs(const std::string& what, const std::string& was, const std::string& is) {
    if (was != is) say(fmt::format("{} was {}, now {}", what, was, is));
  }

  [[nodiscard]] std::string limit_names(const WatchedRule& rule) const {
    std::vector<std::string> names;
    for (const Limit& limit : rule.limits) names.push_back(limit.side == Limit::Side::low ? "low" : limit.side == Limit::Side::high ? "high" : "when");
    return join_words(names);
  }

  [[nodiscard]] std::pair<std::string, std::string> alike_difference(double was, double is) const {
    return alike(was, is, shown_in(is_.rule.unit.of_difference(), is_.set.farm.units));
  }

  /// In words; where the words do not differ, that it does.
  void in_words(const std::string& what, const std::string& was, const std::string& is) {
    if (was == is) say(what + " is reckoned otherwise");
    else differs(what, was, is);
  }

  void watched() {
    const auto text = [](const Placed& placed) { return placed.rule.watch ? number_in_words(*placed.rule.watch, placed.wording()) : "none"; };
    in_words("watch", text(was_), text(is_));
  }

  void other_condition(const std::string& what, const ExpressionPtr& was, const ExpressionPtr& is) {
    const auto text = [](const Placed& placed, const ExpressionPtr& it) { return it ? condition_in_words(*it, placed.wording()) : "none"; };
    in_words(what, text(was_, was), text(is_, is));
  }

  void limit(const Limit& was, const Limit& is) {
    const std::string name = name_of_limit(is_.rule, is);
    if (was.side == Limit::Side::when) {
      if (!same(was_, was.expression, is_, is.expression)) other_condition("when", was.expression, is.expression);
    } else if (!limit_by_age(name, was, is) && !same(was_, was.expression, is_, is.expression) && std::isnan(value_then(was_, was, Duration::zero())) &&
               std::isnan(value_then(is_, is, Duration::zero()))) {
      in_words(name, number_in_words(*was.expression, was_.wording()), number_in_words(*is.expression, is_.wording()));
    }
    const std::string of = is_.rule.staged ? name_of_limit(was_.rule, was) + ": " : "";
    differs(of + "priority", to_string(was.priority), to_string(is.priority));
  }

  [[nodiscard]] static double value_then(const Placed& placed, const Limit& limit, Duration age) { return limit_at(placed.rule, limit, placed.flock(), age); }

  /// Ages to look at: today's, each whole day at which either rule is in force, and each bend of a curve.
  [[nodiscard]] std::vector<Duration> ages() const {
    if (!is_.rule.flock) return {Duration::zero()};
    const auto [begin, end] = ages_shown(is_.rule);
    const auto [begin_was, end_was] = ages_shown(was_.rule);
    const Duration first = std::min(begin, begin_was), last = std::min(std::max(end, end_was), kAgeMax);
    std::vector<Duration> ages;
    for (Duration age = std::chrono::ceil<std::chrono::days>(first); age < last; age += kDay) ages.push_back(age);
    for (const Placed* placed : {&was_, &is_}) {
      for (const auto& curve : placed->rule.curves) {
        for (const auto& point : curve->points) {
          if (point.first >= first && point.first < last) ages.push_back(point.first);
        }
      }
    }
    if (ages.empty()) ages.push_back(first);
    const Duration today = std::chrono::floor<std::chrono::days>(wall_ - is_.flock()->placed);
    const bool shown = std::find(ages.begin(), ages.end(), today) != ages.end();
    if (shown) ages.insert(ages.begin(), today);
    return ages;
  }

  /// "day 3", as the flock's people count; other ages as files write them.
  [[nodiscard]] std::string at_age(Duration age) const {
    if (!is_.rule.flock) return "";
    const auto days = std::chrono::floor<std::chrono::days>(age);
    if (days != age || age < Duration::zero()) return " at " + short_age(age);
    return fmt::format(" at day {}", days.count() + is_.flock()->first_day);
  }

  /// True where the limit differs at some age at which it is known before and now; that is said.
  bool limit_by_age(const std::string& name, const Limit& was, const Limit& is) {
    for (const Duration age : ages()) {
      const double before = value_then(was_, was, age), now = value_then(is_, is, age);
      if (std::isnan(before) != std::isnan(now)) {
        in_words(name, number_in_words(*was.expression, was_.wording()), number_in_words(*is.expression, is_.wording()));
        return true;
      }
      if (std::isnan(now) || std::abs(before - now) < 1e-9) continue;
      const auto [one, other] = alike(before, now, shown_in(is.unit, is_.set.farm.units));
      differs(name + at_age(age), one, other);
      return true;
    }
    return false;
  }

  void words() {
    const WatchedRule &a = was_.rule, &b = is_.rule;
    if (a.action != b.action) say(fmt::format("do is now \"{}\"", b.action));
    std::vector<std::string> reworded;
    const auto add = [&](const char* key, const std::string& was, const std::string& is) {
      if (was != is) reworded.emplace_back(key);
    };
    add("head", a.head, b.head);
    add("about", a.about, b.about);
    add("cause", a.cause, b.cause);
    add("consequence", a.consequence, b.consequence);
    add("source", a.source, b.source);
    const auto same_words = [](const auto& one, const auto& other) {
      return one.first == other.first && one.second.head == other.second.head && one.second.about == other.second.about &&
             one.second.action == other.second.action;
    };
    if (!std::equal(a.in.begin(), a.in.end(), b.in.begin(), b.in.end(), same_words)) reworded.emplace_back("its words in other languages");
    if (!reworded.empty()) changes_.push_back({is_.where(), fmt::format("{}: {} reworded", b.name, join_words(reworded)), Priority::note});
  }

  const Placed was_, is_;
  Instant wall_;
  Changes& changes_;
};

/// Flock, house, rule, probe; the first is empty for packs of the farm.
using Key = std::tuple<std::string, std::string, std::string, std::string>;

std::map<Key, const WatchedRule*> by_key(const RuleSet& set) {
  std::map<Key, const WatchedRule*> map;
  for (const WatchedRule& rule : set.rules) {
    map[{rule.flock ? set.flocks[*rule.flock].name : "", set.houses[rule.house].name, rule.name, rule.probe ? set.probes[*rule.probe].name : ""}] = &rule;
  }
  return map;
}

/// A flock that one set alone has is news of its own; its rules are not told one by one.
bool of_other_flock(const WatchedRule& rule, const RuleSet& set, const RuleSet& other) {
  return rule.flock && named(other.flocks, set.flocks[*rule.flock].name) == nullptr;
}

}  // namespace

Changes rule_changes(const RuleSet& older, const RuleSet& newer, Instant wall) {
  Changes changes;
  const auto before = by_key(older), after = by_key(newer);
  for (const auto& [key, rule] : before) {
    if (after.contains(key) || of_other_flock(*rule, older, newer)) continue;
    changes.push_back({Placed{older, *rule}.where(), rule->name + ": no longer watched", rule->worst_priority()});
  }
  for (const auto& [key, rule] : after) {
    const auto found = before.find(key);
    if (found != before.end()) Comparer({older, *found->second}, {newer, *rule}, wall, changes).compare();
    else if (!of_other_flock(*rule, newer, older)) changes.push_back({Placed{newer, *rule}.where(), rule->name + ": newly watched", rule->worst_priority()});
  }
  return changes;
}

}  // namespace underwing
