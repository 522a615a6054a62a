#pragma once

#include <functional>
#include <map>
#include <string>
#include <type_traits>
#include <utility>

#include "rules/languages/language.hpp"

namespace underwing {

/// What is to be said, in whatever language whoever hears it speaks.
class Saying {
 public:
  Saying() = default;
  Saying(std::string same) : same_(std::move(same)) {}  ///< in all languages the same
  Saying(const char* same) : same_(same) {}
  template <typename Say>
    requires std::is_invocable_r_v<std::string, Say, const Language&>
  Saying(Say how) : how_(std::move(how)) {}

  [[nodiscard]] std::string in(const Language& language) const { return how_ ? how_(language) : same_; }

 private:
  std::function<std::string(const Language&)> how_;
  std::string same_;
};

/// What was said at a moment that will not come back, in the languages of the farm besides English.
using Said = std::map<std::string, std::string>;

/// It in that language, or else as it is in English.
[[nodiscard]] inline const std::string& said_in(const std::string& in_english, const Said& others, const Language& language) {
  const auto found = others.find(language.name);
  return found == others.end() ? in_english : found->second;
}

}  // namespace underwing
