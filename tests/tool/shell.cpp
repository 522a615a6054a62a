#include "tests/tool/shell.hpp"

#include <fmt/format.h>
#include <sys/wait.h>

#include <array>
#include <cstdio>
#include <fstream>
#include <sstream>

namespace underwing::testing {

Answer shell(const std::string& line, const std::filesystem::path& folder, const std::string& packs) {
  const std::string tool_folder = std::filesystem::path(UNDERWING_TOOL).parent_path().string();
  const std::string command = fmt::format(
      "exec 2>&1 </dev/null; cd '{}' && PATH='{}':\"$PATH\" COLUMNS=100 LC_ALL=C.UTF-8 UNDERWING_PACKS='{}' "
      "&& "
      "export PATH COLUMNS LC_ALL UNDERWING_PACKS && {}",
      folder.string(), tool_folder, packs.empty() ? "no-packs" : packs, line);
  Answer answer;
  FILE* pipe = ::popen(command.c_str(), "r");
  if (pipe == nullptr) return answer;
  std::array<char, 4096> buffer;
  for (std::size_t size; (size = std::fread(buffer.data(), 1, buffer.size(), pipe)) > 0;)
    answer.text.append(buffer.data(), size);
  const int status = ::pclose(pipe);
  answer.status = WIFEXITED(status) ? WEXITSTATUS(status) : -1;
  return answer;
}

std::string whole_file(const std::filesystem::path& path) {
  std::ifstream file(path, std::ios::binary);
  std::ostringstream text;
  text << file.rdbuf();
  return text.str();
}

}  // namespace underwing::testing
