#pragma once

#include <optional>
#include <set>
#include <string>
#include <vector>

#include "rules/files/drafts.hpp"
#include "rules/language/check.hpp"

namespace underwing {

/// One rule with its expressions checked, for one house.
struct ResolvedRule {
  WatchedRule rule;                        ///< house, flock and probe are not set yet
  std::vector<std::size_t> watched;        ///< measures without which it cannot tell
  std::vector<std::size_t> used;           ///< all measures that it names, `only_if` included
  std::optional<std::size_t> own_measure;  ///< under `each: probe`
};

/// What a flock knows of itself; limits may depend on it.
struct PlacementFacts {
  FlockFacts flock;
  Units units = Units::metric;  ///< in which whoever reads what is wrong is shown values
};

/// nullopt: something is wrong (reported), or it cannot be judged in this scope.
[[nodiscard]] std::optional<ResolvedRule> resolve_rule(const RuleDraft& draft, const Scope& scope,
                                                       const PlacementFacts& facts, IssueLog& log);

/// What the names of a pack mean: its own curves and values first, then those of the packs beside it.
/// Drafts and measures have to outlive the scope.
[[nodiscard]] Scope scope_of(const PackDraft& pack, const std::vector<const PackDraft*>& beside,
                             const std::vector<Measure>& measures, IssueLog& log);

/// Judges the values of a pack by themselves, whether or not a rule names them.
void judge_values(const PackDraft& pack, const Scope& scope, IssueLog& log);

/// Holds limits that depend on age alone against each other at all ages of the rule.
void judge_crossing(const RuleDraft& draft, const WatchedRule& rule, const PlacementFacts& facts,
                    IssueLog& log);

}  // namespace underwing
