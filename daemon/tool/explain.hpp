#pragma once

#include <nlohmann/json.hpp>
#include <optional>
#include <string>
#include <utility>
#include <vector>

#include "daemon/tool/chosen.hpp"
#include "rules/base/zone.hpp"
#include "rules/explain/by_age.hpp"

/// Parts of `underwing explain` that stand in files of their own.
namespace underwing::tool {

/// A rule's limits as rows by age, with the flock's days and dates where there is a flock. The row that holds
/// at `age` is marked.
[[nodiscard]] std::string table_as_text(const Chosen& chosen, const LimitTable& table,
                                        const std::optional<Duration>& age);

[[nodiscard]] Instant now_on_the_clock();

/// Why the rule is not in force at an age; empty where it is.
[[nodiscard]] std::string out_of_force(const Chosen& chosen, Duration age);

/// "low 29 °C, high 33.5 °C" at an age; limits that are no numbers by age are left out.
[[nodiscard]] std::string limits_then(const Chosen& chosen, Duration age);

/// For each measure the names of the probes that the rule reads.
[[nodiscard]] std::vector<std::pair<std::string, std::vector<std::string>>> sources_of(const Chosen& chosen);

/// All that is said of a rule, as one object; limits at `age` where one is given.
[[nodiscard]] nlohmann::ordered_json rule_as_json(const Chosen& chosen, const std::optional<Duration>& age);

/// What a running watch says of the rules of one name.
struct LiveFacts {
  std::string hash;    ///< of the rules that it runs with
  nlohmann::json now;  ///< as explain_now, one entry for each house, flock and probe
};
/// Asks the watch that listens on `socket`. nullopt: none does, or it has no such rule; `refusal` says which.
[[nodiscard]] std::optional<LiveFacts> ask_about(const std::string& socket, const std::string& rule,
                                                 std::string& refusal);

/// Why one of them is or is not watching now, with its value, limits and probes.
void print_now(const nlohmann::json& entry);

/// All rules and curves of a pack.
int explain_pack(const std::string& pack, const std::string& flock, const Opened& opened,
                 const Common& common);

}  // namespace underwing::tool
