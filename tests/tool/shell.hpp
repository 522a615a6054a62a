#pragma once

#include <filesystem>
#include <string>

/// Running command lines as a person would, for the tests of the tool.
namespace underwing::testing {

struct Answer {
  std::string text;  ///< standard output and standard error, as they came
  int status = -1;
};

/// Runs one line of the shell in a folder, with `underwing` on the path, nothing on standard input, and no
/// shipped packs unless `packs` names their folder.
[[nodiscard]] Answer shell(const std::string& line, const std::filesystem::path& folder,
                           const std::string& packs = "");

[[nodiscard]] std::string whole_file(const std::filesystem::path& path);

}  // namespace underwing::testing
