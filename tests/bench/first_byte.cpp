// first_byte FILE: a plugin that makes a probe cold for as long as the rule waits, and adds to FILE the milliseconds from the
// first byte of the reading that completes the delay to the first byte of the text that it is then given to deliver.
#include <fmt/format.h>
#include <poll.h>
#include <unistd.h>

#include <chrono>
#include <fstream>
#include <string>
#include <thread>

namespace {

using Clock = std::chrono::steady_clock;
using namespace std::chrono_literals;

void say(const std::string& line) {
  const std::string text = line + '\n';
  for (std::size_t done = 0; done < text.size();) {
    const auto written = ::write(STDOUT_FILENO, text.data() + done, text.size() - done);
    if (written <= 0) std::exit(1);
    done += static_cast<std::size_t>(written);
  }
}

void speak(double temperature) {
  say(fmt::format(R"([{{"n":"house-1/air_temperature/north","u":"Cel","v":{}}}])", temperature));
}

/// What has come by the moment at which something comes, if it does so in time.
std::string hear(std::chrono::milliseconds within) {
  pollfd waiting{STDIN_FILENO, POLLIN, 0};
  if (::poll(&waiting, 1, static_cast<int>(within.count())) <= 0) return "";
  std::string heard(1U << 16U, '\0');
  const auto size = ::read(STDIN_FILENO, heard.data(), heard.size());
  if (size <= 0) std::exit(0);
  heard.resize(static_cast<std::size_t>(size));
  return heard;
}

}  // namespace

int main(int argc, char** argv) {
  if (argc < 2) return 2;
  hear(10s);  // the settings
  say(R"({"jsonrpc":"2.0","method":"hello","params":{"plugin":"first-byte","version":"1","does":["read","deliver"]}})");
  for (int i = 0; i < 3; ++i) {
    speak(31);
    std::this_thread::sleep_for(100ms);
  }
  speak(20);
  std::this_thread::sleep_for(1050ms);
  while (!hear(0ms).empty()) {
  }
  const auto begun = Clock::now();
  speak(20);
  for (;;) {
    const std::string heard = hear(10s);
    const auto took = std::chrono::duration<double, std::milli>(Clock::now() - begun);
    if (heard.empty()) return 1;
    if (heard.find(R"("method":"deliver")") == std::string::npos) continue;
    std::ofstream(argv[1], std::ios::app) << fmt::format("{:.3f}\n", took.count());
    break;
  }
  while (!hear(60s).empty()) {
  }
}
