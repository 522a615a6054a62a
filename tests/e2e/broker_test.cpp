// Goal: a broker that stops and starts again costs no more than the silence: it is noticed and told once, and readings
// resume by themselves. Method: a real broker that is killed, spans of seconds instead of minutes.

#include <gtest/gtest.h>

#include <atomic>
#include <fmt/format.h>
#include <thread>

#include "tests/e2e/gateway.hpp"
#include "tests/plugins/mosquitto.hpp"

namespace underwing::test {
namespace {

/// Publishes a temperature five times a second while there is a broker to take it.
class Instrument {
 public:
  explicit Instrument(const Mosquitto& broker) : client_(broker), thread_([this] { run(); }) {}
  ~Instrument() {
    ending_ = true;
    thread_.join();
  }
  Instrument(const Instrument&) = delete;
  Instrument& operator=(const Instrument&) = delete;

 private:
  void run() {
    while (!ending_) {
      client_.publish("farm/house-1/climate/north", R"({"temp":33.0})");
      std::this_thread::sleep_for(std::chrono::milliseconds(200));
    }
  }

  Client client_;
  std::atomic<bool> ending_ = false;
  std::thread thread_;
};

TEST(Broker, StoppedAndStartedAgainTheSilenceIsToldOnce) {
  Mosquitto broker;
  FarmText farm;
  farm.plugins = fmt::format(
      "  climate:\n    run: mqtt\n    settings:\n      broker: {}\n      read:\n"
      "        - {{topic: \"farm/{{house}}/climate/{{probe}}\", measure: air_temperature, value: /temp, unit: °C}}",
      broker.url());
  farm.stale_after = "2 s";
  farm.blind_after = "2 s";
  Gateway gateway(farm);
  gateway.start();
  const auto usable = [&] { return gateway.status()["houses"][0]["probes"][0].value("usable", false); };
  {
    const Instrument instrument(broker);
    ASSERT_TRUE(wait_until(usable)) << gateway.log();
  }
  broker.stop();
  ASSERT_TRUE(wait_until([&] { return gateway.count_events("blind") == 1; })) << gateway.log();
  ASSERT_TRUE(wait_until([&] { return gateway.count_texts("ines", "SEE") >= 1 || gateway.count_texts("ines", "see") >= 1; })) << gateway.log();

  broker.start();
  const Instrument instrument(broker);
  ASSERT_TRUE(wait_until(usable)) << "readings do not resume: " << gateway.log();
  ASSERT_TRUE(wait_until([&] { return gateway.count_events("sees") == 1; }, std::chrono::seconds(180))) << gateway.log();
  EXPECT_EQ(gateway.count_events("blind"), 1U);
  EXPECT_EQ(gateway.count_texts("ines", "CANNOT SEE"), 1U);
  EXPECT_TRUE(wait_until([&] { return gateway.count_texts("ines", "sees again") == 1; })) << gateway.log();
}

}  // namespace
}  // namespace underwing::test
