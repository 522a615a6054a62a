#pragma once

#include <string>

#include "rules/files/drafts.hpp"
#include "rules/files/reach.hpp"

/// What is odd about one rule in one house, or dangerous for its flock, though nothing about it is wrong.
namespace underwing {

inline constexpr Duration kDay = std::chrono::hours(24);

/// Broilers are seldom older (common practice); later ages are not judged.
inline constexpr Duration kLastDay = 42 * kDay;

/// Chicks keep their own warmth from 12 to 14 days: University of Georgia, Extension B1287, Fairchild.
inline constexpr Duration kOwnWarmth = 14 * kDay;

/// Limits that can never be broken or always are, conditions that never or always hold, a rule that is never
/// in force or not for as long as its own delay, a deadband with no room for it.
void judge_holding(const RuleDraft& draft, const WatchedRule& rule, const RuleSet& set, std::size_t house,
                   const Flock* flock, IssueLog& log);

/// What air temperature a flock wants at an age, and who says so.
struct Target {
  const Curve* curve = nullptr;  ///< never null
  std::string name;              ///< "the curve air_target"
};

/// The curve of temperatures that the limits of a rule name; none: nullopt.
[[nodiscard]] std::optional<Target> target_of(const WatchedRule& rule);

/// What a breeder's guide wants, for rules that name no curve.
[[nodiscard]] Target published_target();

/// Urgent limits further out than birds or people can bear. A high limit that was 10 K too high has killed a
/// house, so this is said loudly.
void judge_bearable(const RuleDraft& draft, const WatchedRule& rule, const RuleSet& set, const Flock& flock,
                    const Target& target, IssueLog& log);

/// A target far from every published one at an age of the rule. `points`: where the curve's numbers stand.
void judge_target(const YamlNode& points, const Curve& curve, const WatchedRule& rule, Units units, IssueLog& log);

/// "at placement", "at an age of 3 d".
[[nodiscard]] std::string at_age(Duration age);

}  // namespace underwing
