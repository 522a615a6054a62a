#include "rules/base/issue.hpp"

#include <fmt/format.h>

#include <algorithm>

namespace underwing {
namespace {

std::string_view line_of(std::string_view source, std::size_t line) {
  if (source.starts_with("\xEF\xBB\xBF")) source.remove_prefix(3);
  for (std::size_t i = 1; i < line; ++i) {
    const std::size_t stop = source.find('\n');
    if (stop == std::string_view::npos) return {};
    source.remove_prefix(stop + 1);
  }
  source = source.substr(0, source.find('\n'));
  if (source.ends_with('\r')) source.remove_suffix(1);
  return source;
}

std::size_t characters(std::string_view text) {
  return static_cast<std::size_t>(std::count_if(
      text.begin(), text.end(), [](char c) { return (static_cast<unsigned char>(c) & 0xC0) != 0x80; }));
}

std::size_t edit_distance(std::string_view a, std::string_view b) {
  std::vector<std::size_t> row(b.size() + 1);
  for (std::size_t j = 0; j <= b.size(); ++j) row[j] = j;
  for (std::size_t i = 1; i <= a.size(); ++i) {
    std::size_t diagonal = row[0];
    row[0] = i;
    for (std::size_t j = 1; j <= b.size(); ++j) {
      const std::size_t above = row[j];
      row[j] = std::min({above + 1, row[j - 1] + 1, diagonal + (a[i - 1] == b[j - 1] ? 0u : 1u)});
      diagonal = above;
    }
  }
  return row[b.size()];
}

bool same_but_for_case(std::string_view a, std::string_view b) {
  const auto lower = [](char c) { return c >= 'A' && c <= 'Z' ? static_cast<char>(c + 32) : c; };
  return a != b && a.size() == b.size() &&
         std::equal(a.begin(), a.end(), b.begin(), [&](char x, char y) { return lower(x) == lower(y); });
}

}  // namespace

std::string to_text(const Issue& issue, std::string_view source) {
  const char* mark = issue.severity == Issue::Severity::caution  ? "caution: "
                     : issue.severity == Issue::Severity::danger ? "DANGER: "
                                                                 : "";
  std::string out = fmt::format("{}:{}:{}: {}{}\n", issue.file, issue.line, issue.column, mark, issue.text);
  std::string line(line_of(source, issue.line));
  if (line.empty()) return out;
  // A tab would move the caret away from its place.
  std::replace(line.begin(), line.end(), '\t', ' ');
  const std::string number = std::to_string(issue.line);
  const std::size_t width = characters(line);
  const std::size_t before = std::min(issue.column - 1, width);
  const std::size_t under = std::max<std::size_t>(1, std::min(issue.length, width - before));
  out += fmt::format("  {} | {}\n", number, line);
  out += fmt::format("  {} | {}^{}\n", std::string(number.size(), ' '), std::string(before, ' '),
                     std::string(under - 1, '~'));
  return out;
}

std::optional<std::string> nearest(std::string_view word, const std::vector<std::string>& candidates) {
  for (const std::string& candidate : candidates) {
    if (same_but_for_case(word, candidate)) return candidate;
  }
  const std::size_t limit = std::min<std::size_t>(3, std::max<std::size_t>(1, word.size() / 3));
  std::size_t best = limit + 1;
  const std::string* found = nullptr;
  for (const std::string& candidate : candidates) {
    const std::size_t distance = edit_distance(word, candidate);
    if (distance < best) {
      best = distance;
      found = &candidate;
    }
  }
  if (found == nullptr || best == 0 || best >= word.size()) return std::nullopt;
  return *found;
}

}  // namespace underwing
