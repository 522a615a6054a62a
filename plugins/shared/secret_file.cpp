#include "plugins/shared/secret_file.hpp"

#include <fcntl.h>
#include <fmt/format.h>
#include <sys/stat.h>
#include <unistd.h>

#include <array>
#include <cerrno>
#include <cstring>

namespace underwing {
namespace {

constexpr std::size_t kSecretBytesMax = 4096;

/// A descriptor that closes itself.
struct File {
  int fd;
  ~File() {
    if (fd >= 0) close(fd);
  }
};

/// The rights are those of the file that is open, so that it cannot be another one a moment later.
void check_rights(Settings& settings, const char* key, const std::string& path, int fd, const char* plugin) {
  struct stat facts {};
  if (fstat(fd, &facts) != 0 || !S_ISREG(facts.st_mode)) {
    settings.refuse(key, fmt::format("'{}' is no plain file", path));
  }
  if ((facts.st_mode & S_IRWXO) != 0) {
    settings.refuse(key,
                    fmt::format("'{}' is open to everybody on this machine; 'chmod 600' closes it", path));
  }
  if ((facts.st_mode & S_IRWXG) != 0) {
    fmt::print(stderr,
               "{}: caution: its group may use the file '{}' of settings.{}; 'chmod 600' closes it.\n",
               plugin, path, key);
  }
}

}  // namespace

std::string read_secret(Settings& settings, const char* key, const char* plugin) {
  const std::string path = settings.text(key, "");
  if (path.empty()) return {};
  const File file{open(path.c_str(), O_RDONLY | O_CLOEXEC | O_NONBLOCK)};
  if (file.fd < 0) settings.refuse(key, fmt::format("'{}' cannot be read: {}", path, std::strerror(errno)));
  check_rights(settings, key, path, file.fd, plugin);
  std::array<char, kSecretBytesMax> bytes{};
  const ssize_t count = read(file.fd, bytes.data(), bytes.size());
  if (count < 0) settings.refuse(key, fmt::format("'{}' cannot be read: {}", path, std::strerror(errno)));
  std::string line(bytes.data(), static_cast<std::size_t>(count));
  line.resize(std::min(line.size(), line.find('\n')));
  if (line.ends_with('\r')) line.pop_back();
  if (line.empty()) settings.refuse(key, fmt::format("'{}' is empty", path));
  return line;
}

}  // namespace underwing
