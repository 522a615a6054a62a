#include "plugins/shared/line_reader.hpp"

namespace underwing {

void LineReader::feed(std::string_view bytes) {
  bytes_.erase(0, begin_);
  looked_ -= begin_;
  begin_ = 0;
  bytes_.append(bytes);
}

bool LineReader::next(std::string_view& line) {
  for (;;) {
    const std::size_t end = bytes_.find('\n', looked_);
    if (end == std::string::npos) {
      looked_ = bytes_.size();
      if (skipping_ || looked_ - begin_ > kLineBytesMax) {
        if (!skipping_) ++too_long_;
        skipping_ = true;
        begin_ = looked_;
      }
      return false;
    }
    std::string_view found = std::string_view(bytes_).substr(begin_, end - begin_);
    begin_ = looked_ = end + 1;
    if (skipping_) {
      skipping_ = false;
      continue;
    }
    if (!found.empty() && found.back() == '\r') found.remove_suffix(1);
    if (found.size() > kLineBytesMax) {
      ++too_long_;
      continue;
    }
    line = found;
    return true;
  }
}

}  // namespace underwing
