// bare_subscriber PORT: counts what comes under farm/# through Paho's C++ client in callback mode, and does nothing
// else. When nothing has come for two seconds after the first message: prints the count and the CPU time in
// microseconds since it was subscribed.
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

}  // namespace

int main(int argc, char** argv) {
  if (argc != 2) return 2;
  std::atomic<long> count{0};
  mqtt::async_client client(fmt::format("tcp://127.0.0.1:{}", argv[1]), "bare");
  client.set_message_callback([&](const mqtt::const_message_ptr&) { count.fetch_add(1, std::memory_order_relaxed); });
  client.connect()->wait();
  client.subscribe("farm/#", 0)->wait();
  const double begin = cpu_us();
  fmt::print("ready\n");
  std::fflush(stdout);
  for (long before = -1; count == 0 || count != before; std::this_thread::sleep_for(std::chrono::seconds(2))) before = count;
  fmt::print("{} {:.0f}\n", count.load(), cpu_us() - begin);
  client.disconnect()->wait();
}
