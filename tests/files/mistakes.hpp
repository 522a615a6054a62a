#pragma once

#include <map>
#include <string>
#include <vector>

/// The table of mistakes (mistakes.txt): sound files, and cases that change them.
namespace underwing::testing {

using Texts = std::map<std::string, std::string>;  ///< by path

struct MistakeCase {
  std::string name;
  std::vector<std::string> changes;   ///< lines that begin with "~"
  std::vector<std::string> expected;  ///< what is said, a line each
  /// Whether anything of it is an error, and not only a caution or a danger.
  [[nodiscard]] bool is_refused() const;
};

struct MistakeTable {
  std::vector<std::string> head;  ///< all lines before the first case, as they stand
  Texts files;
  std::vector<MistakeCase> cases;
};

[[nodiscard]] std::string path_of_mistakes();
[[nodiscard]] MistakeTable read_mistakes();

/// Does what a line "~ file | old | new" says. Fails the running test where `old` does not stand in the file.
void change(Texts& files, const std::string& line);

}  // namespace underwing::testing
