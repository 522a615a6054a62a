#pragma once

#include <memory>
#include <optional>
#include <string>
#include <vector>

#include "daemon/tool/tool.hpp"
#include "rules/explain/paragraph.hpp"
#include "rules/model.hpp"

/// Finding the rule or the pack that somebody asks about.
namespace underwing::tool {

/// One rule in one house, as it is explained. Points into `rules`.
struct Chosen {
  std::shared_ptr<const RuleSet> rules;
  const WatchedRule* rule = nullptr;
  const Flock* flock = nullptr;  ///< null: a pack of the farm, or a pack by itself
  bool any_house = false;        ///< explained from the pack alone
  std::string notice;            ///< why it is not in force here, or where else it is; may be empty
  [[nodiscard]] Wording wording() const { return {*rules, *rule, any_house}; }
};

/// The rule of that name: of `flock` if one is named, else of the flock that is in its house at `now`, else
/// of the one placed last. A rule that is in force nowhere is taken from its pack. `refusal` says why there
/// is none.
[[nodiscard]] std::optional<Chosen> choose_rule(const FarmFiles& files, std::shared_ptr<const RuleSet> rules,
                                                const std::string& name, const std::string& flock,
                                                Instant now, std::string& refusal);

/// A pack loaded without a farm, in a house that has one probe of every measure, to be shown in those units. Where it does not
/// stand alone, with the pack that it needs (or with all); `rules` is null where it has errors of its own.
[[nodiscard]] Loaded load_pack_alone(const FarmFiles& files, const std::string& pack, Units units);

/// The value of `pack:` at the beginning of a line. Enough to find a file by its pack; the loader judges it.
[[nodiscard]] std::string pack_named_in(const std::string& text);

/// Names of the packs in a farm's files, each once, sorted.
[[nodiscard]] std::vector<std::string> pack_names(const FarmFiles& files);

/// The rules of a pack, each once, in the order of name: as they stand for `flock` or for whoever uses the
/// pack, else from the pack alone.
[[nodiscard]] std::vector<Chosen> choose_pack(const FarmFiles& files, std::shared_ptr<const RuleSet> rules,
                                              const std::string& pack, const std::string& flock,
                                              Instant now, std::string& refusal);

/// Why no flock goes by that name; empty: one does, or none is named.
[[nodiscard]] std::string refused_flock(const RuleSet& rules, const std::string& flock, Instant now);

/// Whether a rule is one of those in force for the named flock: its own, or of the farm in its house. An
/// empty name: any.
[[nodiscard]] bool concerns(const RuleSet& rules, const WatchedRule& rule, const std::string& flock);

/// "; did you mean '…'?" or nothing.
[[nodiscard]] std::string suggestion(const std::string& word, const std::vector<std::string>& candidates);

/// The word in capitals with which people are told.
[[nodiscard]] Headline headline_of(const RuleSet& rules, const WatchedRule& rule);

}  // namespace underwing::tool
