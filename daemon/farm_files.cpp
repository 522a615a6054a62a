#include "daemon/farm_files.hpp"

#include <cstdlib>
#include <system_error>

#include "daemon/file_io.hpp"

namespace underwing {
namespace {

constexpr std::size_t kFile_bytes_max = 4U << 20U;

/// The folder that the environment names, else that of the sources, else that of the installation.
std::filesystem::path shipped_folder(const char* variable, const char* sources, const char* installed) {
  if (const char* folder = std::getenv(variable); folder != nullptr && *folder != '\0') return folder;
  std::error_code code;
  return std::filesystem::is_directory(sources, code) ? sources : installed;
}

/// Both endings that YAML files have are read: a file passed over in silence would be a house unwatched.
bool ends_as(const std::filesystem::path& path, const std::string& extension) {
  return path.extension() == extension || (extension == ".yaml" && path.extension() == ".yml");
}

Result<std::map<std::string, std::string>> read_files(const std::filesystem::path& folder, const char* extension) {
  std::map<std::string, std::string> files;
  std::error_code code;
  if (!std::filesystem::exists(folder, code)) return files;
  std::filesystem::directory_iterator it(folder, code);
  for (const std::filesystem::directory_iterator end; !code && it != end; it.increment(code)) {
    const auto& path = it->path();
    if (!ends_as(path, extension) || path.filename().string().starts_with('.')) continue;
    auto text = read_file(path, kFile_bytes_max);
    if (!text) return Failure{text.error()};
    files.emplace(path.string(), std::move(text).value());
  }
  if (code) return Failure{"cannot read the folder " + folder.string() + ": " + code.message()};
  return files;
}

}  // namespace

std::filesystem::path shipped_pack_folder() { return shipped_folder("UNDERWING_PACKS", UNDERWING_SOURCE_PACKS, UNDERWING_INSTALLED_PACKS); }

std::filesystem::path shipped_language_folder() {
  return shipped_folder("UNDERWING_LANGUAGES", UNDERWING_SOURCE_LANGUAGES, UNDERWING_INSTALLED_LANGUAGES);
}

Result<std::map<std::string, std::string>> read_yaml_files(const std::filesystem::path& folder) { return read_files(folder, ".yaml"); }

Result<FarmFiles> read_farm_files(const std::filesystem::path& folder) {
  // "farm.yaml" reads better than "./farm.yaml".
  const auto in_folder = [&folder](const char* name) { return (folder / name).lexically_normal(); };
  FarmFiles files;
  files.farm_path = in_folder("farm.yaml").string();
  auto farm = read_file(files.farm_path, kFile_bytes_max);
  if (!farm) return Failure{farm.error()};
  files.farm_text = std::move(farm).value();

  const auto read_into = [](std::map<std::string, std::string>& target, const std::filesystem::path& source,
                            const char* extension = ".yaml") {
    auto texts = read_files(source, extension);
    if (!texts) return Result<void>(Failure{texts.error()});
    target = std::move(texts).value();
    return Result<void>();
  };
  if (auto read = read_into(files.flocks, in_folder("flocks")); !read) return Failure{read.error()};
  if (auto read = read_into(files.packs, in_folder("rules")); !read) return Failure{read.error()};
  if (auto read = read_into(files.shipped, shipped_pack_folder()); !read) return Failure{read.error()};
  if (auto read = read_into(files.languages, in_folder("languages")); !read) return Failure{read.error()};
  if (auto read = read_into(files.shipped_languages, shipped_language_folder()); !read) return Failure{read.error()};
  if (auto read = read_into(files.tables, in_folder("growth"), ".csv"); !read) return Failure{read.error()};
  return files;
}

}  // namespace underwing
