#include "daemon/tool/terminal.hpp"

#include <sys/ioctl.h>
#include <unistd.h>

#include <algorithm>
#include <cstdlib>
#include <string>

namespace underwing::tool {

std::size_t terminal_columns() {
  constexpr std::size_t kLeast = 40;
  winsize size{};
  if (::isatty(STDOUT_FILENO) == 1 && ::ioctl(STDOUT_FILENO, TIOCGWINSZ, &size) == 0 && size.ws_col > 0) {
    return std::max<std::size_t>(kLeast, size.ws_col);
  }
  const char* said = std::getenv("COLUMNS");
  const unsigned long columns = said ? std::strtoul(said, nullptr, 10) : 0;
  return columns > 0 && columns < 1000 ? std::max<std::size_t>(kLeast, columns) : 80;
}

std::size_t text_columns() {
  return std::min<std::size_t>(terminal_columns(), 100);
}

Glyphs terminal_glyphs() {
  // The first one that is set decides, as POSIX has it.
  for (const char* name : {"LC_ALL", "LC_CTYPE", "LANG"}) {
    const char* value = std::getenv(name);
    if (value == nullptr || *value == '\0') continue;
    const std::string locale(value);
    const bool utf8 = locale.find("UTF-8") != std::string::npos || locale.find("utf8") != std::string::npos;
    return utf8 ? Glyphs::blocks : Glyphs::ascii;
  }
  return Glyphs::ascii;
}

}  // namespace underwing::tool
