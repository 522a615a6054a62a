#include "plugins/mqtt/topic_pattern.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cstddef>

namespace underwing {
namespace {

/// Cuts the first level off `topic`; false when nothing is left. "a/" has two levels, the second empty.
class Levels {
 public:
  explicit Levels(std::string_view topic) : rest_(topic) {}
  bool next(std::string_view& level) {
    if (done_) return false;
    const std::size_t end = rest_.find('/');
    level = rest_.substr(0, end);
    done_ = end == std::string_view::npos;
    if (!done_) rest_.remove_prefix(end + 1);
    return true;
  }

 private:
  std::string_view rest_;
  bool done_ = false;
};

bool is_name(std::string_view text) {
  return !text.empty() && std::all_of(text.begin(), text.end(), [](char c) {
    return (c >= 'a' && c <= 'z') || (c >= '0' && c <= '9') || c == '_';
  });
}

}  // namespace

std::optional<TopicPattern> TopicPattern::parse(std::string_view text, std::string& error) {
  auto refuse = [&](std::string what) {
    error = std::move(what);
    return std::nullopt;
  };
  if (text.empty()) return refuse("is empty");
  TopicPattern pattern;
  Levels levels(text);
  for (std::string_view level; levels.next(level);) {
    if (!pattern.levels_.empty()) pattern.filter_ += '/';
    if (level.find_first_of("+#") != std::string_view::npos) {
      return refuse("holds '+' or '#'; write {name} for a level that varies");
    }
    if (level.find_first_of("{}") == std::string_view::npos) {
      pattern.filter_ += level;
      pattern.levels_.push_back({std::string(level), false});
      continue;
    }
    const bool whole = level.size() > 2 && level.front() == '{' && level.back() == '}';
    const std::string_view name = whole ? level.substr(1, level.size() - 2) : std::string_view();
    if (!is_name(name)) {
      return refuse(fmt::format("holds the level '{}'; {{name}} must stand for a whole level", level));
    }
    if (pattern.names(name)) return refuse(fmt::format("holds {{{}}} twice", name));
    pattern.filter_ += '+';
    pattern.levels_.push_back({std::string(name), true});
  }
  return pattern;
}

bool TopicPattern::names(std::string_view name) const {
  return std::any_of(levels_.begin(), levels_.end(),
                     [&](const Level& level) { return level.is_name && level.text == name; });
}

std::optional<std::vector<std::pair<std::string_view, std::string_view>>> TopicPattern::match(
    std::string_view topic) const {
  std::vector<std::pair<std::string_view, std::string_view>> found;
  Levels levels(topic);
  std::string_view level;
  for (const Level& expected : levels_) {
    if (!levels.next(level)) return std::nullopt;
    if (expected.is_name) {
      found.emplace_back(expected.text, level);
    } else if (level != expected.text) {
      return std::nullopt;
    }
  }
  if (levels.next(level)) return std::nullopt;
  return found;
}

}  // namespace underwing
