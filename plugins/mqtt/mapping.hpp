#pragma once

#include <simdjson.h>

#include <array>
#include <cstddef>
#include <cstdint>
#include <map>
#include <optional>
#include <string>
#include <string_view>
#include <unordered_map>
#include <vector>

#include "plugins/mqtt/json_pointer.hpp"
#include "plugins/mqtt/topic_pattern.hpp"
#include "plugins/shared/senml.hpp"
#include "plugins/shared/settings.hpp"

namespace underwing {

/// Turns foreign topics and payloads into SenML lines, as the setting `read` says. No I/O; one thread.
class Mapping {
 public:
  enum class Outcome : std::uint8_t {
    taken,
    fits_no_pattern,
    not_understood,
    kept_without_time,  ///< a retained message that does not carry its own time may be days old
  };

  /// Reads the setting `read`. Throws SettingsError.
  void read_settings(Settings& settings);

  /// Appends the lines of one message to `lines`.
  Outcome take(std::string_view topic, std::string_view payload, bool retained, std::string& lines);

  /// Why the last message was not taken, in words.
  [[nodiscard]] const std::string& reason() const { return reason_; }

  /// What to subscribe to, each filter once, with the highest quality of service that an entry asks for.
  [[nodiscard]] const std::map<std::string, int>& filters() const { return filters_; }

 private:
  enum Slot : std::size_t { house, measure, probe, kSlots };

  struct Entry {
    TopicPattern topic;
    std::array<std::string, kSlots> fixed;  ///< from the keys house, measure, probe; empty: from the topic
    std::optional<JsonPointer> value;       ///< none: the payload itself, or a SenML pack
    std::optional<JsonPointer> time;
    const UnitOnTheLine* unit = nullptr;
  };

  /// What an entry makes of one topic.
  struct Target {
    const Entry* entry;
    std::array<std::string, kSlots> slots;
    std::string name;  ///< "house/measure/probe", or empty where a pack must bring a part of it
  };

  struct TextHash {
    using is_transparent = void;
    std::size_t operator()(std::string_view text) const { return std::hash<std::string_view>()(text); }
  };

  void read_entry(Settings& entry);
  const std::vector<Target>& targets(std::string_view topic);
  Outcome take_one(const Target& target, simdjson::dom::element document, std::string_view payload,
                   bool retained, std::string& lines);
  Outcome take_pack(const Target& target, std::string_view payload, bool retained, std::string& lines);
  std::optional<std::string> full_name(const Target& target, std::string_view name) const;
  Outcome refuse(std::string why);

  std::vector<Entry> entries_;
  std::map<std::string, int> filters_;
  std::unordered_map<std::string, std::vector<Target>, TextHash, std::equal_to<>> known_;
  simdjson::dom::parser parser_;
  std::string reason_;
};

}  // namespace underwing
