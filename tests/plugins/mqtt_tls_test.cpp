// Goal: mqtt speaks over TLS with a broker that the farm trusts, with user and password, and gives neither to
// a broker that it does not trust; why there is no connection stands in its health. Method: mosquitto with
// certificates made for the test, the real plugin over pipes, mosquitto_pub as the other end.
#include <fmt/format.h>
#include <gtest/gtest.h>
#include <signal.h>
#include <sys/stat.h>

#include <cstdlib>

#include "tests/plugins/certificates.hpp"
#include "tests/plugins/mosquitto.hpp"

namespace underwing::test {
namespace {

/// A broker over TLS that lets in the user "farm" only.
class SafeBroker {
 public:
  explicit SafeBroker(const Authority::Pair& pair = loopback_trust().server)
      : users_(folder_.write("users", "")), broker_(free_port(), settings(pair)) {
    const std::string add = fmt::format("mosquitto_passwd -b '{}' farm 'open sesame' 2>/dev/null", users_);
    if (std::system(add.c_str()) != 0) throw std::runtime_error(add);
    broker_.start();
  }
  [[nodiscard]] int port() const { return broker_.port(); }
  /// Somebody else publishes with the right password; false where the broker does not take it.
  [[nodiscard]] bool publish(const std::string& topic, const std::string& payload) const {
    return std::system(fmt::format("mosquitto_pub -h localhost -p {} --cafile '{}' -u farm -P 'open sesame' "
                                   "-q 1 -t '{}' -m '{}' 2>/dev/null",
                                   port(), loopback_trust().authority.ca_file(), topic, payload)
                           .c_str()) == 0;
  }
  void stop() { broker_.stop(); }
  void start() { broker_.start(); }

 private:
  [[nodiscard]] std::string settings(const Authority::Pair& pair) const {
    return fmt::format(
        "user root\nallow_anonymous false\npassword_file {}\ncertfile {}\nkeyfile {}\ntls_version tlsv1.2\n",
        users_, pair.certificate, pair.key);
  }
  TemporaryFolder folder_;
  std::string users_;
  Mosquitto broker_;
};

class SafeMqtt {
 public:
  explicit SafeMqtt(const SafeBroker& broker, const std::string& password = "open sesame",
                    const std::string& ca_file = loopback_trust().authority.ca_file(),
                    const std::string& host = "localhost")
      : place_(fmt::format("{}:{}", host, broker.port())) {
    const std::string file = folder_.write("password", password + "\n");
    chmod(file.c_str(), 0600);
    nlohmann::json settings{
        {"broker", "mqtts://" + place_},
        {"user", "farm"},
        {"password_file", file},
        {"read", {{{"topic", "plain/{house}/{probe}"}, {"measure", "air_temperature"}, {"unit", "°C"}}}}};
    if (!ca_file.empty()) settings["ca_file"] = ca_file;
    child_.send_message(settings_message(settings));
  }
  nlohmann::json health() { return child_.message("health"); }
  nlohmann::json reading() { return child_.reading(); }
  [[nodiscard]] const std::string& place() const { return place_; }

 private:
  TemporaryFolder folder_;
  std::string place_;
  Child child_{{plugin("mqtt")}};
};

TEST(MqttTls, ReadsFromABrokerThatTheFarmTrusts) {
  SafeBroker broker;
  for (const std::string host : {"localhost", "127.0.0.1"}) {
    SafeMqtt mqtt(broker, "open sesame", loopback_trust().authority.ca_file(), host);
    const auto health = mqtt.health();
    EXPECT_EQ(health["ok"], true);
    EXPECT_EQ(health["text"], "connected to " + mqtt.place());
    ASSERT_TRUE(broker.publish("plain/house-1/north", "31.25"));
    EXPECT_EQ(mqtt.reading()["v"], 31.25);
  }
}

TEST(MqttTls, ComesBackAfterTheBrokerWasAway) {
  SafeBroker broker;
  SafeMqtt mqtt(broker);
  ASSERT_EQ(mqtt.health()["ok"], true);
  broker.stop();
  EXPECT_EQ(mqtt.health()["ok"], false);
  broker.start();
  nlohmann::json health = mqtt.health();
  while (!health.is_null() && health["ok"] == false) health = mqtt.health();
  ASSERT_FALSE(health.is_null());
  ASSERT_TRUE(broker.publish("plain/house-1/north", "30.5"));
  EXPECT_EQ(mqtt.reading()["v"], 30.5);
}

TEST(MqttTls, AWrongPasswordIsSaid) {
  SafeBroker broker;
  SafeMqtt mqtt(broker, "guess");
  const auto health = mqtt.health();
  EXPECT_EQ(health["ok"], false);
  EXPECT_EQ(health["text"],
            fmt::format("cannot reach {}: it refuses user or password; trying again", mqtt.place()));
}

TEST(MqttTls, ACertificateThatDoesNotHoldIsSaid) {
  SafeBroker broker;
  const Authority stranger;
  SafeMqtt other_authority(broker, "open sesame", stranger.ca_file());
  EXPECT_EQ(
      other_authority.health()["text"],
      fmt::format(
          "cannot reach {}: no connection over TLS, or a certificate that cannot be trusted; trying again",
          other_authority.place()));
  SafeMqtt system_list(broker, "open sesame", "");
  EXPECT_EQ(system_list.health()["ok"], false) << "an authority of our own is not on the system's list";

  const auto pair = loopback_trust().authority.sign("DNS:elsewhere.example.org");
  SafeBroker other_name(pair);
  SafeMqtt mqtt(other_name);
  EXPECT_EQ(
      mqtt.health()["text"],
      fmt::format(
          "cannot reach {}: no connection over TLS, or a certificate that cannot be trusted; trying again",
          mqtt.place()));
}

TEST(MqttTls, ABrokerWithoutTlsGetsNoPassword) {
  Mosquitto broker;
  TemporaryFolder folder;
  const std::string file = folder.write("password", "open sesame\n");
  chmod(file.c_str(), 0600);
  Child mqtt({plugin("mqtt")});
  const std::string place = fmt::format("localhost:{}", broker.port());
  mqtt.send_message(settings_message({{"broker", "mqtts://" + place},
                                      {"user", "farm"},
                                      {"password_file", file},
                                      {"ca_file", loopback_trust().authority.ca_file()}}));
  const auto health = mqtt.message("health");
  EXPECT_EQ(health["ok"], false);
  EXPECT_TRUE(health["text"].get<std::string>().starts_with(fmt::format("cannot reach {}: ", place)))
      << health;
}

TEST(MqttTls, APasswordFileThatIsOpenToAllIsRefused) {
  TemporaryFolder folder;
  const std::string file = folder.write("password", "open sesame\n");
  chmod(file.c_str(), 0644);
  Child mqtt({plugin("mqtt")});
  mqtt.send_message(
      settings_message({{"broker", "mqtts://localhost:8883"}, {"user", "farm"}, {"password_file", file}}));
  EXPECT_EQ(
      mqtt.message("health")["text"],
      fmt::format("settings.password_file '{}' is open to everybody on this machine; 'chmod 600' closes it.",
                  file));
}

}  // namespace
}  // namespace underwing::test
