#pragma once

#include <map>
#include <string>
#include <vector>

#include "daemon/watch.hpp"

namespace underwing {

/// Tells effects in plain sentences, for the eyes of a person: the log of the service, replay, demonstrations.
class Story {
 public:
  /// `rules` must outlive the story.
  explicit Story(const RuleSet& rules) : rules_(&rules) {}
  void use(const RuleSet& rules) { rules_ = &rules; }

  /// The sentence for an effect, without time; empty for what needs none. `told` effects give who was told what.
  [[nodiscard]] std::string sentence(const Effect& effect);

  /// "2026-03-02 02:14" or "02:14", in the farm's zone.
  [[nodiscard]] std::string stamp(Instant wall) const;
  [[nodiscard]] std::string clock(Instant wall) const;

  /// What stands when somebody begins to look: flocks, their ages, and the limits in force that wake people.
  [[nodiscard]] static std::vector<std::string> opening(Watch& watch);

 private:
  const RuleSet* rules_;
  std::map<std::string, Instant> since_;
};

}  // namespace underwing
