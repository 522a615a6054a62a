#pragma once

#include <cstdint>
#include <functional>
#include <map>
#include <memory>
#include <optional>
#include <string>
#include <string_view>
#include <unordered_map>
#include <utility>

#include "daemon/senml.hpp"
#include "rules/model.hpp"

namespace underwing {

/// Turns resolved SenML records into readings of the farm's probes, in the measure's unit. Remembers each name
/// and unit that it has seen, and which came after which: probes mostly speak in the same order, so that a reading
/// costs one comparison.
class Intake {
 public:
  explicit Intake(const RuleSet& rules);
  Intake(const Intake&) = delete;
  Intake& operator=(const Intake&) = delete;

  struct Reading {
    std::size_t probe = 0;
    double value = 0;
  };
  /// nullopt: a probe that the farm does not name, or a unit that does not fit; counted by name.
  std::optional<Reading> read(const SenmlRecord& record);

  /// What was not understood since the start: name, and how often, and why.
  struct Stranger {
    std::uint64_t count = 0;
    std::string text;
  };
  [[nodiscard]] const std::map<std::string, Stranger>& strangers() const { return strangers_; }

 private:
  struct Known {
    std::size_t probe = 0;
    std::string unit;
    double factor = 1, offset = 0;
    std::pair<const std::string, Known>* follower = nullptr;  ///< what came after it the last time
  };
  using Named = std::pair<const std::string, Known>;
  struct Hash : std::hash<std::string_view> {
    using is_transparent = void;
  };
  std::optional<Reading> refuse(const SenmlRecord& record, const std::string& text);
  std::optional<Known> learn(const SenmlRecord& record);
  Named* find(const SenmlRecord& record);

  const RuleSet& rules_;
  std::unordered_map<std::string, Known, Hash, std::equal_to<>> known_;
  Named* last_ = nullptr;
  std::map<std::string, Stranger> strangers_;
};

}  // namespace underwing
