#include <algorithm>

#include "rules/files/yaml_tree.hpp"

namespace underwing {
namespace {

bool is_blank(char c) {
  return c == ' ' || c == '\t' || c == '\n' || c == '\r';
}

/// Bytes of UTF-8 that a code point takes.
std::size_t utf8_size(unsigned long code) {
  return code < 0x80 ? 1 : code < 0x800 ? 2 : code < 0x10000 ? 3 : 4;
}

struct Escape {
  std::size_t written = 2;  ///< bytes in the file
  std::size_t meant = 1;    ///< bytes in the text
};

Escape escape_at(const std::string& text, std::size_t at) {
  const char kind = at + 1 < text.size() ? text[at + 1] : '\0';
  const std::size_t digits = kind == 'x' ? 2 : kind == 'u' ? 4 : kind == 'U' ? 8 : 0;
  if (digits > 0) {
    unsigned long code = 0;
    for (std::size_t i = at + 2; i < std::min(at + 2 + digits, text.size()); ++i) {
      const char c = text[i];
      code = code * 16 + static_cast<unsigned long>(c <= '9' ? c - '0' : (c | 0x20) - 'a' + 10);
    }
    return {2 + digits, utf8_size(code)};
  }
  if (kind == 'N' || kind == '_') return {2, 2};
  if (kind == 'L' || kind == 'P') return {2, 3};
  return {};
}

}  // namespace

std::size_t offset_in_file(const YamlNode& scalar, std::size_t at) {
  const std::string& file = scalar.source->text();
  const std::string& text = scalar.text;
  using Style = YamlNode::Style;
  std::size_t here = scalar.offset;
  if (scalar.style == Style::literal || scalar.style == Style::folded) {
    here = std::min(file.find('\n', here), file.size());
  } else if (scalar.style != Style::plain) {
    ++here;
  }
  // File and text are walked side by side. Blanks may differ (lines are folded, indentation is dropped);
  // everything else stands in both.
  std::size_t i = 0;
  while (i < text.size() && i < at) {
    if (is_blank(text[i])) {
      if (here < file.size() && is_blank(file[here])) {
        ++here;
      } else if (scalar.style == Style::double_quoted && here < file.size() && file[here] == '\\') {
        here += escape_at(file, here).written;
      }
      ++i;
      continue;
    }
    while (here < file.size() && is_blank(file[here])) ++here;
    if (here >= file.size()) return scalar.offset;
    if (scalar.style == Style::double_quoted && file[here] == '\\') {
      if (here + 1 < file.size() && is_blank(file[here + 1])) {
        ++here;  // An escaped line break stands for nothing.
        continue;
      }
      const Escape escape = escape_at(file, here);
      if (at < i + escape.meant) return here;
      i += escape.meant;
      here += escape.written;
      continue;
    }
    if (file[here] != text[i]) return scalar.offset;
    here += scalar.style == Style::single_quoted && file[here] == '\'' ? 2u : 1u;
    ++i;
  }
  if (at < text.size() && !is_blank(text[at])) {
    while (here < file.size() && is_blank(file[here])) ++here;
  }
  return std::min(here, file.size());
}

}  // namespace underwing
