#pragma once

#include <map>
#include <string>
#include <string_view>
#include <utility>
#include <vector>

#include "rules/base/issue.hpp"

namespace underwing {

/// One file as it was handed in. Offsets are bytes of `text`, which has no byte order mark.
class Source {
 public:
  Source(std::string path, std::string_view text);

  [[nodiscard]] const std::string& path() const { return path_; }
  [[nodiscard]] const std::string& text() const { return text_; }

  /// From 1; columns count characters.
  struct Place {
    std::size_t line = 1;
    std::size_t column = 1;
  };
  [[nodiscard]] Place place_of(std::size_t offset) const;

 private:
  std::string path_;
  std::string text_;
  std::vector<std::size_t> line_starts_;
};

/// Collects issues; what is found twice on the same place is kept once.
class IssueLog {
 public:
  void add(Issue::Severity severity, const Source& source, std::size_t offset, std::size_t length,
           std::string text);
  void error(const Source& source, std::size_t offset, std::size_t length, std::string text) {
    add(Issue::Severity::error, source, offset, length, std::move(text));
  }
  void caution(const Source& source, std::size_t offset, std::size_t length, std::string text) {
    add(Issue::Severity::caution, source, offset, length, std::move(text));
  }
  /// Says that a line's errors are explained: further ones on it are only echoes and are dropped.
  void mute(const Source& source, std::size_t line) { muted_.emplace_back(source.path(), line); }
  /// What is found in one of `files`, which are sound by themselves, is so because of what the file at `path` adjusts, and
  /// says so. Empty: of no file.
  void blame(std::string path, const std::map<std::string, std::string>& files) {
    blamed_ = std::move(path);
    sound_ = &files;
  }
  [[nodiscard]] bool has_errors() const;
  /// Sorted by file, line and column.
  [[nodiscard]] std::vector<Issue> take();

 private:
  std::vector<Issue> issues_;
  std::string blamed_;
  const std::map<std::string, std::string>* sound_ = nullptr;
  std::vector<std::pair<std::string, std::size_t>> muted_;
};

}  // namespace underwing
