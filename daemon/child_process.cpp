#include "daemon/child_process.hpp"

#include <array>
#include <cerrno>
#include <csignal>
#include <system_error>

#include <fcntl.h>
#include <sys/prctl.h>
#include <sys/syscall.h>
#include <sys/wait.h>
#include <unistd.h>

namespace underwing {
namespace {

struct Pipe {
  Descriptor read_end, write_end;
};

bool make_pipe(Pipe& target) {
  std::array<int, 2> ends{};
  if (::pipe2(ends.data(), O_CLOEXEC) != 0) return false;
  target.read_end.reset(ends[0]);
  target.write_end.reset(ends[1]);
  return true;
}

bool set_non_blocking(const Descriptor& fd) {
  return ::fcntl(fd.get(), F_SETFL, ::fcntl(fd.get(), F_GETFL) | O_NONBLOCK) == 0;
}

struct Streams {
  Pipe input, output, error, fault;
};

/// Between fork and exec: only what POSIX calls async-signal-safe.
[[noreturn]] void become(char* const* arguments, const Streams& streams, pid_t parent) {
  ::setpgid(0, 0);
  ::prctl(PR_SET_PDEATHSIG, SIGKILL);
  // The parent may have died before the line above took hold.
  if (::getppid() != parent) ::_exit(127);

  for (int signal = 1; signal < NSIG; ++signal) ::signal(signal, SIG_DFL);
  sigset_t none;
  ::sigemptyset(&none);
  ::sigprocmask(SIG_SETMASK, &none, nullptr);

  const bool joined = ::dup2(streams.input.read_end.get(), STDIN_FILENO) >= 0 &&
                      ::dup2(streams.output.write_end.get(), STDOUT_FILENO) >= 0 &&
                      ::dup2(streams.error.write_end.get(), STDERR_FILENO) >= 0 &&
                      ::close_range(3, ~0U, CLOSE_RANGE_CLOEXEC) == 0;
  if (joined) ::execv(arguments[0], arguments);
  const int code = errno;
  [[maybe_unused]] const ssize_t written = ::write(streams.fault.write_end.get(), &code, sizeof code);
  ::_exit(127);
}

/// The errno of a child that could not become the program; 0 where it did.
int wait_for_exec(Streams& streams) {
  streams.fault.write_end.reset();
  int code = 0;
  ssize_t count = 0;
  do {
    count = ::read(streams.fault.read_end.get(), &code, sizeof code);
  } while (count < 0 && errno == EINTR);
  return count == sizeof code ? code : 0;
}

}  // namespace

Result<ChildProcess> start_child(const std::string& program, const std::vector<std::string>& arguments) {
  Streams streams;
  if (!make_pipe(streams.input) || !make_pipe(streams.output) || !make_pipe(streams.error) ||
      !make_pipe(streams.fault) || !set_non_blocking(streams.input.write_end) ||
      !set_non_blocking(streams.output.read_end) || !set_non_blocking(streams.error.read_end)) {
    return system_failure("cannot make pipes for", program);
  }
  std::vector<std::string> words{program};
  words.insert(words.end(), arguments.begin(), arguments.end());
  std::vector<char*> pointers;
  for (auto& word : words) pointers.push_back(word.data());
  pointers.push_back(nullptr);

  const pid_t parent = ::getpid();
  const pid_t pid = ::fork();
  if (pid < 0) return system_failure("cannot start", program);
  if (pid == 0) become(pointers.data(), streams, parent);
  // Both sides do it, so that the group stands for whoever comes first.
  ::setpgid(pid, pid);
  if (const int code = wait_for_exec(streams); code != 0) {
    ::waitpid(pid, nullptr, 0);
    errno = code;
    return system_failure("cannot start", program);
  }
  ChildProcess child;
  child.pid = pid;
  child.input = std::move(streams.input.write_end);
  child.output = std::move(streams.output.read_end);
  child.error = std::move(streams.error.read_end);
  child.ended.reset(static_cast<int>(::syscall(SYS_pidfd_open, pid, 0)));
  if (!child.ended) {
    const Failure failure = system_failure("cannot watch", program);
    signal_group(pid, SIGKILL);
    ::waitpid(pid, nullptr, 0);
    return failure;
  }
  return child;
}

void signal_group(pid_t pid, int signal) {
  if (pid > 0) ::kill(-pid, signal);
}

std::string reap(pid_t pid) {
  int status = 0;
  while (::waitpid(pid, &status, 0) < 0) {
    if (errno != EINTR) return "ended";
  }
  if (WIFSIGNALED(status)) return "was ended by signal " + std::to_string(WTERMSIG(status));
  return "ended with status " + std::to_string(WEXITSTATUS(status));
}

}  // namespace underwing
