#include "daemon/file_io.hpp"

#include <array>
#include <cerrno>
#include <system_error>

#include <fcntl.h>

namespace underwing {

Failure system_failure(std::string_view what, const std::filesystem::path& path) {
  const int code = errno;
  return Failure{std::string(what) + " " + path.string() + ": " + std::generic_category().message(code)};
}

bool write_all(int fd, std::string_view bytes) {
  while (!bytes.empty()) {
    const ssize_t count = ::write(fd, bytes.data(), bytes.size());
    if (count < 0 && errno == EINTR) continue;
    if (count < 0) return false;
    bytes.remove_prefix(static_cast<std::size_t>(count));
  }
  return true;
}

Result<void> sync_folder(const std::filesystem::path& folder) {
  const Descriptor fd(::open(folder.c_str(), O_RDONLY | O_DIRECTORY | O_CLOEXEC));
  if (!fd || ::fsync(fd.get()) != 0) return system_failure("cannot sync the folder", folder);
  return {};
}

Result<std::string> read_file(const std::filesystem::path& path, std::size_t size_max) {
  const Descriptor fd(::open(path.c_str(), O_RDONLY | O_CLOEXEC));
  if (!fd) return system_failure("cannot read", path);
  std::string text;
  std::array<char, 65536> part;
  for (;;) {
    const ssize_t count = ::read(fd.get(), part.data(), part.size());
    if (count < 0 && errno == EINTR) continue;
    if (count < 0) return system_failure("cannot read", path);
    if (count == 0) return text;
    text.append(part.data(), static_cast<std::size_t>(count));
    if (text.size() > size_max) return Failure{"cannot read " + path.string() + ": it is too large"};
  }
}

}  // namespace underwing
