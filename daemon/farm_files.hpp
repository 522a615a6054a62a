#pragma once

#include <filesystem>
#include <map>
#include <string>

#include "rules/base/result.hpp"
#include "rules/files/load.hpp"

namespace underwing {

/// Reads a farm's folder: farm.yaml, flocks/*.yaml, rules/*.yaml and languages/*.yaml, with the packs and languages
/// that ship with Underwing beside them. Paths are given as `folder` was written, so that messages show what the user
/// typed. A folder without `flocks`, `rules` or `languages` is fine; a file that cannot be read is a failure.
Result<FarmFiles> read_farm_files(const std::filesystem::path& folder);

/// Every *.yaml of a folder by path, in order of name; empty where the folder is missing.
Result<std::map<std::string, std::string>> read_yaml_files(const std::filesystem::path& folder);

/// Where the shipped packs lie: UNDERWING_PACKS from the environment, else the sources' own folder while it
/// stands there (a build that is not installed), else the installed one.
[[nodiscard]] std::filesystem::path shipped_pack_folder();

/// Likewise the shipped languages: UNDERWING_LANGUAGES from the environment, else as above.
[[nodiscard]] std::filesystem::path shipped_language_folder();

}  // namespace underwing
