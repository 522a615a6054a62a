#include "plugins/mail/pictures.hpp"

#include <fcntl.h>
#include <fmt/format.h>
#include <poll.h>
#include <spawn.h>
#include <sys/wait.h>
#include <unistd.h>

#include <array>
#include <cerrno>
#include <csignal>
#include <cstdio>
#include <cstring>
#include <iostream>
#include <iterator>
#include <sstream>

#include "plugins/mail/plot.hpp"
#include "plugins/shared/base64.hpp"

namespace underwing {
namespace {

using Clock = std::chrono::steady_clock;

constexpr std::size_t kPlotsMax = 64;
constexpr std::size_t kAnswerBytesMax = std::size_t{16} << 20;

void log(const std::string& text) {
  fmt::print(stderr, "mail: {}\n", text);
}

/// A pipe's two ends; none is left open in another child.
struct Pipe {
  std::array<int, 2> ends{-1, -1};
  bool open() { return pipe2(ends.data(), O_CLOEXEC) == 0; }
  void close_end(std::size_t end) {
    if (ends[end] >= 0) close(ends[end]);
    ends[end] = -1;
  }
  Pipe() = default;
  Pipe(const Pipe&) = delete;
  Pipe& operator=(const Pipe&) = delete;
  ~Pipe() {
    close_end(0);
    close_end(1);
  }
};

/// The process that draws; it does not outlive this.
class Drawer {
 public:
  Drawer(const Drawer&) = delete;
  Drawer& operator=(const Drawer&) = delete;
  Drawer() {
    if (!to_.open() || !from_.open()) {
      trouble_ = std::strerror(errno);
      return;
    }
    posix_spawn_file_actions_t actions;
    posix_spawn_file_actions_init(&actions);
    posix_spawn_file_actions_adddup2(&actions, to_.ends[0], STDIN_FILENO);
    posix_spawn_file_actions_adddup2(&actions, from_.ends[1], STDOUT_FILENO);
    // spawn takes them as char*, and leaves them alone.
    std::string name = "underwing-mail", option = "--draw";
    std::array<char*, 3> arguments{name.data(), option.data(), nullptr};
    const int failure = posix_spawn(&pid_, "/proc/self/exe", &actions, nullptr, arguments.data(), environ);
    posix_spawn_file_actions_destroy(&actions);
    if (failure != 0) {
      pid_ = -1;
      trouble_ = std::strerror(failure);
    }
    to_.close_end(0);
    from_.close_end(1);
    fcntl(to_.ends[1], F_SETFL, O_NONBLOCK);
    fcntl(from_.ends[0], F_SETFL, O_NONBLOCK);
  }
  ~Drawer() {
    if (pid_ < 0) return;
    kill(pid_, SIGKILL);
    while (waitpid(pid_, nullptr, 0) < 0 && errno == EINTR) {}
  }

  /// Hands the question over and takes what comes until it has ended or time is over.
  std::string ask(std::string_view question, Clock::time_point until) {
    std::string answer;
    while (pid_ >= 0 && answer.size() < kAnswerBytesMax) {
      std::array<pollfd, 2> fds{{{from_.ends[0], POLLIN, 0}, {to_.ends[1], POLLOUT, 0}}};
      const auto left = std::chrono::ceil<std::chrono::milliseconds>(until - Clock::now()).count();
      if (left <= 0) {
        trouble_ = "it took too long";
        break;
      }
      if (poll(fds.data(), fds.size(), static_cast<int>(left)) < 0 && errno != EINTR) break;
      if (fds[1].revents != 0) give(question);
      if (fds[0].revents != 0 && !take(answer)) break;
    }
    return answer;
  }
  [[nodiscard]] const std::string& trouble() const { return trouble_; }

 private:
  void give(std::string_view& question) {
    const ssize_t count = write(to_.ends[1], question.data(), question.size());
    if (count < 0 && (errno == EAGAIN || errno == EINTR)) return;
    if (count > 0) question.remove_prefix(static_cast<std::size_t>(count));
    // Poll passes over an end that is closed.
    if (count < 0 || question.empty()) to_.close_end(1);
  }

  /// False: nothing more comes.
  bool take(std::string& answer) {
    std::array<char, 65536> bytes;  // NOLINT: filled by read before use.
    const ssize_t count = read(from_.ends[0], bytes.data(), bytes.size());
    if (count > 0) answer.append(bytes.data(), static_cast<std::size_t>(count));
    return count > 0 || (count < 0 && (errno == EAGAIN || errno == EINTR));
  }

  Pipe to_, from_;
  pid_t pid_ = -1;
  std::string trouble_;
};

}  // namespace

std::vector<Picture> draw_apart(const nlohmann::json& plots, Clock::time_point until) {
  if (!plots.is_array() || plots.empty()) return {};
  Drawer drawer;
  std::istringstream lines(drawer.ask(plots.dump(-1, ' ', false, nlohmann::json::error_handler_t::replace), until));
  std::vector<Picture> pictures;
  std::size_t answered = 0;
  for (std::string line; std::getline(lines, line);) {
    const auto answer = nlohmann::json::parse(line, nullptr, /*allow_exceptions=*/false);
    if (!answer.is_object()) break;  // cut off in its midst
    ++answered;
    if (answer.contains("png")) pictures.push_back({answer.value("png", ""), answer.value("alt", "")});
    else log(fmt::format("a plot is left out: {}", answer.value("why", "")));
  }
  const std::size_t expected = std::min(plots.size(), kPlotsMax);
  if (answered < expected) {
    log(fmt::format("{} of {} plots are left out: {}", expected - answered, expected,
                    drawer.trouble().empty() ? "the process that draws them ended" : drawer.trouble()));
  }
  return pictures;
}

int draw_from_input() {
  const std::string input{std::istreambuf_iterator<char>(std::cin), {}};
  const auto plots = nlohmann::json::parse(input, nullptr, /*allow_exceptions=*/false);
  if (!plots.is_array()) {
    log("what came in is no list of plots");
    return 2;
  }
  for (std::size_t i = 0; i < std::min(plots.size(), kPlotsMax); ++i) {
    std::string why, png;
    const auto plot = read_plot(plots[i], why);
    if (plot) png = draw_plot(*plot, why);
    const nlohmann::json answer = png.empty() ? nlohmann::json{{"why", why}} : nlohmann::json{{"png", base64(png)}, {"alt", plot->alt}};
    fmt::print("{}\n", answer.dump(-1, ' ', false, nlohmann::json::error_handler_t::replace));
    std::fflush(stdout);
  }
  return 0;
}

}  // namespace underwing
