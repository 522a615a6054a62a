#include "daemon/line_buffer.hpp"

#include <simdjson.h>

namespace underwing {

void LineBuffer::give(std::string_view line, const std::function<void(std::string_view)>& on_line) {
  if (line.size() > line_bytes_max_) {
    ++too_long_;
    return;
  }
  if (line.ends_with('\r')) line.remove_suffix(1);
  on_line(line);
}

void LineBuffer::feed(std::string_view bytes, const std::function<void(std::string_view)>& on_line) {
  for (std::size_t newline = bytes.find('\n'); newline != std::string_view::npos; newline = bytes.find('\n')) {
    const std::string_view line = bytes.substr(0, newline);
    bytes.remove_prefix(newline + 1);
    if (skipping_) {
      skipping_ = false;
    } else if (held_.empty()) {
      give(line, on_line);
    } else {
      held_.append(line);
      give(held_, on_line);
    }
    held_.clear();
  }
  if (skipping_) return;
  held_.append(bytes);
  if (held_.size() <= line_bytes_max_) return;
  ++too_long_;
  skipping_ = true;
  held_.clear();
}

void LineBuffer::finish(const std::function<void(std::string_view)>& on_line) {
  if (!held_.empty()) give(held_, on_line);
  held_.clear();
  skipping_ = false;
}

std::string printable(std::string_view text, std::size_t bytes_max) {
  const bool is_utf8 = simdjson::validate_utf8(text.data(), text.size());
  if (text.size() > bytes_max) {
    std::size_t size = bytes_max;
    while (is_utf8 && size > 0 && (static_cast<unsigned char>(text[size]) & 0xc0U) == 0x80U) --size;
    text = text.substr(0, size);
  }
  std::string shown(text);
  for (char& c : shown) {
    const auto code = static_cast<unsigned char>(c);
    if (code < 0x20 || code == 0x7f || (code >= 0x80 && !is_utf8)) c = '?';
  }
  return shown;
}

}  // namespace underwing
