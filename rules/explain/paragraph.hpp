#pragma once

#include <functional>
#include <string>

#include "rules/explain/phrase.hpp"

namespace underwing {

/// The word in capitals with which people are told that a limit is broken: COLD, HOT.
using Headline = std::function<std::string(const Limit&)>;

/// The whole rule in one paragraph of plain sentences, in the order in which a grower would ask: what, when,
/// who is told, when it ends, how soon to act, what if it cannot tell. Where the pack has words for its values, what they mean
/// follows after a line feed; there is no other.
[[nodiscard]] std::string rule_in_words(const Wording& wording, const Headline& headline);

/// "From 6 hours before placement to the age of 14 days", "At all times".
[[nodiscard]] std::string period_in_words(const WatchedRule& rule);

/// "somebody is woken", "somebody is told the same day", "it is noted for the morning summary".
[[nodiscard]] std::string telling_in_words(Priority priority);

}  // namespace underwing
