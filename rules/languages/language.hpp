#pragma once

#include <map>
#include <string>
#include <string_view>
#include <utility>
#include <vector>

namespace underwing {

/// The texts of one language, by the keys of kTexts (texts.hpp); built by the loader, then immutable.
struct Language {
  struct Text {
    std::string one, many;
  };
  struct Wrong {
    std::string low, high;
  };
  std::string name;                             ///< "en", "fr"
  std::vector<Text> texts;                      ///< as kTexts
  std::map<std::string, std::string> measures;  ///< in plain words; one that is missing is its name
  std::map<std::string, Wrong> wrong;           ///< by measure: COLD and HOT
  /// By what people answer in every language ("here") and by measure that they enter: words that mean the same.
  std::map<std::string, std::vector<std::string>> answers, rounds;
};

/// Always there, and what a farm speaks that says nothing.
[[nodiscard]] const Language& english();

/// What goes into a text's slots, by their names.
using Slots = std::vector<std::pair<std::string_view, std::string>>;

/// The text with what stands in the slots put into their places. A slot that is not given stays as it is written.
[[nodiscard]] std::string filled(const std::string& text, const Slots& slots);

/// One of the watch's own troubles in capitals: "PATH DOWN" for path-down.
[[nodiscard]] std::string trouble_in_words(const Language& language, const std::string& name);

/// The measure in plain words: "air temperature".
[[nodiscard]] std::string measure_in_words(const Language& language, const std::string& measure);

/// In capitals, as text messages have them: é as É, but à and the others that have no capital there as plain A.
[[nodiscard]] std::string capitals(std::string text);

/// The slots of a text, in its order, each once.
[[nodiscard]] std::vector<std::string_view> slots_of(std::string_view text);

}  // namespace underwing
