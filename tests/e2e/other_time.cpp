// Preloaded into one program, shifts its wall clock by the seconds that the file OTHER_TIME_FILE holds. All clocks that
// only go on (CLOCK_MONOTONIC, CLOCK_BOOTTIME) stay true, as on a gateway whose wall clock is set.
#include <sys/time.h>
#include <sys/syscall.h>
#include <unistd.h>

#include <array>
#include <cstdlib>
#include <ctime>
#include <fcntl.h>

namespace {

long shift_s() {
  const char* path = std::getenv("OTHER_TIME_FILE");
  const int file = path != nullptr ? open(path, O_RDONLY | O_CLOEXEC) : -1;
  if (file < 0) return 0;
  std::array<char, 32> text{};
  const ssize_t size = read(file, text.data(), text.size() - 1);
  close(file);
  return size > 0 ? std::strtol(text.data(), nullptr, 10) : 0;
}

}  // namespace

extern "C" {

int clock_gettime(clockid_t id, timespec* time) noexcept {
  const int status = static_cast<int>(syscall(SYS_clock_gettime, id, time));
  if (status == 0 && id == CLOCK_REALTIME) time->tv_sec += shift_s();
  return status;
}

int gettimeofday(timeval* time, void*) noexcept {
  timespec now{};
  const int status = clock_gettime(CLOCK_REALTIME, &now);
  time->tv_sec = now.tv_sec;
  time->tv_usec = now.tv_nsec / 1000;
  return status;
}

time_t time(time_t* out) noexcept {
  timespec now{};
  clock_gettime(CLOCK_REALTIME, &now);
  if (out != nullptr) *out = now.tv_sec;
  return now.tv_sec;
}
}
