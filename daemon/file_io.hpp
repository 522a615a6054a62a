#pragma once

#include <filesystem>
#include <string>
#include <string_view>
#include <utility>

#include <unistd.h>

#include "rules/base/result.hpp"

namespace underwing {

/// Owns one file descriptor; -1 owns none.
class Descriptor {
 public:
  Descriptor() = default;
  explicit Descriptor(int fd) noexcept : fd_(fd) {}
  ~Descriptor() { reset(); }
  Descriptor(Descriptor&& other) noexcept : fd_(std::exchange(other.fd_, -1)) {}
  Descriptor& operator=(Descriptor&& other) noexcept {
    reset(std::exchange(other.fd_, -1));
    return *this;
  }
  [[nodiscard]] int get() const noexcept { return fd_; }
  [[nodiscard]] int release() noexcept { return std::exchange(fd_, -1); }
  explicit operator bool() const noexcept { return fd_ >= 0; }
  void reset(int fd = -1) noexcept {
    if (fd_ >= 0) ::close(fd_);
    fd_ = fd;
  }

 private:
  int fd_ = -1;
};

/// "what path: the system's reason", from errno.
[[nodiscard]] Failure system_failure(std::string_view what, const std::filesystem::path& path);

/// Writes all bytes, going on after interruptions; false with errno where the system refuses.
[[nodiscard]] bool write_all(int fd, std::string_view bytes);

/// Makes the names in a folder durable.
Result<void> sync_folder(const std::filesystem::path& folder);

/// The whole of a file, at most `size_max` bytes; a larger one is a failure.
Result<std::string> read_file(const std::filesystem::path& path, std::size_t size_max = 64U << 20U);

}  // namespace underwing
