#pragma once

#include <optional>
#include <string>
#include <string_view>
#include <utility>
#include <vector>

namespace underwing {

/// A topic in which {name} takes one level: "farm/{house}/climate/{probe}".
class TopicPattern {
 public:
  /// On failure `error` says what is wrong, as the rest of a sentence that begins with the topic.
  [[nodiscard]] static std::optional<TopicPattern> parse(std::string_view text, std::string& error);

  /// The MQTT filter to subscribe to: "farm/+/climate/+".
  [[nodiscard]] const std::string& filter() const { return filter_; }

  /// True where the pattern has a level {name}.
  [[nodiscard]] bool names(std::string_view name) const;

  /// The levels that {name}s take, in the order of the pattern; nullopt where the topic does not fit.
  /// They point into `topic`.
  [[nodiscard]] std::optional<std::vector<std::pair<std::string_view, std::string_view>>> match(
      std::string_view topic) const;

 private:
  struct Level {
    std::string text;
    bool is_name = false;
  };
  std::vector<Level> levels_;
  std::string filter_;
};

}  // namespace underwing
