// Goal: the service manager hears what sd_notify(3) says it should. Method: a datagram socket in its place.

#include "daemon/notify.hpp"

#include <array>
#include <cstddef>
#include <cstdlib>
#include <cstring>

#include <gtest/gtest.h>
#include <sys/socket.h>
#include <sys/un.h>
#include <unistd.h>

#include "daemon/file_io.hpp"
#include "tests/daemon/temporary_folder.hpp"

namespace underwing {
namespace {

class Manager {
 public:
  explicit Manager(const std::string& address) : socket_(::socket(AF_UNIX, SOCK_DGRAM, 0)) {
    sockaddr_un place{};
    place.sun_family = AF_UNIX;
    std::memcpy(place.sun_path, address.data(), address.size());
    if (address.front() == '@') place.sun_path[0] = '\0';
    const auto size = static_cast<socklen_t>(offsetof(sockaddr_un, sun_path) + address.size());
    EXPECT_EQ(::bind(socket_.get(), reinterpret_cast<const sockaddr*>(&place), size), 0);
    ::setenv("NOTIFY_SOCKET", address.c_str(), 1);
  }
  std::string heard() {
    std::array<char, 1000> bytes{};
    const ssize_t count = ::recv(socket_.get(), bytes.data(), bytes.size(), MSG_DONTWAIT);
    return count < 0 ? "(nothing)" : std::string(bytes.data(), static_cast<std::size_t>(count));
  }

 private:
  Descriptor socket_;
};

TEST(Notify, TellsTheManager) {
  const TemporaryFolder folder;
  for (const std::string& address : {(folder.path() / "notify").string(), "@underwing-test-" + std::to_string(::getpid())}) {
    Manager manager(address);
    const Notifier notifier;
    EXPECT_EQ(std::getenv("NOTIFY_SOCKET"), nullptr);
    notifier.ready();
    EXPECT_EQ(manager.heard(), "READY=1");
    notifier.alive();
    EXPECT_EQ(manager.heard(), "WATCHDOG=1");
    notifier.status("2 alarms\nstand");
    EXPECT_EQ(manager.heard(), "STATUS=2 alarms stand");
    notifier.stopping();
    EXPECT_EQ(manager.heard(), "STOPPING=1");
  }
}

TEST(Notify, WithoutAManagerNothingHappens) {
  ::unsetenv("NOTIFY_SOCKET");
  const Notifier silent;
  silent.ready();
  EXPECT_FALSE(silent.alive_every());
  ::setenv("NOTIFY_SOCKET", "/nowhere/at/all", 1);
  const Notifier unheard;
  unheard.ready();
}

TEST(Notify, AliveIsDueInHalfTheTimeGranted) {
  struct Case {
    const char* span_us;
    std::string pid;
    std::optional<Duration> expected;
  };
  const std::vector<Case> cases = {
      {"30000000", "", std::chrono::seconds(15)}, {"30000000", std::to_string(::getpid()), std::chrono::seconds(15)},
      {"30000000", "1", std::nullopt},            {"0", "", std::nullopt},
      {"soon", "", std::nullopt},
  };
  for (const auto& c : cases) {
    ::setenv("WATCHDOG_USEC", c.span_us, 1);
    if (!c.pid.empty()) ::setenv("WATCHDOG_PID", c.pid.c_str(), 1);
    EXPECT_EQ(Notifier().alive_every(), c.expected) << c.span_us << " " << c.pid;
  }
}

}  // namespace
}  // namespace underwing
