// mqtt_publish PORT RATE SECONDS HOUSES: readings of twelve air probes a house at RATE messages a second (QoS 0, MQTT
// 3.1.1), in batches straight to the socket, so that it costs little beside broker and subscriber. Every message has
// its own time. A probe goes up by 0.1 K every two seconds, ten times faster than air does, and falls by 0.9 K after ten steps.
// Prints how many it sent, and when it began, in seconds since 1970.
#include <arpa/inet.h>
#include <fmt/format.h>
#include <netinet/tcp.h>
#include <sys/socket.h>
#include <unistd.h>

#include <chrono>
#include <cstdlib>
#include <string>
#include <string_view>
#include <thread>

namespace {

using Clock = std::chrono::steady_clock;
constexpr auto kBatchEvery = std::chrono::milliseconds(5);
constexpr int kProbes = 12;

bool write_all(int fd, std::string_view bytes) {
  while (!bytes.empty()) {
    const ssize_t count = ::write(fd, bytes.data(), bytes.size());
    if (count <= 0) return false;
    bytes.remove_prefix(static_cast<std::size_t>(count));
  }
  return true;
}

/// A remaining length of up to 127 takes one byte (MQTT 3.1.1, section 2.2.3); ours are below that.
void append_publish(std::string& bytes, const std::string& topic, const std::string& payload) {
  bytes += '\x30';
  bytes += static_cast<char>(2 + topic.size() + payload.size());
  bytes += '\0';
  bytes += static_cast<char>(topic.size());
  bytes += topic;
  bytes += payload;
}

int connected(std::uint16_t port) {
  const int fd = ::socket(AF_INET, SOCK_STREAM, 0);
  sockaddr_in address{};
  address.sin_family = AF_INET;
  address.sin_port = htons(port);
  address.sin_addr.s_addr = htonl(INADDR_LOOPBACK);
  if (::connect(fd, reinterpret_cast<const sockaddr*>(&address), sizeof address) != 0) return -1;
  const std::string_view connect("\x10\x10\x00\x04MQTT\x04\x02\x00\x00\x00\x04" "pubs", 18);
  char answer[4];
  return write_all(fd, connect) && ::read(fd, answer, sizeof answer) == 4 && answer[3] == 0 ? fd : -1;
}

}  // namespace

int main(int argc, char** argv) {
  if (argc != 5) return 2;
  const int fd = connected(static_cast<std::uint16_t>(std::atoi(argv[1])));
  if (fd < 0) return 1;
  const double rate = std::atof(argv[2]);
  const double seconds = std::atof(argv[3]);
  const int houses = std::atoi(argv[4]);
  const auto begin = Clock::now();
  const auto wall = std::chrono::duration<double>(std::chrono::system_clock::now().time_since_epoch()).count();
  long sent = 0;
  std::string bytes;
  for (auto next = begin; next - begin < std::chrono::duration<double>(seconds); next += kBatchEvery) {
    std::this_thread::sleep_until(next);
    const double passed = std::chrono::duration<double>(next - begin).count();
    bytes.clear();
    for (const long due = static_cast<long>(passed * rate); sent < due; ++sent) {
      const long probe = sent % (kProbes * houses);
      append_publish(bytes, fmt::format("farm/house-{}/climate/p{}", probe / kProbes + 1, probe % kProbes + 1),
                     fmt::format(R"({{"temp":{:.1f},"rh":55.2,"state":"ok","ts":{:.3f}}})",
                                 26.5 + 0.1 * static_cast<double>((static_cast<long>(passed / 2) + probe) % 10), wall + static_cast<double>(sent) / rate));
    }
    if (!write_all(fd, bytes)) return 1;
  }
  static_cast<void>(write_all(fd, std::string_view("\xe0\x00", 2)));
  ::close(fd);
  fmt::print("{} {:.3f}\n", sent, wall);
}
