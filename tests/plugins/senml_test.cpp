// Goal: packs resolve as RFC 8428 says, and lines read back as what was written. Method: the RFC's examples
// in their resolved form, its must-understand rule, and round trips.
#include "plugins/shared/senml.hpp"

#include <gtest/gtest.h>

#include <nlohmann/json.hpp>

namespace underwing {
namespace {

std::vector<SenmlRecord> read(std::string_view pack) {
  std::string error;
  auto records = read_senml(pack, error);
  EXPECT_TRUE(records) << error;
  return records.value_or(std::vector<SenmlRecord>());
}

std::string refusal(std::string_view pack) {
  std::string error;
  return read_senml(pack, error) ? "taken" : error;
}

TEST(Senml, ResolvesASingleRecord) {  // RFC 8428, 5.1.1
  const auto records = read(R"([{"n":"urn:dev:ow:10e2073a01080063","u":"Cel","v":23.1}])");
  ASSERT_EQ(records.size(), 1U);
  EXPECT_EQ(records[0].name, "urn:dev:ow:10e2073a01080063");
  EXPECT_EQ(records[0].unit, "Cel");
  EXPECT_EQ(records[0].value, 23.1);
  EXPECT_FALSE(records[0].time_is_absolute());
}

TEST(Senml, ResolvesBaseFields) {  // 5.1.2
  const auto records = read(R"([{"bn":"urn:dev:ow:10e2073a0108006:","bt":1.276020076001e+09,"bu":"A","bver":5,
      "n":"voltage","u":"V","v":120.1},{"n":"current","t":-5,"v":1.2},{"n":"current","t":-4,"v":1.3}])");
  ASSERT_EQ(records.size(), 3U);
  EXPECT_EQ(records[0].unit, "V");
  EXPECT_EQ(records[1].name, "urn:dev:ow:10e2073a0108006:current");
  EXPECT_EQ(records[1].unit, "A");
  EXPECT_DOUBLE_EQ(records[1].time, 1276020071.001);
}

TEST(Senml, ReplacesABaseNameAndKeepsTheBaseTime) {  // 5.1.6
  const auto records =
      read(R"([{"bn":"2001:db8::2/","bt":1.320078429e+09,"n":"temperature","u":"Cel","v":25.2},
      {"n":"humidity","u":"%RH","v":30},{"bn":"2001:db8::1/","n":"temperature","u":"Cel","v":12.3},
      {"n":"humidity","u":"%RH","v":67}])");
  ASSERT_EQ(records.size(), 4U);
  EXPECT_EQ(records[3].name, "2001:db8::1/humidity");
  EXPECT_EQ(records[3].value, 67);
  EXPECT_EQ(records[3].time, 1320078429);
}

TEST(Senml, TellsTheKindsOfValues) {  // 5.1.5
  const auto records = read(R"([{"bn":"urn:dev:ow:10e2073a01080063:","n":"temp","u":"Cel","v":23.1},
      {"n":"label","vs":"Machine Room"},{"n":"open","vb":false},{"n":"nfc-reader","vd":"aGkgCg"},{"n":"flow","s":9}])");
  using Kind = SenmlRecord::Kind;
  ASSERT_EQ(records.size(), 5U);
  EXPECT_EQ(records[0].kind, Kind::number);
  EXPECT_EQ(records[1].kind, Kind::other);
  EXPECT_EQ(records[2].kind, Kind::boolean);
  EXPECT_EQ(records[3].kind, Kind::other);
  EXPECT_EQ(records[4].kind, Kind::sum);
}

TEST(Senml, AddsBaseValuesAndTreatsARecordOfBaseFieldsAsNone) {
  const auto records = read(R"([{"bn":"a","bv":20},{"n":"b","v":1.5},{"n":"c"}])");
  ASSERT_EQ(records.size(), 2U);
  EXPECT_EQ(records[0].value, 21.5);
  EXPECT_EQ(records[1].value, 20);  // 4.5.4: no value stands for 0.
}

TEST(Senml, JudgesTheTimeAfterAddingTheBase) {  // 4.5.3
  EXPECT_TRUE(read(R"([{"bn":"a","bt":268435450,"n":"b","t":10,"v":1}])")[0].time_is_absolute());
  EXPECT_FALSE(read(R"([{"n":"b","t":268435455,"v":1}])")[0].time_is_absolute());
  EXPECT_TRUE(read(R"([{"n":"b","t":268435456,"v":1}])")[0].time_is_absolute());
}

TEST(Senml, RefusesWhatItMustNotGuess) {
  EXPECT_EQ(refusal(R"([{"n":"x","v":1,"foo":1}])"), "taken");
  EXPECT_EQ(refusal(R"([{"n":"x","v":1,"foo_":1}])"), "the label 'foo_' must be understood and is not");
  EXPECT_EQ(refusal(R"([{"n":"x","v":1,"vb":true}])"), "'x' has several values");
  EXPECT_EQ(refusal(R"([{"n":"-x","v":1}])"), "'-x' is no SenML name");
  EXPECT_EQ(refusal(R"([{"n":"x","v":"1"}])"), "'v' is no number");
  EXPECT_EQ(refusal(R"([{"bver":11,"n":"x","v":1}])"), "its version 11 is not known");
  EXPECT_EQ(refusal(R"({"n":"x","v":1})"), "it is no JSON array");
  EXPECT_EQ(refusal(R"([1])"), "a record is no JSON object");
}

TEST(Senml, WritesWhatItReads) {
  std::string lines;
  append_senml(lines, "h/m/p", "Cel", 31.42, 1772443800.12);
  EXPECT_EQ(lines, "[{\"n\":\"h/m/p\",\"u\":\"Cel\",\"v\":31.42,\"t\":1772443800.12}]\n");
  for (const double value : {0.0, -0.1, 1e-9, 123456789.25, 1e300, 31.0 / 3}) {
    lines.clear();
    append_senml(lines, "a", "", value, 0);
    EXPECT_EQ(read(lines)[0].value, value);
  }
}

TEST(Senml, WritesTimesInWholeMilliseconds) {
  auto text = [](double seconds) {
    std::string written;
    append_seconds(written, seconds);
    return written;
  };
  EXPECT_EQ(text(1772443800), "1772443800");
  EXPECT_EQ(text(1772443800.001), "1772443800.001");
  EXPECT_EQ(text(1772443800.0996), "1772443800.1");
  EXPECT_EQ(text(1772443800.9999), "1772443801");
  EXPECT_EQ(text(-3.25), "-3.25");
}

}  // namespace
}  // namespace underwing
