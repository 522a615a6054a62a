#pragma once

#include "rules/files/source.hpp"

namespace underwing {

struct Scan {
  bool readable = true;  ///< false: not worth parsing (invalid UTF-8, a quote never closed, too long)
  struct LongQuote {
    std::size_t offset = 0;  ///< where it begins
    std::size_t end_line = 0;
  };
  std::vector<LongQuote> long_quotes;  ///< quoted texts that run over several lines: often a quote is missing
  std::vector<std::size_t> error_lines;  ///< lines on which an error was found
};

/// Looks at a file's characters before YAML does: tabs, no-break spaces, invalid UTF-8, quotes that are never
/// closed (yaml-cpp takes the rest of the file for the text), and a ` #` that cuts a text short.
[[nodiscard]] Scan scan(const Source& source, IssueLog& log);

}  // namespace underwing
