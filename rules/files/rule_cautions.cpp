#include "rules/files/rule_cautions.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "rules/language/check.hpp"

namespace underwing {
namespace {

constexpr double kSame = 1e-9;

/// What a limit and the watched value can be over all ages of the rule, taken day by day, so that a limit
/// that moves with age is held against the value of the same age.
struct Holding {
  bool can_be_broken = false, always_broken = true;
  Reach value{INFINITY, -INFINITY}, limit{INFINITY, -INFINITY};
};

void widen(Reach& all, const Reach& more) {
  all = {std::min(all.low, more.low), std::max(all.high, more.high)};
}

bool moves_with_age(const Expression& it) {
  using Kind = Expression::Kind;
  return it.kind == Kind::curve || (it.kind == Kind::fact && it.fact == Expression::Fact::age) ||
         std::any_of(it.children.begin(), it.children.end(),
                     [](const ExpressionPtr& child) { return moves_with_age(*child); });
}

class HoldingJudge {
 public:
  HoldingJudge(const RuleDraft& draft, const WatchedRule& rule, const RuleSet& set, std::size_t house,
               const Flock* flock, IssueLog& log)
      : draft_(draft), rule_(rule), set_(set), house_(house), flock_(flock), log_(log) {}

  void run() {
    moves_ =
        (rule_.watch && moves_with_age(*rule_.watch)) || (rule_.only_if && moves_with_age(*rule_.only_if));
    for (const Limit& limit : rule_.limits) moves_ = moves_ || moves_with_age(*limit.expression);
    for (std::size_t i = 0; i < rule_.limits.size(); ++i) {
      if (rule_.limits[i].side == Limit::Side::when) {
        judge_when(i);
      } else {
        judge_limit(i);
      }
    }
    judge_only_if();
    judge_life();
    judge_deadband();
  }

 private:
  /// Calls `look` for each piece of the rule's life; one piece where it has no ages.
  template <class Look>
  void each_piece(Look look) const {
    if (flock_ == nullptr || !moves_) {
      look(ReachPlace{set_, house_, flock_, rule_.curves, {}, {}});
      return;
    }
    const std::set<Duration> ages = ages_judged(rule_, kDay);
    for (auto age = ages.begin(); age != ages.end(); ++age) {
      const auto next = std::next(age);
      look(ReachPlace{set_, house_, flock_, rule_.curves, *age,
                      next == ages.end() ? rule_.until.value_or(*age) : *next});
    }
  }

  void judge_limit(std::size_t index) {
    const Limit& limit = rule_.limits[index];
    const bool low = limit.side == Limit::Side::low;
    Holding all;
    bool known = true;
    each_piece([&](const ReachPlace& place) {
      const Reach value = reach_of(*rule_.watch, place);
      const Reach border = reach_of(*limit.expression, place);
      known = known && value.can_be_known && border.can_be_known;
      const double furthest = low ? border.high - value.low : value.high - border.low;
      const double nearest = low ? border.low - value.high : value.low - border.high;
      all.can_be_broken = all.can_be_broken || furthest > kSame || std::isnan(furthest);
      all.always_broken = all.always_broken && nearest > kSame;
      widen(all.value, value);
      widen(all.limit, border);
    });
    if (!known || (all.can_be_broken && !all.always_broken)) return;
    const bool never = !all.can_be_broken;
    // The end of the value that this limit cannot get past, or never gets back over.
    const double value = low == never ? all.value.low : all.value.high;
    report_caution(log_, *draft_.limits[index].expression.node,
                   fmt::format("this limit {} be broken: it is {}, and what is watched is never {} {}{}",
                               never ? "can never" : "will always", limit_in_words(all.limit),
                               low == never ? "below" : "above", in_unit(value),
                               level_of(*rule_.watch) ? ", as nothing beyond that is believed" : ""));
  }

  void judge_when(std::size_t index) {
    const Outcome all = over_ages(*rule_.limits[index].expression);
    if (all.can_be_true && (all.can_be_false || asks_in_vain(*rule_.limits[index].expression))) return;
    report_caution(log_, *draft_.limits[index].expression.node,
                   all.can_be_true
                       ? "this is always true, so that the alarm would never end"
                       : "this can never be true, so that the rule never speaks" +
                             std::string(asks_in_vain(*rule_.limits[index].expression)
                                             ? "; it asks for the light, and the flock has no 'lights'"
                                             : ""));
  }

  void judge_only_if() {
    if (!rule_.only_if) return;
    const Outcome all = over_ages(*rule_.only_if);
    if (all.can_be_true || !all.can_be_false || asks_in_vain(*rule_.only_if)) return;
    report_caution(log_, *draft_.only_if->node, "this is never true, so that the rule is never in force");
  }

  void judge_life() {
    if (!rule_.until) return;
    const Duration life = *rule_.until - rule_.from.value_or(-kDay);
    const YamlNode::Entry* delay = draft_.map->find("on_delay");
    if (life <= Duration::zero()) {
      report_caution(log_, *draft_.key,
                     fmt::format("this rule is never in force: it ends at an age of {}, and no probe of what it watches counts before an age of {}",
                                 to_words(*rule_.until), to_words(*rule_.from)));
      return;
    }
    if (delay == nullptr || rule_.on_delay < life) return;
    report_caution(log_, delay->value,
                   fmt::format("this rule can never speak: it is in force for {}, and waits for {}", to_words(life), to_words(rule_.on_delay)));
  }

  /// Back inside one limit by the deadband is beyond the other one: the alarm would end in the next.
  void judge_deadband() {
    if (flock_ == nullptr || rule_.staged || rule_.limits.size() != 2 || draft_.deadband_node == nullptr)
      return;
    for (const Duration age : ages_judged(rule_, kDay)) {
      const double low = at(rule_.limits[0], age);
      const double high = at(rule_.limits[1], age);
      if (std::isnan(low) || std::isnan(high) || rule_.deadband <= high - low + kSame) continue;
      report_caution(
          log_, *draft_.deadband_node,
          fmt::format("{} the deadband is wider than the room between low ({}) and high ({}): no alarm "
                      "could end without the other one",
                      at_age(age), in_unit(low), in_unit(high)));
      return;
    }
  }

  [[nodiscard]] double at(const Limit& limit, Duration age) const {
    return value_at_age(*limit.expression, rule_.curves, hours_of(age), facts_of(flock_));
  }

  [[nodiscard]] Outcome over_ages(const Expression& condition) const {
    Outcome all{false, false};
    each_piece([&](const ReachPlace& place) {
      const Outcome then = outcome_of(condition, place);
      all = {all.can_be_true || then.can_be_true, all.can_be_false || then.can_be_false};
    });
    return all;
  }

  [[nodiscard]] bool asks_in_vain(const Expression& condition) const {
    return flock_ != nullptr && flock_->lights.empty() && asks_for_lights(condition);
  }

  [[nodiscard]] std::string in_unit(double canonical) const { return to_a_tenth(shown_in(rule_.unit, set_.farm.units), canonical); }

  [[nodiscard]] std::string limit_in_words(const Reach& limit) const {
    return limit.high - limit.low < kSame ? in_unit(limit.low)
                                          : fmt::format("{} to {}", in_unit(limit.low), in_unit(limit.high));
  }

  const RuleDraft& draft_;
  const WatchedRule& rule_;
  const RuleSet& set_;
  std::size_t house_;
  const Flock* flock_;
  IssueLog& log_;
  bool moves_ = true;  ///< something of it moves with age
};

}  // namespace

void judge_holding(const RuleDraft& draft, const WatchedRule& rule, const RuleSet& set, std::size_t house,
                   const Flock* flock, IssueLog& log) {
  HoldingJudge(draft, rule, set, house, flock, log).run();
}

std::string at_age(Duration age) {
  return age == Duration::zero() ? "at placement" : "at an age of " + to_words(age);
}

}  // namespace underwing
