// Goal: the mqtt plugin keeps its promises against a real broker: readings arrive, kept ones only with their
// own time, the broker may be away or go away, alarms and status are kept there, acknowledgements become
// replies. Method: mosquitto on a free loopback port, the real plugin over pipes, a second client.
#include <fmt/format.h>
#include <gtest/gtest.h>
#include <signal.h>
#include <sys/stat.h>

#include <cstdlib>

#include "tests/plugins/mosquitto.hpp"

namespace underwing::test {
namespace {

nlohmann::json settings(const Mosquitto& broker) {
  return {{"broker", broker.url()},
          {"report_every", "100 ms"},
          {"read",
           {{{"topic", "farm/{house}/climate/{probe}"},
             {"measure", "air_temperature"},
             {"value", "/temp"},
             {"unit", "°C"},
             {"time", "/ts"}},
            {{"topic", "plain/{house}/{probe}"}, {"measure", "air_temperature"}, {"unit", "°C"}},
            {{"topic", "senml/{house}"}}}}};
}

bool connected(Child& mqtt) {
  return !mqtt.line_where([](const auto& json) {
                return json.is_object() && json.value("method", "") == "health" &&
                       json["params"]["ok"] == true;
              })
              .is_null();
}

TEST(Mqtt, HandsReadingsOver) {
  Mosquitto broker;
  Child mqtt({plugin("mqtt")});
  mqtt.send_message(settings_message(settings(broker)));
  ASSERT_TRUE(connected(mqtt));
  Client client(broker);
  client.publish("farm/house-1/climate/north", R"({"temp":31.42,"ts":1772443800})");
  EXPECT_EQ(mqtt.line(), R"([{"n":"house-1/air_temperature/north","u":"Cel","v":31.42,"t":1772443800}])");
  client.publish("plain/house-1/south", "30.5");
  EXPECT_EQ(mqtt.line(), R"([{"n":"house-1/air_temperature/south","u":"Cel","v":30.5}])");
  client.publish("senml/house-2", R"([{"n":"water/main","u":"l","s":17}])");
  EXPECT_EQ(mqtt.line(), R"([{"n":"house-2/water/main","u":"l","s":17}])");
}

TEST(Mqtt, TakesAKeptReadingOnlyWithItsOwnTime) {
  Mosquitto broker;
  Client client(broker);
  client.publish("plain/house-1/north", "29.0", true);
  client.publish("farm/house-1/climate/south", R"({"temp":30,"ts":1772443800})", true);
  Child mqtt({plugin("mqtt")});
  mqtt.send_message(settings_message(settings(broker)));
  EXPECT_EQ(mqtt.reading()["n"], "house-1/air_temperature/south");
  const auto health = mqtt.line_where([](const auto& json) {
    return json.is_object() && json.value("method", "") == "health" &&
           json["params"]["text"].template get<std::string>().find("passed over") != std::string::npos;
  });
  EXPECT_EQ(health["params"]["text"], fmt::format("connected to 127.0.0.1:{}", broker.port()) +
                                          "; messages passed over: 1 kept by the broker without their own "
                                          "time (the last: plain/house-1/north: "
                                          "it was kept by the broker and does not carry its own time)");
  // What is not kept counts, kept predecessor or not.
  client.publish("plain/house-1/north", "29.5");
  EXPECT_EQ(mqtt.reading()["v"], 29.5);
}

TEST(Mqtt, CountsWhatItDoesNotUnderstandAndRecovers) {
  Mosquitto broker;
  Child mqtt({plugin("mqtt")});
  mqtt.send_message(settings_message(settings(broker)));
  ASSERT_TRUE(connected(mqtt));
  const std::string text = fmt::format("connected to 127.0.0.1:{}", broker.port());
  Client client(broker);
  client.publish("plain/house-1/north", "warm");
  EXPECT_EQ(mqtt.message("health")["text"],
            text + "; messages passed over: 1 not understood (the last: plain/house-1/north: it is no JSON)");
  EXPECT_EQ(mqtt.message("health")["text"], text);
}

TEST(Mqtt, WaitsForABrokerThatIsNotThereYet) {
  Mosquitto broker(free_port());
  Child mqtt({plugin("mqtt")});
  mqtt.send_message(settings_message(settings(broker)));
  EXPECT_FALSE(mqtt.message("hello").is_null());
  const auto health = mqtt.message("health");
  EXPECT_EQ(health["ok"], false);
  EXPECT_TRUE(health["text"].get<std::string>().starts_with("cannot reach 127.0.0.1:")) << health;
  broker.start();
  ASSERT_TRUE(connected(mqtt));
  Client client(broker);
  client.publish("plain/house-1/north", "31");
  EXPECT_EQ(mqtt.reading()["v"], 31);
}

TEST(Mqtt, ReadsOnAfterTheBrokerWasAway) {
  Mosquitto broker;
  Child mqtt({plugin("mqtt")});
  mqtt.send_message(settings_message(settings(broker)));
  ASSERT_TRUE(connected(mqtt));
  for (int round = 0; round < 2; ++round) {
    broker.stop();
    const auto health = mqtt.message("health");
    EXPECT_EQ(health["ok"], false);
    EXPECT_TRUE(health["text"].get<std::string>().starts_with("lost the connection to")) << health;
    // A change while the broker is away must not be lost.
    mqtt.send_message(nlohmann::json{
        {"jsonrpc", "2.0"},
        {"method", "alarm"},
        {"params", {{"house", "h"}, {"rule", "r"}, {"state", fmt::format("state {}", round)}}}});
    broker.start();
    ASSERT_TRUE(connected(mqtt));
    Client client(broker);
    client.publish("plain/house-1/north", "31.5");
    EXPECT_EQ(mqtt.reading()["v"], 31.5);
    client.subscribe("underwing/alarm/#");
    const auto alarm = client.next("underwing/alarm/h/r");
    ASSERT_TRUE(alarm);
    EXPECT_EQ(nlohmann::json::parse(alarm->payload)["state"], fmt::format("state {}", round));
  }
}

TEST(Mqtt, LeavesItsWillAndSaysGoodbye) {
  Mosquitto broker;
  Client client(broker);
  client.subscribe("shed/status");
  auto with_prefix = settings(broker);
  with_prefix["prefix"] = "shed";
  {
    Child mqtt({plugin("mqtt")});
    mqtt.send_message(settings_message(with_prefix));
    EXPECT_EQ(client.next("shed/status")->payload, "online");
    mqtt.stop(SIGKILL);
    EXPECT_EQ(client.next("shed/status")->payload, "offline");
  }
  {
    Child mqtt({plugin("mqtt")});
    mqtt.send_message(settings_message(with_prefix));
    EXPECT_EQ(client.next("shed/status")->payload, "online");
    mqtt.send(R"({"jsonrpc":"2.0","method":"stop"})");
    EXPECT_EQ(client.next("shed/status")->payload, "offline");
    EXPECT_EQ(mqtt.status(), 0);
  }
  Client late(broker);
  late.subscribe("shed/status");
  const auto status = late.next("shed/status");
  EXPECT_EQ(status->payload, "offline");
  EXPECT_TRUE(status->kept);
}

TEST(Mqtt, KeepsAlarmStatesAtTheBroker) {
  Mosquitto broker;
  Child mqtt({plugin("mqtt")});
  mqtt.send_message(settings_message(settings(broker)));
  ASSERT_TRUE(connected(mqtt));
  auto alarm = [&](const char* state, const nlohmann::json& probe) {
    mqtt.send_message(nlohmann::json{
        {"jsonrpc", "2.0"},
        {"method", "alarm"},
        {"params",
         {{"code", "K7"}, {"house", "house-1"}, {"rule", "cold-air"}, {"probe", probe}, {"state", state}}}});
  };
  Client first(broker);
  first.subscribe("underwing/alarm/#");
  alarm("unacknowledged", nullptr);
  EXPECT_EQ(nlohmann::json::parse(first.next("underwing/alarm/house-1/cold-air")->payload)["state"],
            "unacknowledged");
  alarm("normal", nullptr);
  EXPECT_EQ(nlohmann::json::parse(first.next("underwing/alarm/house-1/cold-air")->payload)["state"],
            "normal");
  alarm("acknowledged", "no/rth");
  ASSERT_TRUE(first.next("underwing/alarm/house-1/cold-air/no_rth"));
  Client late(broker);
  late.subscribe("underwing/alarm/#");
  const auto kept = late.next("underwing/alarm/house-1/cold-air");
  EXPECT_TRUE(kept->kept);
  EXPECT_EQ(nlohmann::json::parse(kept->payload)["state"], "normal");
}

TEST(Mqtt, PublishesMoreAlarmsThanTheLibraryTakesAtOnce) {
  Mosquitto broker;
  Child mqtt({plugin("mqtt")});
  mqtt.send_message(settings_message(settings(broker)));
  ASSERT_TRUE(connected(mqtt));
  constexpr std::size_t kAlarms = 500;
  Client client(broker);
  client.subscribe("underwing/alarm/#");
  for (std::size_t i = 0; i < kAlarms; ++i) {
    mqtt.send_message(nlohmann::json{
        {"jsonrpc", "2.0"},
        {"method", "alarm"},
        {"params", {{"house", "h"}, {"rule", fmt::format("r{}", 1000 + i)}, {"state", "normal"}}}});
  }
  // They leave in the order of their topics, within a turn.
  EXPECT_EQ(client.count("underwing/alarm/h/", kAlarms), kAlarms);
}

TEST(Mqtt, TurnsAcknowledgementsIntoReplies) {
  Mosquitto broker;
  Client client(broker);
  client.publish("underwing/acknowledge", R"({"who":"tomas","text":"OK old"})", true);
  Child mqtt({plugin("mqtt")});
  mqtt.send_message(settings_message(settings(broker)));
  ASSERT_TRUE(connected(mqtt));
  client.publish("underwing/acknowledge", "OK K7");
  client.publish("underwing/acknowledge", R"({"who":"ines","text":"OK K7"})");
  EXPECT_EQ(mqtt.message("reply"), nlohmann::json({{"from", "ines"}, {"by", "mqtt"}, {"text", "OK K7"}}));
}

TEST(Mqtt, CarriesStepsToTheDaemonAndBack) {
  Mosquitto broker;
  auto stepping = settings(broker);
  stepping["step"] = {{"ask", "farm/step"}, {"answer", "farm/settled"}};
  Child mqtt({plugin("mqtt")});
  mqtt.send_message(settings_message(stepping));
  ASSERT_TRUE(connected(mqtt));
  Client client(broker);
  client.subscribe("farm/settled");
  for (int minute = 1; minute <= 3; ++minute) {
    const double time = 1772443800 + minute * 60;
    client.publish("farm/house-1/climate/north",
                   fmt::format(R"({{"temp":31,"ts":{}}})", 1772443800 + minute));
    client.publish("farm/step", nlohmann::json{{"time", time}}.dump());
    EXPECT_FALSE(mqtt.reading().is_null());  // Before the question.
    const auto question = mqtt.line_where([](const auto& json) { return json.is_object(); });
    EXPECT_EQ(question["method"], "step");
    EXPECT_EQ(question["params"]["time"], time);
    mqtt.send_message(
        nlohmann::json{{"jsonrpc", "2.0"}, {"id", question["id"]}, {"result", nlohmann::json::object()}});
    EXPECT_EQ(nlohmann::json::parse(client.next("farm/settled")->payload)["time"], time);
  }
}

TEST(Mqtt, SaysWhatIsWrongWithItsSettings) {
  Child mqtt({plugin("mqtt")});
  mqtt.send_message(settings_message({{"broker", "http://127.0.0.1"}}));
  EXPECT_EQ(
      mqtt.message("health"),
      nlohmann::json({{"ok", false},
                      {"text", "settings.broker 'http://127.0.0.1' must begin with mqtt:// or mqtts://."}}));
}

TEST(Mqtt, SaysThatThePasswordIsWrong) {
  const TemporaryFolder folder;
  ASSERT_EQ(std::system(("mosquitto_passwd -b -c " + folder.path("users") + " farm secret").c_str()), 0);
  Mosquitto broker(free_port(),  // The broker gives up the rights of root, and could not read the file then.
                   "user root\nallow_anonymous false\npassword_file " + folder.path("users") + "\n");
  broker.start();
  auto with_user = settings(broker);
  with_user["user"] = "farm";
  with_user["password_file"] = folder.write("wrong", "guess\n");
  chmod(folder.path("wrong").c_str(), 0600);
  {
    Child mqtt({plugin("mqtt")});
    mqtt.send_message(settings_message(with_user));
    const auto health = mqtt.message("health");
    EXPECT_EQ(health["ok"], false);
    EXPECT_NE(health["text"].get<std::string>().find("it refuses user or password"), std::string::npos)
        << health;
  }
  with_user["password_file"] = folder.write("right", "secret\n");
  chmod(folder.path("right").c_str(), 0600);
  Child mqtt({plugin("mqtt")});
  mqtt.send_message(settings_message(with_user));
  EXPECT_TRUE(connected(mqtt));
}

TEST(Mqtt, LosesNothingOfABurst) {
  Mosquitto broker;
  auto fast = settings(broker);
  Child mqtt({plugin("mqtt")});
  mqtt.send_message(settings_message(fast));
  ASSERT_TRUE(connected(mqtt));
  Client client(broker);
  constexpr int kMessages = 3000;
  for (int i = 0; i < kMessages; ++i) client.publish("plain/house-1/north", std::to_string(i));
  for (int i = 0; i < kMessages; ++i) {
    const auto line = mqtt.line();
    ASSERT_TRUE(line);
    ASSERT_EQ(nlohmann::json::parse(*line)[0]["v"], i);
  }
}

TEST(ModelHouseOverMqtt, PublishesANightInLockStep) {
  Mosquitto broker;
  const TemporaryFolder folder;
  auto stepping = settings(broker);
  stepping["step"] = {{"ask", "farm/step"}, {"answer", "farm/settled"}};
  Child mqtt({plugin("mqtt")});
  mqtt.send_message(settings_message(stepping));
  ASSERT_TRUE(connected(mqtt));
  const std::string file = folder.write("house.yaml",
                                        "houses:\n  - {house: house-1, placed: 2026-03-02 09:30}\n"
                                        "faults:\n  - {at: 5 min, what: heater_fails, house: house-1}\n");
  Child model({plugin("model-house"), "--mqtt", broker.url(), "--settings", file, "--start",
               "2026-03-02T20:30:00Z", "--minutes", "10", "--step-topics", "farm/step,farm/settled",
               "--story", folder.path("story")});
  for (int minute = 1; minute <= 10; ++minute) {
    for (int probe = 0; probe < 3; ++probe) EXPECT_EQ(mqtt.reading()["t"], 1772483400 + minute * 60);
    const auto question =
        mqtt.line_where([](const auto& json) { return json.is_object() && json.contains("id"); });
    ASSERT_EQ(question["params"]["time"], 1772483400 + minute * 60);
    mqtt.send_message(
        nlohmann::json{{"jsonrpc", "2.0"}, {"id", question["id"]}, {"result", nlohmann::json::object()}});
  }
  EXPECT_EQ(model.status(), 0);
  EXPECT_EQ(read_file(folder.path("story")), "20:35  The heater in house-1 goes out.\n");
}

nlohmann::json heartbeat_message(int id, const std::string& to) {
  return {{"jsonrpc", "2.0"}, {"id", id}, {"method", "heartbeat"}, {"params", {{"to", to}, {"says", {{"beating", true}, {"farm", "Sandpiper Hollow"}}}}}};
}

nlohmann::json beat_answer(Child& plugin, int id) {
  return plugin.line_where([id](const auto& json) { return json.is_object() && json.value("id", 0) == id; });
}

TEST(Mqtt, AHeartbeatIsAnsweredByTheBrokerAndNotKept) {
  Mosquitto broker;
  Client client(broker);
  client.subscribe("far/#");
  Child mqtt({plugin("mqtt")});
  mqtt.send_message(settings_message(settings(broker)));
  ASSERT_TRUE(connected(mqtt));
  mqtt.send_message(heartbeat_message(7, "far/away"));
  EXPECT_EQ(beat_answer(mqtt, 7)["result"]["answered"], true);
  const auto message = client.next("far/away");
  ASSERT_TRUE(message);
  EXPECT_EQ(message->payload, R"({"beating":true,"farm":"Sandpiper Hollow"})");
  EXPECT_FALSE(message->kept);
  broker.stop();
  mqtt.message("health");
  mqtt.send_message(heartbeat_message(8, "far/away"));
  const auto answer = beat_answer(mqtt, 8);
  EXPECT_EQ(answer["result"]["answered"], false) << answer;
  EXPECT_EQ(answer["result"]["text"], fmt::format("no connection to 127.0.0.1:{}", broker.port()));
}

}  // namespace
}  // namespace underwing::test
