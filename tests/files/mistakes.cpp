#include "tests/files/mistakes.hpp"

#include <gtest/gtest.h>

#include <algorithm>
#include <sstream>

#include "tests/files/support.hpp"

namespace underwing::testing {
namespace {

std::string unescaped(std::string_view text) {
  std::string out;
  for (std::size_t i = 0; i < text.size(); ++i) {
    if (text[i] != '\\' || i + 1 >= text.size()) {
      out += text[i];
    } else if (text[++i] == 'x') {
      out += static_cast<char>(std::stoi(std::string(text.substr(i + 1, 2)), nullptr, 16));
      i += 2;
    } else {
      out += text[i] == 't' ? '\t' : '\n';
    }
  }
  return out;
}

std::string trimmed(std::string_view text, bool left) {
  if (left && text.starts_with(' ')) text.remove_prefix(1);
  if (text.ends_with(' ')) text.remove_suffix(1);
  return std::string(text);
}

}  // namespace

bool MistakeCase::is_refused() const {
  return std::any_of(expected.begin(), expected.end(), [](const std::string& line) {
    return line.find(": caution: ") == std::string::npos && line.find(": DANGER: ") == std::string::npos;
  });
}

std::string path_of_mistakes() {
  return std::string(UNDERWING_SOURCE_DIR) + "/tests/files/mistakes.txt";
}

MistakeTable read_mistakes() {
  MistakeTable table;
  std::istringstream text(whole_file(path_of_mistakes()));
  std::string file;
  for (std::string line; std::getline(text, line);) {
    if (line.starts_with("== ")) {
      table.cases.push_back({line.substr(3), {}, {}});
    } else if (!table.cases.empty()) {
      (line.starts_with("~ ") ? table.cases.back().changes : table.cases.back().expected).push_back(line);
    } else {
      table.head.push_back(line);
      if (line.starts_with("-- ")) {
        file = line.substr(3);
      } else if (!file.empty()) {
        table.files[file] += line + '\n';
      }
    }
  }
  return table;
}

void change(Texts& files, const std::string& line) {
  const std::size_t first = line.find('|');
  const std::size_t second = line.find('|', first + 1);
  const std::string file = trimmed(std::string_view(line).substr(2, first - 2), false);
  const std::string before =
      unescaped(trimmed(std::string_view(line).substr(first + 1, second - first - 1), true));
  const std::string after = unescaped(trimmed(std::string_view(line).substr(second + 1), true));
  if (before.empty()) {
    files[file] = after;
    return;
  }
  const std::size_t at = files[file].find(before);
  ASSERT_NE(at, std::string::npos) << "'" << before << "' does not stand in " << file;
  files[file].replace(at, before.size(), after);
}

}  // namespace underwing::testing
