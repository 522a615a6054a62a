#include "rules/files/source.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <tuple>

namespace underwing {

Source::Source(std::string path, std::string_view text) : path_(std::move(path)) {
  if (text.starts_with("\xEF\xBB\xBF")) text.remove_prefix(3);
  text_ = std::string(text);
  line_starts_.push_back(0);
  for (std::size_t i = 0; i < text_.size(); ++i) {
    if (text_[i] == '\n') line_starts_.push_back(i + 1);
  }
}

Source::Place Source::place_of(std::size_t offset) const {
  offset = std::min(offset, text_.size());
  const auto after = std::upper_bound(line_starts_.begin(), line_starts_.end(), offset);
  const std::size_t line = static_cast<std::size_t>(after - line_starts_.begin());
  std::size_t column = 1;
  for (std::size_t i = line_starts_[line - 1]; i < offset; ++i) {
    if ((static_cast<unsigned char>(text_[i]) & 0xC0) != 0x80) ++column;
  }
  return {line, column};
}

void IssueLog::add(Issue::Severity severity, const Source& source, std::size_t offset, std::size_t length,
                   std::string text) {
  const Source::Place begin = source.place_of(offset);
  const Source::Place end = source.place_of(offset + length);
  if (std::find(muted_.begin(), muted_.end(), std::pair(source.path(), begin.line)) != muted_.end()) return;
  Issue issue;
  issue.severity = severity;
  issue.file = source.path();
  issue.line = begin.line;
  issue.column = begin.column;
  // What runs over several lines is underlined on its first; the printer cuts at the line's end.
  if (end.line == begin.line) {
    issue.length = std::max<std::size_t>(1, end.column - begin.column);
  } else {
    issue.length = std::max<std::size_t>(1, length);
  }
  issue.text = std::move(text);
  if (!blamed_.empty() && sound_->contains(issue.file)) issue.text += fmt::format(" (as {} adjusts it)", blamed_);
  if (std::find(issues_.begin(), issues_.end(), issue) == issues_.end()) issues_.push_back(std::move(issue));
}

bool IssueLog::has_errors() const {
  return std::any_of(issues_.begin(), issues_.end(),
                     [](const Issue& issue) { return issue.severity == Issue::Severity::error; });
}

std::vector<Issue> IssueLog::take() {
  std::stable_sort(issues_.begin(), issues_.end(), [](const Issue& a, const Issue& b) {
    return std::tie(a.file, a.line, a.column) < std::tie(b.file, b.line, b.column);
  });
  return std::move(issues_);
}

}  // namespace underwing
