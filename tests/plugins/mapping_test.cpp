// Goal: foreign payloads become the right SenML lines, and what does not fit is named. Method: settings as
// JSON, one message in, lines and outcome out.
#include "plugins/mqtt/mapping.hpp"

#include <gtest/gtest.h>

namespace underwing {
namespace {

using Outcome = Mapping::Outcome;

std::string refusal(const char* read_json) {
  const auto json = nlohmann::json{{"read", nlohmann::json::parse(read_json)}};
  Settings settings(json, "settings");
  Mapping mapping;
  try {
    mapping.read_settings(settings);
  } catch (const SettingsError& problem) {
    return problem.what();
  }
  return "fine";
}

/// The lines of a message; else "pattern: …", "payload: …" or "kept: …" with the reason.
std::string take(const char* read_json, const char* topic, const char* payload, bool retained = false) {
  const auto json = nlohmann::json{{"read", nlohmann::json::parse(read_json)}};
  Settings settings(json, "settings");
  Mapping mapping;
  mapping.read_settings(settings);
  std::string lines;
  switch (mapping.take(topic, payload, retained, lines)) {
    case Outcome::taken:
      return lines;
    case Outcome::fits_no_pattern:
      return "pattern: " + mapping.reason();
    case Outcome::not_understood:
      return "payload: " + mapping.reason();
    case Outcome::kept_without_time:
      return "kept: " + mapping.reason();
  }
  return {};
}

constexpr const char* kClimate =
    R"([{"topic":"farm/{house}/climate/{probe}","measure":"air_temperature","value":"/temp","unit":"°C","time":"/ts"}])";
constexpr const char* kBare = R"([{"topic":"t/{house}/{probe}","measure":"air_temperature","unit":"°C"}])";
constexpr const char* kPack = R"([{"topic":"s/{house}"}])";

TEST(Mapping, TakesAValueWithItsTime) {
  EXPECT_EQ(take(kClimate, "farm/house-1/climate/north", R"({"temp":31.42,"ts":1772443800.5})"),
            "[{\"n\":\"house-1/air_temperature/north\",\"u\":\"Cel\",\"v\":31.42,\"t\":1772443800.5}]\n");
  EXPECT_EQ(
      take(kClimate, "farm/house-1/climate/north", R"({"temp":"31.4","ts":"2026-03-02T10:30:00+01:00"})"),
      "[{\"n\":\"house-1/air_temperature/north\",\"u\":\"Cel\",\"v\":31.4,\"t\":1772443800}]\n");
}

TEST(Mapping, TakesABarePayload) {
  EXPECT_EQ(take(kBare, "t/h1/x", " 21.5\n"),
            "[{\"n\":\"h1/air_temperature/x\",\"u\":\"Cel\",\"v\":21.5}]\n");
  const char* mains = R"([{"topic":"m/{house}","measure":"mains","probe":"supply"}])";
  for (const char* on : {"1", "true", "on", "ON", "\"On\""}) {
    EXPECT_EQ(take(mains, "m/h1", on), "[{\"n\":\"h1/mains/supply\",\"v\":1}]\n") << on;
  }
  for (const char* off : {"0", "false", "off", "OFF"}) {
    EXPECT_EQ(take(mains, "m/h1", off), "[{\"n\":\"h1/mains/supply\",\"v\":0}]\n") << off;
  }
}

TEST(Mapping, ConvertsUnits) {
  auto with = [](const char* unit, const char* value) {
    const std::string read =
        std::string(R"([{"topic":"t","house":"h","measure":"m","probe":"p","unit":")") + unit + "\"}]";
    return take(read.c_str(), "t", value);
  };
  EXPECT_EQ(with("%", "55"), "[{\"n\":\"h/m/p\",\"u\":\"%RH\",\"v\":55}]\n");
  EXPECT_EQ(with("L", "7"), "[{\"n\":\"h/m/p\",\"u\":\"l\",\"v\":7}]\n");
  EXPECT_EQ(with("kPa", "2"), "[{\"n\":\"h/m/p\",\"u\":\"Pa\",\"v\":2000}]\n");
  EXPECT_NEAR(nlohmann::json::parse(with("°F", "90"))[0]["v"].get<double>(), 32.2, 0.05);
}

TEST(Mapping, GivesSeveralReadingsFromOnePayload) {
  const char* two =
      R"([{"topic":"c/{probe}","house":"h","measure":"air_temperature","value":"/temp","unit":"°C"},
                        {"topic":"c/{probe}","house":"h","measure":"relative_humidity","value":"/rh","unit":"%"}])";
  EXPECT_EQ(take(two, "c/x", R"({"temp":30,"rh":60})"),
            "[{\"n\":\"h/air_temperature/x\",\"u\":\"Cel\",\"v\":30}]\n"
            "[{\"n\":\"h/relative_humidity/x\",\"u\":\"%RH\",\"v\":60}]\n");
  EXPECT_EQ(take(two, "c/x", R"({"temp":30})"), "[{\"n\":\"h/air_temperature/x\",\"u\":\"Cel\",\"v\":30}]\n");
  EXPECT_EQ(take(two, "c/x", R"({"t":30})"), "payload: it has nothing where 'value' points");
}

TEST(Mapping, TakesSenmlPacks) {
  EXPECT_EQ(
      take(
          kPack, "s/h1",
          R"([{"bt":1772443800,"n":"ammonia/east","u":"ppm","v":3},{"n":"mains/m","vb":true},{"n":"water/main","u":"l","s":5}])"),
      "[{\"n\":\"h1/ammonia/east\",\"u\":\"ppm\",\"v\":3,\"t\":1772443800}]\n"
      "[{\"n\":\"h1/mains/m\",\"vb\":true,\"t\":1772443800}]\n"
      "[{\"n\":\"h1/water/main\",\"u\":\"l\",\"s\":5,\"t\":1772443800}]\n");
  EXPECT_EQ(take(kPack, "s/h1", R"([{"n":"h2/ammonia/east","u":"ppm","v":3}])"),
            "[{\"n\":\"h2/ammonia/east\",\"u\":\"ppm\",\"v\":3}]\n");
  const char* whole = R"([{"topic":"{house}/{measure}/{probe}"}])";
  EXPECT_EQ(take(whole, "h1/ammonia/east", R"([{"n":"urn:dev:ow:10e2073a01080063","u":"ppm","v":3}])"),
            "[{\"n\":\"h1/ammonia/east\",\"u\":\"ppm\",\"v\":3}]\n");
  EXPECT_EQ(take(kPack, "s/h1", R"([{"n":"east","v":3}])"),
            "payload: 'east' and the topic do not make house/measure/probe");
  EXPECT_EQ(take(kPack, "s/h1", R"([{"n":"a/b","vs":"x"}])"), "payload: the pack holds no number");
}

TEST(Mapping, TakesAKeptMessageOnlyWithItsOwnTime) {
  EXPECT_EQ(take(kBare, "t/h1/x", "21.5", true),
            "kept: it was kept by the broker and does not carry its own time");
  EXPECT_EQ(take(kClimate, "farm/h/climate/n", R"({"temp":31,"ts":1772443800})", true),
            "[{\"n\":\"h/air_temperature/n\",\"u\":\"Cel\",\"v\":31,\"t\":1772443800}]\n");
  EXPECT_EQ(take(kPack, "s/h1", R"([{"n":"ammonia/e","v":3,"t":-5}])", true),
            "kept: it was kept by the broker and does not carry its own time");
  EXPECT_EQ(take(kPack, "s/h1", R"([{"n":"ammonia/e","v":3,"t":1772443800}])", true),
            "[{\"n\":\"h1/ammonia/e\",\"v\":3,\"t\":1772443800}]\n");
}

TEST(Mapping, NamesWhatItDoesNotUnderstand) {
  EXPECT_EQ(take(kClimate, "farm/house-1/gas/north", "1"), "pattern: no entry of 'read' fits it");
  EXPECT_EQ(take(kClimate, "farm/house 1/climate/north", "1"), "pattern: no entry of 'read' fits it");
  EXPECT_EQ(take(kClimate, "farm/h/climate/n", ""), "payload: it is empty");
  EXPECT_EQ(take(kClimate, "farm/h/climate/n", "{"), "payload: it is no JSON");
  EXPECT_EQ(take(kClimate, "farm/h/climate/n", R"({"temp":null,"ts":1})"),
            "payload: what 'value' points at is no number");
  EXPECT_EQ(take(kClimate, "farm/h/climate/n", R"({"temp":31})"),
            "payload: it has nothing where 'time' points");
  // Milliseconds, a time of day, and a clock that was never set.
  for (const char* stamp : {"1772443800000", "\"02:10\"", "12"}) {
    const std::string payload = std::string(R"({"temp":31,"ts":)") + stamp + "}";
    EXPECT_EQ(take(kClimate, "farm/h/climate/n", payload.c_str()),
              "payload: what 'time' points at is neither RFC 3339 nor seconds since 1970");
  }
}

TEST(Mapping, RefusesWrongSettings) {
  EXPECT_EQ(refusal(R"([{"topic":"a/{house}","measure":"m","value":"/v"}])"),
            "settings.read[1].topic 'a/{house}' does not say which probe; write {name} for a level, or add "
            "the key.");
  EXPECT_EQ(refusal(R"([{"topic":"a/{house}","house":"h"}])"),
            "settings.read[1].house is given, and the topic has {house} too; keep one of them.");
  EXPECT_EQ(refusal(R"([{"topic":"a","house":"h","measure":"m","probe":"p","value":"temp"}])"),
            "settings.read[1].value 'temp' is no JSON Pointer; it looks like /temp or /data/0/value.");
  EXPECT_EQ(refusal(R"([{"topic":"a/+"}])"),
            "settings.read[1].topic 'a/+' holds '+' or '#'; write {name} for a level that varies.");
  EXPECT_EQ(refusal(R"([{"topic":"a","mesure":"m"}])"),
            "settings.read[1] has the key 'mesure', which nobody knows here.");
  EXPECT_EQ(refusal(R"([{"topic":"a","qos":3}])"), "settings.read[1].qos is 3, but must be between 0 and 2.");
  EXPECT_EQ(refusal(R"([{"topic":"a","house":"h","measure":"m","probe":"p","unit":"C"}])"),
            "settings.read[1].unit 'C' is not known; known are –, °C, °F, K, %, ppm, L, mL, m3, m³, kg, g, "
            "t, lx, Pa, "
            "hPa, kPa, bar, mbar, m/s, W.");
  EXPECT_EQ(refusal(R"({"topic":"a"})"), "settings.read must be a list.");
  EXPECT_EQ(refusal(R"([{"measure":"a"}])"), "settings.read[1].topic is missing.");
}

TEST(Mapping, SubscribesOnceToAFilter) {
  const auto json = nlohmann::json::parse(
      R"({"read":[{"topic":"a/{house}","qos":0},{"topic":"a/{probe}","qos":2},{"topic":"b"}]})");
  Settings settings(json, "settings");
  Mapping mapping;
  mapping.read_settings(settings);
  EXPECT_EQ(mapping.filters(), (std::map<std::string, int>{{"a/+", 2}, {"b", 1}}));
}

}  // namespace
}  // namespace underwing
