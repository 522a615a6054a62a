#pragma once

#include <string>
#include <vector>

#include "rules/model.hpp"

/// Expressions in plain English. The words follow the tree, not the text, so that values of a pack are
/// written out and a reader sees what is really compared.
namespace underwing {

/// What the words are about. Borrowed; both outlive the call.
struct Wording {
  const RuleSet& rules;
  const WatchedRule& rule;
  bool any_house = false;  ///< of a pack by itself: how many probes a house has is not said
  /// Where set, what the pack has words for is called by them and noted here, each once; else all is written out.
  std::vector<const Expression*>* named = nullptr;
};

/// A number: "the middle one of the three air temperature probes, each averaged over 10 minutes".
[[nodiscard]] std::string number_in_words(const Expression& expression, const Wording& wording);
/// The same to stand before a verb: what is set off by a comma ends with one.
[[nodiscard]] std::string subject_in_words(const Expression& expression, const Wording& wording);

/// What an expression stands for whose words are used elsewhere: the same, written out by one step.
[[nodiscard]] std::string meaning_in_words(const Expression& expression, const Wording& wording);

/// A condition: "the mains is off and the generator is not running".
[[nodiscard]] std::string condition_in_words(const Expression& expression, const Wording& wording);

/// What breaks a limit, to stand after "is" or "stays": "below 10 L", "more than 2 K below the air target".
[[nodiscard]] std::string breach_in_words(const Limit& limit, const Wording& wording);

/// "the lower bound for the age", in the pack's words, else "the never under".
[[nodiscard]] std::string curve_in_words(const Curve& curve);

/// How many probes of a measure the rule's house has.
[[nodiscard]] std::size_t probe_count(const Wording& wording, std::size_t measure);

}  // namespace underwing
