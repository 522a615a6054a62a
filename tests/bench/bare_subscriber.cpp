// bare_subscriber PORT: counts what comes under farm/# through Paho's C++ client in callback mode, and does nothing
// else. When nothing has come for two seconds after the first message: prints the count, the CPU time in
// microseconds since it was subscribed, and when the last one came, in seconds since 1970.
#include <fmt/format.h>
#include <mqtt/async_client.h>
#include <sys/resource.h>

#include <atomic>
#include <chrono>
#include <thread>

namespace {

double cpu_us() {
  rusage usage{};
  getrusage(RUSAGE_SELF, &usage);
  const auto us = [](const timeval& time) { return static_cast<double>(time.tv_sec) * 1e6 + static_cast<double>(time.tv_usec); };
  return us(usage.ru_utime) + us(usage.ru_stime);
}

double wall_s() {
  return std::chrono::duration<double>(std::chrono::system_clock::now().time_since_epoch()).count();
}

}  // namespace

int main(int argc, char** argv) {
  if (argc != 2) return 2;
  std::atomic<long> count{0};
  double last = 0;
  mqtt::async_client client(fmt::format("tcp://127.0.0.1:{}", argv[1]), "bare");
  client.set_message_callback([&](const mqtt::const_message_ptr&) { count.fetch_add(1, std::memory_order_relaxed); });
  client.connect()->wait();
  client.subscribe("farm/#", 0)->wait();
  const double begin = cpu_us();
  fmt::print("ready\n");
  std::fflush(stdout);
  int quiet = 0;
  for (long before = 0; quiet < 20; std::this_thread::sleep_for(std::chrono::milliseconds(100))) {
    quiet = count == 0 || count != before ? 0 : quiet + 1;
    if (quiet == 0) last = wall_s();
    before = count;
  }
  fmt::print("{} {:.0f} {:.1f}\n", count.load(), cpu_us() - begin, last);
  client.disconnect()->wait();
}
