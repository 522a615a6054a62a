#pragma once

#include <map>
#include <optional>
#include <set>
#include <utility>
#include <vector>

#include "tests/reference/plain_series.hpp"

namespace underwing::reference {

/// All that is known at one instant: the readings so far, the slopes of the last whole minute, engine time.
struct Known {
  explicit Known(const RuleSet& farm);

  const RuleSet& rules;
  std::vector<PlainSeries> series;  ///< by probe
  /// By probe and span: as worked out at the last whole minute; missing before the first.
  std::map<std::pair<std::size_t, Duration>, std::optional<double>> slopes;
  /// By rule and expression, likewise.
  std::map<std::pair<const WatchedRule*, const Expression*>, std::optional<double>> shares;
  std::vector<Instant> work_until;  ///< by house: people work there until then
  Instant now{};
};

/// Works an expression of one rule out, from scratch, at `known.now`. nullopt: unknown.
class PlainEvaluator {
 public:
  PlainEvaluator(const Known& known, const WatchedRule& rule) : known_(known), rule_(rule) {}

  [[nodiscard]] std::optional<double> number(const Expression& it) const;
  [[nodiscard]] std::optional<bool> logic(const Expression& it) const;
  /// A share as it is when it is worked out.
  [[nodiscard]] std::optional<double> share(const Expression& it) const;

 private:
  using Number = std::optional<double>;
  [[nodiscard]] Number measure(const Expression& it) const;
  [[nodiscard]] Number across(const Expression& it) const;
  [[nodiscard]] Number window(const Expression& it) const;
  [[nodiscard]] Number window_of(const Expression& it, std::size_t probe) const;
  [[nodiscard]] Number fact(const Expression& it) const;
  [[nodiscard]] Number lights() const;
  [[nodiscard]] Number kept_share(const Expression& it) const;
  [[nodiscard]] Number mortality() const;
  [[nodiscard]] Number trade(const Expression& it) const;
  [[nodiscard]] Number smallest_or_largest(const Expression& it) const;
  [[nodiscard]] double tally_since_placed(const char* measure) const;
  [[nodiscard]] std::vector<std::size_t> probes_of(std::size_t measure) const;
  [[nodiscard]] std::vector<std::size_t> counting(std::size_t measure) const;
  [[nodiscard]] std::vector<std::size_t> own_or_all(std::size_t measure) const;
  [[nodiscard]] std::optional<bool> comparison(const Expression& it) const;

  const Known& known_;
  const WatchedRule& rule_;
};

/// Whether, at that age of the flock, the probe is one that counts for it.
[[nodiscard]] bool old_enough(const Flock& flock, std::size_t probe, Instant now);

/// The value of a curve at an age in hours: straight lines between, level outside.
[[nodiscard]] double curve_value(const Curve& curve, double age_h);

/// The age in hours at which a curve that only rises or only falls has the value; nullopt: it never has.
[[nodiscard]] std::optional<double> curve_age_h(const Curve& curve, double value);

/// Every part of every expression of a rule.
[[nodiscard]] std::vector<const Expression*> all_parts(const WatchedRule& rule);

/// The measures that a rule depends on; `birds` stands for those of the dead and the culled.
[[nodiscard]] std::set<std::size_t> measures_needed(const RuleSet& rules, const WatchedRule& rule);

/// The probes whose readings have the rule evaluated: under `each: probe`, of its own measure only its own.
[[nodiscard]] std::set<std::size_t> probes_needed(const RuleSet& rules, const WatchedRule& rule);

}  // namespace underwing::reference
