// Goal: somebody elsewhere is called when a farm's watch is stuck, though its plugins live on; and the farm itself is told when nobody
// outside answers. Method: two real daemons over a real broker, the one that listens from the example, its spans in seconds.

#include <algorithm>

#include <fmt/format.h>
#include <gtest/gtest.h>
#include <signal.h>

#include <filesystem>
#include <fstream>

#include "tests/e2e/gateway.hpp"
#include "tests/plugins/mosquitto.hpp"

namespace underwing::test {
namespace {

void replace(std::string& text, const std::string& from, const std::string& to) {
  const std::size_t at = text.find(from);
  if (at == std::string::npos) throw std::runtime_error("no such text: " + from);
  text.replace(at, from.size(), to);
}

/// The example's farm, with this broker, seconds instead of minutes, and a phone that writes to a file.
class Listener {
 public:
  explicit Listener(const Mosquitto& broker) {
    const std::string example = std::string(UNDERWING_SOURCE_DIR) + "/examples/listener/";
    std::string farm = read_file(example + "farm.yaml"), pack = read_file(example + "rules/outside.yaml");
    replace(farm, "mqtt://127.0.0.1:1883", broker.url());
    replace(farm, "{run: print}", fmt::format("{{run: print, settings: {{show: {}}}}}", folder_.path("texts")));
    replace(pack, "stale_after: 3 min", "stale_after: 15 s");
    replace(pack, "blind_after: 2 min", "blind_after: 12 s");  // a beat comes every 10 s
    std::filesystem::create_directories(folder_.path("farm/rules"));
    static_cast<void>(folder_.write("farm/farm.yaml", farm));
    static_cast<void>(folder_.write("farm/rules/outside.yaml", pack));
    static_cast<void>(folder_.write("texts", ""));
    daemon_ = std::make_unique<Child>(std::vector<std::string>{
        "sh", "-c", fmt::format("exec {0}/underwingd --farm {1}/farm --state {1}/state --socket {1}/socket --trust-clock >>{1}/log 2>&1", UNDERWING_BINARY_DIR, folder_.path("."))});
  }
  ~Listener() { daemon_->stop(SIGTERM); }
  Listener(const Listener&) = delete;
  Listener& operator=(const Listener&) = delete;

  [[nodiscard]] std::string texts() const { return read_file(folder_.path("texts")); }
  [[nodiscard]] std::string log() const { return read_file(folder_.path("log")); }
  [[nodiscard]] bool hears() const {
    const Answer status = shell(fmt::format("underwing --json --socket {} status", folder_.path("socket")));
    const auto json = nlohmann::json::parse(status.text, nullptr, false);
    return json.is_object() && json["houses"][0]["probes"][0].value("usable", false);
  }

 private:
  TemporaryFolder folder_;
  std::unique_ptr<Child> daemon_;
};

FarmText farm_with_heartbeat(const Mosquitto& broker) {
  FarmText farm;
  farm.plugins = fmt::format("{}\n  climate: {{run: mqtt, settings: {{broker: \"{}\"}}}}\nheartbeat: {{over: climate, to: underwing/heartbeat, every: 10 s}}",
                             Gateway::probe_entry("wire"), broker.url());
  return farm;
}

TEST(HeartbeatOverABroker, AStuckWatchIsCalledByTheOneThatListens) {
  Mosquitto broker;
  Gateway gateway(farm_with_heartbeat(broker));
  gateway.start();
  Listener listener(broker);
  ASSERT_TRUE(wait_until([&] { return listener.hears(); })) << listener.log() << gateway.log();
  ASSERT_TRUE(wait_until([&] { return gateway.status()["heartbeat"].value("answered", false); })) << gateway.log();
  std::string status = gateway.tool("status").text;
  std::replace(status.begin(), status.end(), '\n', ' ');
  EXPECT_NE(status.find("Outside heartbeat over climate: answered, last "), std::string::npos) << status;
  EXPECT_EQ(listener.texts().find("SEE heartbeat"), std::string::npos) << listener.texts();

  gateway.freeze();
  EXPECT_TRUE(wait_until([&] { return listener.texts().find("CANNOT SEE heartbeat") != std::string::npos; })) << listener.texts() << listener.log();
  gateway.thaw();
  EXPECT_TRUE(wait_until([&] { return listener.texts().find("sees again") != std::string::npos; }, std::chrono::seconds(180))) << listener.texts() << listener.log();
}

TEST(HeartbeatOverABroker, OneThatIsGoneIsNoAnswer) {
  Mosquitto broker;
  Gateway gateway(farm_with_heartbeat(broker));
  gateway.start();
  ASSERT_TRUE(wait_until([&] { return gateway.status()["heartbeat"].value("answered", false); })) << gateway.log();
  broker.stop();
  EXPECT_TRUE(wait_until([&] {
    const auto beat = gateway.status()["heartbeat"];
    return !beat.value("answered", true) && !beat.value("text", "").empty();
  })) << gateway.log();
}

}  // namespace
}  // namespace underwing::test
