#include "rules/files/resolve.hpp"

#include <fmt/format.h>

#include <algorithm>

#include "rules/language/words.hpp"

namespace underwing {
namespace {

std::function<void(const Problem&)> reporter(IssueLog& log, const YamlNode& node) {
  return [&log, &node](const Problem& problem) { report(log, node, problem); };
}

/// The first number with a unit of that kind, as somebody wrote it.
const Unit* written_unit(const Syntax& syntax, const Type& type) {
  if (syntax.unit && syntax.unit->dimension == type.dimension && syntax.unit->point == type.point)
    return &*syntax.unit;
  for (const auto& child : syntax.children) {
    if (const Unit* unit = written_unit(*child, type)) return unit;
  }
  return nullptr;
}

Unit canonical_unit(const Type& type) {
  Unit unit;
  unit.text = unit_text_of(type.dimension, type.point);
  unit.dimension = type.dimension;
  unit.point = type.point;
  return unit;
}

/// Resolves one rule; each function looks after one part of it.
class RuleResolver {
 public:
  RuleResolver(const RuleDraft& draft, const Scope& scope, IssueLog& log)
      : draft_(draft), scope_(scope), log_(log), checker_(scope, nullptr) {
    result_.rule = draft.rule;
  }

  std::optional<ResolvedRule> run(const PlacementFacts& facts) {
    find_own_measure();
    if (draft_.watch) result_.rule.watch = check(*draft_.watch);
    if (result_.rule.watch) judge_watch();
    for (const LimitDraft& limit : draft_.limits) add_limit(limit);
    if (draft_.only_if) {
      result_.rule.only_if = check(*draft_.only_if);
      if (result_.rule.only_if) need(*draft_.only_if, *result_.rule.only_if, kLogicType);
      fine_ = fine_ && result_.rule.only_if;
    }
    judge_ages();
    fine_ = fine_ && !draft_.limits.empty() && (result_.rule.watch || !draft_.watch);
    if (!fine_) return std::nullopt;
    set_unit();
    set_deadband();
    collect_measures();
    result_.rule.curves = checker_.curves();
    judge_crossing(draft_, result_.rule, facts, log_);
    return std::move(result_);
  }

 private:
  ExpressionPtr check(const WrittenExpression& written) {
    if (!written.syntax) return nullptr;
    checker_.set_report(reporter(log_, *written.node));
    return checker_.check(*written.syntax);
  }

  bool need(const WrittenExpression& written, const Expression& given, const Type& needed) {
    if (given.type == needed) return true;
    const Syntax& syntax = *written.syntax;
    report(log_, *written.node, Problem{syntax.offset, syntax.length, mismatch(syntax, given.type, needed)});
    fine_ = false;
    return false;
  }

  void find_own_measure() {
    if (!draft_.each_probe) return;
    std::optional<std::string> name;
    if (draft_.watch && draft_.watch->syntax) name = first_bare_measure(*draft_.watch->syntax, scope_);
    for (const LimitDraft& limit : draft_.limits) {
      if (!name && limit.side == Limit::Side::when && limit.expression.syntax)
        name = first_bare_measure(*limit.expression.syntax, scope_);
    }
    if (name) {
      const auto& all = *scope_.measures;
      const auto found =
          std::find_if(all.begin(), all.end(), [&](const Measure& it) { return it.name == *name; });
      result_.own_measure = static_cast<std::size_t>(found - all.begin());
      checker_.set_own_measure(*result_.own_measure);
      return;
    }
    const bool unreadable =
        (draft_.watch && !draft_.watch->syntax) || (!draft_.watch && draft_.limits.empty());
    fine_ = false;
    if (unreadable || !scope_.whole) return;
    report(log_, *draft_.each,
           "'each: probe' needs a measure that stands by itself, outside median, mean, lowest and highest");
  }

  void judge_watch() {
    const Expression& watch = *result_.rule.watch;
    if (watch.type.kind == Type::Kind::number) return;
    const Syntax& syntax = *draft_.watch->syntax;
    report(log_, *draft_.watch->node,
           Problem{syntax.offset, syntax.length,
                   fmt::format("'watch' needs a number, and this is {}; use 'when'", in_words(watch.type))});
    result_.rule.watch = nullptr;
    fine_ = false;
  }

  void add_limit(const LimitDraft& written) {
    const ExpressionPtr expression = check(written.expression);
    if (!expression) {
      fine_ = false;
      return;
    }
    if (written.side == Limit::Side::when) {
      need(written.expression, *expression, kLogicType);
    } else if (result_.rule.watch) {
      need(written.expression, *expression, result_.rule.watch->type);
    }
    result_.rule.limits.push_back({written.side, expression, written.priority, Unit{}});
  }

  void judge_ages() {
    if (scope_.has_flock) return;
    for (const char* key : {"from", "until"}) {
      if (const YamlNode::Entry* entry = draft_.map->find(key)) {
        report(log_, entry->key, fmt::format("'{}' is an age of a flock; a pack of the farm has none", key));
        fine_ = false;
      }
    }
  }

  void set_unit() {
    WatchedRule& rule = result_.rule;
    if (!rule.watch) return;
    const Type& type = rule.watch->type;
    rule.unit = canonical_unit(type);
    if (const Unit* unit = unit_of_measure(type)) {
      rule.unit = *unit;
      if (!type.point) rule.unit = unit->of_difference();
    } else {
      for (const LimitDraft& limit : draft_.limits) {
        if (const Unit* written = written_unit(*limit.expression.syntax, type)) {
          rule.unit = *written;
          break;
        }
      }
    }
    for (Limit& limit : rule.limits) limit.unit = rule.unit;
  }

  const Unit* unit_of_measure(const Type& type) const {
    for (const std::size_t measure : measures_of(*result_.rule.watch)) {
      const Unit& unit = (*scope_.measures)[measure].unit;
      if (unit.dimension == type.dimension && (unit.point || !type.point) && !unit.dimension.none())
        return &unit;
    }
    return nullptr;
  }

  void set_deadband() {
    if (!draft_.deadband || !result_.rule.watch) return;
    Type needed = result_.rule.watch->type;
    needed.point = false;
    const Quantity& written = *draft_.deadband;
    const std::string example = result_.rule.unit.of_difference().text;
    if (written.unit.dimension != needed.dimension) {
      const std::string wanted =
          needed.dimension.none() ? "a plain number" : fmt::format("a difference in {}", example);
      report(log_, *draft_.deadband_node,
             written.unit.text.empty()
                 ? fmt::format("this number needs a unit: {:g} {}", written.value, example)
                 : fmt::format("{} is needed here, not one in {}", wanted, written.unit.text));
      fine_ = false;
    } else if (written.unit.point) {
      report(log_, *draft_.deadband_node,
             fmt::format("a difference is needed here; write {:g} {}", written.value,
                         written.unit.of_difference().text));
      fine_ = false;
    }
    result_.rule.deadband = written.value * written.unit.factor;
  }

  void collect_measures() {
    std::set<std::size_t> watched;
    std::set<std::size_t> used;
    const auto add = [&used](const Expression& expression) {
      for (const std::size_t measure : measures_of(expression)) used.insert(measure);
    };
    const auto need_all = [&](const Expression& expression) {
      add(expression);
      for (const std::size_t measure : measures_required(expression)) watched.insert(measure);
    };
    if (result_.rule.watch) need_all(*result_.rule.watch);
    for (const Limit& limit : result_.rule.limits) need_all(*limit.expression);
    if (result_.rule.only_if) add(*result_.rule.only_if);
    result_.watched.assign(watched.begin(), watched.end());
    result_.used.assign(used.begin(), used.end());
  }

  const RuleDraft& draft_;
  const Scope& scope_;
  IssueLog& log_;
  Checker checker_;
  ResolvedRule result_;
  bool fine_ = true;
};

}  // namespace

std::optional<ResolvedRule> resolve_rule(const RuleDraft& draft, const Scope& scope,
                                         const PlacementFacts& facts, IssueLog& log) {
  return RuleResolver(draft, scope, log).run(facts);
}

Scope scope_of(const PackDraft& pack, const std::vector<const PackDraft*>& beside,
               const std::vector<Measure>& measures, IssueLog& log) {
  Scope scope;
  scope.measures = &measures;
  scope.probes = [](std::size_t) { return std::optional<std::size_t>(); };
  const auto add = [&](const PackDraft& from) {
    for (const auto& [name, curve] : from.curves) {
      if (!scope.values.contains(name)) scope.curves.emplace(name, curve.curve);
    }
    for (const auto& [name, value] : from.values) {
      if (scope.curves.contains(name)) continue;
      NamedValue named;
      named.words = value.words;
      if (value.expression) {
        named.syntax = value.expression->syntax;
        named.report = reporter(log, *value.expression->node);
      }
      scope.values.emplace(name, std::move(named));
    }
  };
  add(pack);
  for (const PackDraft* other : beside) {
    if (other != &pack) add(*other);
  }
  return scope;
}

void judge_values(const PackDraft& pack, const Scope& scope, IssueLog& log) {
  Scope alone = scope;
  // How its probes are combined is for the rule to say that uses it.
  alone.probes = [](std::size_t) { return std::optional<std::size_t>(); };
  for (const auto& [name, value] : pack.values) {
    if (!value.expression || !value.expression->syntax) continue;
    Checker checker(alone, reporter(log, *value.expression->node));
    // Entered by its name, so that a value that names itself is seen as a circle.
    Syntax named;
    named.kind = Syntax::Kind::name;
    named.word = name;
    (void)checker.check(named);
  }
}

}  // namespace underwing
