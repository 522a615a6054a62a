// Goal: SenML lines become the numbers that RFC 8428 means, and no line can hurt the reader.
// Method: the resolved forms of the RFC's own examples (section 5), tables of refusals with their exact
// reasons, and lines cut or flipped at every place.

#include "daemon/senml.hpp"

#include <cmath>
#include <limits>
#include <string>
#include <vector>

#include <fmt/format.h>
#include <gtest/gtest.h>

#include "daemon/senml_line.hpp"

namespace underwing {
namespace {

constexpr Instant kNow{Duration(1'772'443'800'000)};

/// "name unit value time", one record a line; sums carry "sum".
std::string resolved(std::string_view line) {
  SenmlParser parser;
  const auto pack = parser.parse(line, kNow);
  if (!pack) return "error: " + pack.error();
  std::string text;
  for (const auto& record : pack->records) {
    const double seconds = static_cast<double>(record.time.time_since_epoch().count()) / 1000.0;
    text += fmt::format("{} {} {} {:.3f}{}{}\n", record.name, record.unit.value_or("-"), record.value, seconds,
                        record.is_sum ? " sum" : "", record.timed ? "" : " now");
  }
  for (const auto& remark : pack->remarks) text += fmt::format("remark {} '{}'\n", remark.name, remark.text);
  return text;
}

TEST(Senml, SingleDatapointOfSection511) {
  EXPECT_EQ(resolved(R"([{"n":"urn:dev:ow:10e2073a01080063","u":"Cel","v":23.1}])"),
            "urn:dev:ow:10e2073a01080063 Cel 23.1 1772443800.000 now\n");
}

TEST(Senml, MultipleDatapointsOfSection512) {
  EXPECT_EQ(resolved(R"([
      {"bn":"urn:dev:ow:10e2073a01080063:","n":"voltage","u":"V","v":120.1},
      {"n":"current","u":"A","v":1.2}])"),
            "urn:dev:ow:10e2073a01080063:voltage V 120.1 1772443800.000 now\n"
            "urn:dev:ow:10e2073a01080063:current A 1.2 1772443800.000 now\n");
  EXPECT_EQ(resolved(R"([
      {"bn":"urn:dev:ow:10e2073a0108006:","bt":1.276020076001e+09,"bu":"A","bver":5,"n":"voltage","u":"V","v":120.1},
      {"n":"current","t":-5,"v":1.2},
      {"n":"current","t":-4,"v":1.3},
      {"n":"current","t":-3,"v":1.4},
      {"n":"current","t":-2,"v":1.5},
      {"n":"current","t":-1,"v":1.6},
      {"n":"current","v":1.7}])"),
            "urn:dev:ow:10e2073a0108006:voltage V 120.1 1276020076.001\n"
            "urn:dev:ow:10e2073a0108006:current A 1.2 1276020071.001\n"
            "urn:dev:ow:10e2073a0108006:current A 1.3 1276020072.001\n"
            "urn:dev:ow:10e2073a0108006:current A 1.4 1276020073.001\n"
            "urn:dev:ow:10e2073a0108006:current A 1.5 1276020074.001\n"
            "urn:dev:ow:10e2073a0108006:current A 1.6 1276020075.001\n"
            "urn:dev:ow:10e2073a0108006:current A 1.7 1276020076.001\n");
}

TEST(Senml, MultipleMeasurementsOfSections513And514) {
  EXPECT_EQ(resolved(R"([
      {"bn":"urn:dev:ow:10e2073a01080063","bt":1.320067464e+09,"bu":"%RH","v":20},
      {"u":"lon","v":24.30621},
      {"u":"lat","v":60.07965},
      {"t":60,"v":20.3},
      {"u":"lon","t":60,"v":24.30622},
      {"u":"lat","t":60,"v":60.07965},
      {"t":120,"v":20.7},
      {"u":"lon","t":120,"v":24.30623},
      {"u":"lat","t":120,"v":60.07966},
      {"u":"%EL","t":150,"v":98},
      {"t":180,"v":21.2},
      {"u":"lon","t":180,"v":24.30628},
      {"u":"lat","t":180,"v":60.07967}])"),
            "urn:dev:ow:10e2073a01080063 %RH 20 1320067464.000\n"
            "urn:dev:ow:10e2073a01080063 lon 24.30621 1320067464.000\n"
            "urn:dev:ow:10e2073a01080063 lat 60.07965 1320067464.000\n"
            "urn:dev:ow:10e2073a01080063 %RH 20.3 1320067524.000\n"
            "urn:dev:ow:10e2073a01080063 lon 24.30622 1320067524.000\n"
            "urn:dev:ow:10e2073a01080063 lat 60.07965 1320067524.000\n"
            "urn:dev:ow:10e2073a01080063 %RH 20.7 1320067584.000\n"
            "urn:dev:ow:10e2073a01080063 lon 24.30623 1320067584.000\n"
            "urn:dev:ow:10e2073a01080063 lat 60.07966 1320067584.000\n"
            "urn:dev:ow:10e2073a01080063 %EL 98 1320067614.000\n"
            "urn:dev:ow:10e2073a01080063 %RH 21.2 1320067644.000\n"
            "urn:dev:ow:10e2073a01080063 lon 24.30628 1320067644.000\n"
            "urn:dev:ow:10e2073a01080063 lat 60.07967 1320067644.000\n");
}

TEST(Senml, FourTypesOfSection515) {
  EXPECT_EQ(resolved(R"([
      {"bn":"urn:dev:ow:10e2073a01080063:","n":"temp","u":"Cel","v":23.1},
      {"n":"label","vs":"Machine Room"},
      {"n":"open","vb":false},
      {"n":"nfc-reader","vd":"aGkgCg"}])"),
            "urn:dev:ow:10e2073a01080063:temp Cel 23.1 1772443800.000 now\n"
            "urn:dev:ow:10e2073a01080063:open - 0 1772443800.000 now\n"
            "remark urn:dev:ow:10e2073a01080063:label 'Machine Room'\n"
            "remark urn:dev:ow:10e2073a01080063:nfc-reader 'aGkgCg'\n");
}

TEST(Senml, CollectionOfSection516) {
  EXPECT_EQ(resolved(R"([
      {"bn":"2001:db8::2/","bt":1.320078429e+09,"n":"temperature","u":"Cel","v":25.2},
      {"n":"humidity","u":"%RH","v":30},
      {"bn":"2001:db8::1/","n":"temperature","u":"Cel","v":12.3},
      {"n":"humidity","u":"%RH","v":67}])"),
            "2001:db8::2/temperature Cel 25.2 1320078429.000\n"
            "2001:db8::2/humidity %RH 30 1320078429.000\n"
            "2001:db8::1/temperature Cel 12.3 1320078429.000\n"
            "2001:db8::1/humidity %RH 67 1320078429.000\n");
}

TEST(Senml, ActuationOfSection517) {
  EXPECT_EQ(resolved(R"([{"bn":"urn:dev:ow:10e2073a01080063:"},{"n":"heat","u":"/","v":1},{"n":"fan","u":"/","v":0}])"),
            "urn:dev:ow:10e2073a01080063:heat / 1 1772443800.000 now\n"
            "urn:dev:ow:10e2073a01080063:fan / 0 1772443800.000 now\n");
}

TEST(Senml, ResolvesWhatTheExamplesLeaveOut) {
  struct Case {
    std::string_view line, expected;
  };
  const std::vector<Case> cases = {
      // A time below 2^28 s counts from the moment handed in; from there on it is absolute.
      {R"([{"n":"a","v":1,"t":-2.5}])", "a - 1 1772443797.500\n"},
      {R"([{"n":"a","v":1,"t":268435455}])", "a - 1 2040879255.000\n"},
      {R"([{"n":"a","v":1,"t":268435456}])", "a - 1 268435456.000\n"},
      {R"([{"bn":"a","bt":268435450,"n":"b","t":10,"v":1}])", "ab - 1 268435460.000\n"},
      {R"([{"n":"a","v":1,"t":1772443800.1234}])", "a - 1 1772443800.123\n"},
      {R"([{"n":"a","v":1,"t":1772443800.1236}])", "a - 1 1772443800.124\n"},
      // Base value and base sum.
      {R"([{"bn":"a","bv":20,"v":1.5},{"t":0}])", "a - 21.5 1772443800.000 now\na - 20 1772443800.000\n"},
      {R"([{"n":"a","s":12}])", "a - 12 1772443800.000 sum now\n"},
      {R"([{"n":"a","bs":100,"s":12}])", "a - 112 1772443800.000 sum now\n"},
      {R"([{"n":"a","v":3,"s":12}])", "a - 3 1772443800.000 now\n"},
      {R"([{"n":"a","vb":true}])", "a - 1 1772443800.000 now\n"},
      // A label that is not known is passed over, whatever it holds.
      {R"([{"n":"a","x":{"v":[1,{"n":2}]},"v":1}])", "a - 1 1772443800.000 now\n"},
      {R"([{"n":"\u0061","v":1e2,"u":"\u00b0C"}])", "a °C 100 1772443800.000 now\n"},
      {R"([{"n":"watch/clock","t":1772443800}])", "remark watch/clock ''\n"},
      {R"([])", ""},
      {R"([{}])", ""},
  };
  for (const auto& c : cases) EXPECT_EQ(resolved(c.line), c.expected) << c.line;
}

TEST(Senml, RefusesWithAReason) {
  struct Case {
    std::string_view line, reason;
  };
  const std::vector<Case> cases = {
      {"", "not JSON"},
      {"hello", "not a list of records"},
      {R"({"n":"a","v":1})", "not a list of records"},
      {R"([{"n":"a","v":1}] x)", "not a list of records"},
      {R"([{"n":"a","v":1}][])", "not JSON"},
      {R"([{"n":"a","v":1},])", "a record is not an object"},
      {R"([1])", "a record is not an object"},
      {R"([{"n":"x","v":1,"foo_":1}])", "a label ends in '_' and is not known here"},
      {R"([{"n":"x","v":1,"vb":true}])", "a record has more than one value"},
      {R"([{"n":"x","v":1,"v":2}])", "a label stands twice in one record"},
      {R"([{"n":"-x","v":1}])", "a name does not begin with a letter or digit"},
      {R"([{"n":"h 1","v":1}])", "a name has a character that SenML does not allow"},
      {R"([{"n":"haus-ä","v":1}])", "a name has a character that SenML does not allow"},
      {R"([{"v":1}])", "a record has no name"},
      {R"([{"n":7,"v":1}])", "'n' is not a text"},
      {R"([{"n":"a","v":"1"}])", "'v' is not a number"},
      {R"([{"n":"a","v":null}])", "'v' is not a number"},
      {R"([{"n":"a","v":1.2.3}])", "'v' is not a number"},
      {R"([{"n":"a","v":NaN}])", "'v' is not a number"},
      {R"([{"n":"a","v":1e999}])", "'v' is not a number"},
      {R"([{"n":"a","bv":1e308,"v":1e308}])", "a value is out of range"},
      {R"([{"n":"a","vb":1}])", "'vb' is neither true nor false"},
      {R"([{"n":"a","v":1,"t":1e300}])", "a time is out of range"},
      {R"([{"n":"a","v":1,"bver":11}])", "the pack has a later SenML version than 10"},
      {"[{\"n\":\"a\",\"vs\":\"\xff\"}]", "not JSON"},
  };
  for (const auto& c : cases) EXPECT_EQ(resolved(c.line), "error: " + std::string(c.reason)) << c.line;
  EXPECT_EQ(resolved(R"([{"bn":")" + std::string(200, 'a') + R"(","n":")" + std::string(56, 'b') + R"(","v":1}])"),
            "error: a name is longer than 255 characters");
}

TEST(Senml, NoCutOrFlippedLineHurts) {
  const std::string line = R"([{"bn":"h1/","bt":1772443800,"n":"a/b","u":"Cel","v":-3.25e1},{"n":"c","vb":true}])";
  SenmlParser parser;
  for (std::size_t length = 0; length < line.size(); ++length) {
    EXPECT_FALSE(parser.parse(std::string_view(line).substr(0, length), kNow)) << length;
  }
  for (std::size_t at = 0; at < line.size(); ++at) {
    for (unsigned bit = 0; bit < 8; ++bit) {
      std::string flipped = line;
      flipped[at] = static_cast<char>(static_cast<unsigned char>(flipped[at]) ^ (1U << bit));
      if (const auto pack = parser.parse(flipped, kNow)) {
        for (const auto& record : pack->records) EXPECT_TRUE(std::isfinite(record.value)) << flipped;
      }
    }
  }
  EXPECT_TRUE(parser.parse(line, kNow));
}

TEST(Senml, OneParserKeepsTheNamesOfALargePackApart) {
  std::string line = R"([{"bn":"house-1/air_temperature/"})";
  for (int i = 0; i < 5000; ++i) line += fmt::format(R"(,{{"n":"probe-{}","v":{}}})", i, i);
  line += "]";
  SenmlParser parser;
  for (int round = 0; round < 2; ++round) {
    const auto pack = parser.parse(line, kNow);
    ASSERT_TRUE(pack);
    ASSERT_EQ(pack->records.size(), 5000U);
    for (std::size_t i = 0; i < 5000; ++i) {
      ASSERT_EQ(pack->records[i].name, fmt::format("house-1/air_temperature/probe-{}", i));
      ASSERT_EQ(pack->records[i].value, static_cast<double>(i));
    }
  }
}

TEST(Senml, WritesTheShortestLineThatReadsBackTheSame) {
  std::string line;
  EXPECT_TRUE(append_senml(line, {"house-1/air_temperature/north", "Cel", 31.2, Instant(Duration(1'772'443'800'123)), true, false}));
  EXPECT_EQ(line, R"([{"n":"house-1/air_temperature/north","u":"Cel","v":31.2,"t":1772443800.123}])");
  line.clear();
  EXPECT_TRUE(append_senml(line, {"h1/water/main", std::nullopt, 12345, kNow, true, true}));
  EXPECT_EQ(line, R"([{"n":"h1/water/main","s":12345,"t":1772443800}])");
  line.clear();
  EXPECT_TRUE(append_senml(line, {"a", "\"\\\n", 1, Instant(Duration(1'772'443'800'007)), true, false}));
  EXPECT_EQ(line, "[{\"n\":\"a\",\"u\":\"\\\"\\\\\\u000a\",\"v\":1,\"t\":1772443800.007}]");
  line.clear();
  EXPECT_FALSE(append_senml(line, {"a", std::nullopt, std::numeric_limits<double>::quiet_NaN(), kNow, true, false}));
  EXPECT_EQ(line, "");
}

TEST(Senml, WhatIsWrittenReadsBackToTheSameBits) {
  SenmlParser parser;
  for (const double value : {0.0, -0.0, 0.1, 1e-300, 1.7976931348623157e308, 31.200000000000003, -40.0, 1e15 + 0.5}) {
    for (const std::int64_t ms : {1'772'443'800'001LL, 1'772'443'800'999LL, 268'435'456'000LL, 253'402'300'799'000LL}) {
      std::string line;
      ASSERT_TRUE(append_senml(line, {"a", "%", value, Instant(Duration(ms)), true, false}));
      const auto pack = parser.parse(line, kNow);
      ASSERT_TRUE(pack) << line;
      EXPECT_EQ(pack->records[0].value, value) << line;
      EXPECT_EQ(std::signbit(pack->records[0].value), std::signbit(value)) << line;
      EXPECT_EQ(pack->records[0].time.time_since_epoch().count(), ms) << line;
    }
  }
}

/// A blank in front is enough to send a line the long way.
TEST(Senml, TheShortWayReadsWhatTheLongWayReads) {
  const std::vector<std::string> values = {"0",   "-0",     "31.2",  "-4",    "0.1",  "123456789012345", "1234567890123456",
                                           "01",  "1.",     ".5",    "-",     "1e3",  "0.000000000000001", "9007199254740993",
                                           "inf", "31.25e", "+1",    "-0.007", "12.345678901234", "12.3456789012345"};
  const std::vector<std::string> times = {"1772443800",  "1772443800.1", "1772443800.123", "1772443800.1234", "268435456", "268435455",
                                          "01772443800", "1772443800.",  "253402300799",   "99999999999.999", "-5", "1.7e9"};
  std::size_t short_ones = 0;
  SenmlRecord record;
  for (const std::string& value : values) {
    for (const std::string& time : times) {
      for (const char* unit : {"", R"("u":"Cel",)", R"("u":"",)", R"("u":"\u0041",)", "\"u\":\"\xc2\xb0\","}) {
        const std::string line = fmt::format(R"([{{"n":"house-1/air_temperature/north",{}"v":{},"t":{}}}])", unit, value, time);
        EXPECT_EQ(resolved(line), resolved(" " + line)) << line;
        short_ones += read_senml_line(line, record);
      }
    }
  }
  EXPECT_EQ(short_ones, 9U * 5U * 3U);
  for (const char* name : {"", "-a", "a b", "a\\/b", "A.b:c_d-e/f"}) {
    const std::string line = fmt::format(R"([{{"n":"{}","v":1,"t":1772443800}}])", name);
    EXPECT_EQ(resolved(line), resolved(" " + line)) << line;
  }
  const std::string line = R"([{"n":"a/b/c","u":"Cel","v":31.2,"t":1772443800.5}])";
  for (std::size_t i = 0; i < line.size(); ++i) {
    for (const char c : {'"', '0', '}', '\\', ' ', '\x80'}) {
      std::string other = line;
      other[i] = c;
      EXPECT_EQ(resolved(other), resolved(" " + other)) << other;
    }
    EXPECT_EQ(resolved(line.substr(0, i)), resolved(" " + line.substr(0, i))) << i;
  }
}

TEST(Senml, WritesMarks) {
  std::string line;
  append_senml_mark(line, "watch/zone", std::nullopt, "2025b");
  EXPECT_EQ(line, R"([{"n":"watch/zone","vs":"2025b"}])");
  line.clear();
  append_senml_mark(line, "watch/rules", kNow, "00ff");
  EXPECT_EQ(line, R"([{"n":"watch/rules","t":1772443800,"vs":"00ff"}])");
  line.clear();
  append_senml_mark(line, "watch/clock", kNow);
  EXPECT_EQ(line, R"([{"n":"watch/clock","t":1772443800}])");
}

}  // namespace
}  // namespace underwing
