#include "tests/plugins/child.hpp"

#include <fcntl.h>
#include <poll.h>
#include <signal.h>
#include <sys/prctl.h>
#include <sys/wait.h>
#include <unistd.h>

#include <array>
#include <cstdlib>
#include <filesystem>
#include <fstream>
#include <sstream>
#include <stdexcept>

namespace underwing::test {

using Clock = std::chrono::steady_clock;

Child::Child(std::vector<std::string> command) {
  signal(SIGPIPE, SIG_IGN);
  std::array<int, 2> in{}, out{};
  if (pipe2(in.data(), O_CLOEXEC) != 0 || pipe2(out.data(), O_CLOEXEC) != 0) throw std::runtime_error("pipe");
  std::vector<char*> arguments;
  for (std::string& word : command) arguments.push_back(word.data());
  arguments.push_back(nullptr);
  pid_ = fork();
  if (pid_ == 0) {
    prctl(PR_SET_PDEATHSIG, SIGKILL);
    signal(SIGPIPE, SIG_DFL);
    dup2(in[0], STDIN_FILENO);
    dup2(out[1], STDOUT_FILENO);
    execvp(arguments[0], arguments.data());
    _exit(127);
  }
  close(in[0]);
  close(out[1]);
  input_ = in[1];
  output_ = out[0];
}

Child::~Child() {
  close_input();
  if (!status_) {
    kill(pid_, SIGKILL);
    status();
  }
  close(output_);
}

void Child::send(std::string_view line) {
  const std::string bytes = std::string(line) + "\n";
  for (std::size_t done = 0; done < bytes.size();) {
    const ssize_t count = write(input_, bytes.data() + done, bytes.size() - done);
    if (count <= 0) return;
    done += static_cast<std::size_t>(count);
  }
}

void Child::close_input() {
  if (input_ >= 0) close(input_);
  input_ = -1;
}

std::optional<std::string> Child::line() {
  const auto deadline = Clock::now() + kPatience;
  for (std::string_view found;;) {
    if (reader_.next(found)) return std::string(found);
    const auto left = std::chrono::duration_cast<std::chrono::milliseconds>(deadline - Clock::now()).count();
    pollfd fd{output_, POLLIN, 0};
    if (left <= 0 || poll(&fd, 1, static_cast<int>(left)) <= 0) return std::nullopt;
    std::array<char, 65536> bytes{};
    const ssize_t count = read(output_, bytes.data(), bytes.size());
    if (count <= 0) return std::nullopt;
    reader_.feed({bytes.data(), static_cast<std::size_t>(count)});
  }
}

nlohmann::json Child::line_where(const std::function<bool(const nlohmann::json&)>& fits) {
  const auto deadline = Clock::now() + kPatience;
  while (Clock::now() < deadline) {
    const auto text = line();
    if (!text) return nullptr;
    const auto json = nlohmann::json::parse(*text, nullptr, false);
    if (fits(json)) return json;
  }
  return nullptr;
}

nlohmann::json Child::message(const std::string& method) {
  const auto found =
      line_where([&](const auto& json) { return json.is_object() && json.value("method", "") == method; });
  return found.is_null() ? found : found["params"];
}

nlohmann::json Child::reading() {
  const auto found = line_where([](const auto& json) { return json.is_array(); });
  return found.is_null() ? found : found[0];
}

std::vector<std::string> Child::lines_to_end() {
  std::vector<std::string> all;
  while (auto text = line()) all.push_back(std::move(*text));
  return all;
}

int Child::status() {
  int raw = 0;
  if (!status_ && waitpid(pid_, &raw, 0) == pid_) {
    status_ = WIFEXITED(raw) ? WEXITSTATUS(raw) : 1000 + WTERMSIG(raw);
  }
  return status_.value_or(-1);
}

void Child::stop(int signal_number) {
  kill(pid_, signal_number);
  status();
}

bool Child::running() {
  int raw = 0;
  if (!status_ && waitpid(pid_, &raw, WNOHANG) == pid_) {
    status_ = WIFEXITED(raw) ? WEXITSTATUS(raw) : 1000 + WTERMSIG(raw);
  }
  return !status_;
}

std::string plugin(const std::string& name) {
  return std::string(UNDERWING_BINARY_DIR) + "/plugins/underwing-" + name;
}

nlohmann::json settings_message(const nlohmann::json& settings) {
  return {{"jsonrpc", "2.0"}, {"method", "settings"}, {"params", settings}};
}

TemporaryFolder::TemporaryFolder() {
  std::string name = (std::filesystem::temp_directory_path() / "underwing-test-XXXXXX").string();
  if (mkdtemp(name.data()) == nullptr) throw std::runtime_error("mkdtemp");
  folder_ = name;
}

TemporaryFolder::~TemporaryFolder() {
  std::error_code ignored;
  std::filesystem::remove_all(folder_, ignored);
}

std::string TemporaryFolder::write(const std::string& name, std::string_view text) const {
  std::ofstream(path(name), std::ios::binary) << text;
  return path(name);
}

std::string read_file(const std::string& path) {
  std::ostringstream text;
  text << std::ifstream(path, std::ios::binary).rdbuf();
  return text.str();
}

}  // namespace underwing::test
