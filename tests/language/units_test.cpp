// Goal: units convert exactly, and dimensions tell apart what cannot be compared.
// Method: conversions worked out by hand, or from NIST SP 811 (2008), appendix B, where said.

#include "rules/base/units.hpp"

#include <gtest/gtest.h>

#include "rules/base/issue.hpp"
#include "rules/base/time.hpp"

namespace underwing {
namespace {

TEST(Units, AreCanonicalAsComputedByHand) {
  struct Row {
    const char* unit;
    double written;
    double canonical;
  };
  const Row rows[] = {
      {"°C", 33, 33},        {"°F", 212, 100},  {"°F", 32, 0},     {"°F", -40, -40},
      {"F°", 9, 5},          {"K", 2, 2},       {"C°", 2, 2},      {"min", 30, 0.5},
      {"s", 90, 0.025},      {"d", 2, 48},      {"kg", 1.2, 1200}, {"mg", 500, 0.5},
      {"t", 1, 1e6},         {"mL", 250, 0.25}, {"m³", 1.5, 1500}, {"hPa", 1013.25, 101325},
      {"bar", 2, 2e5},       {"lb", 2, 907.18474},   {"gal", 10, 37.85411784}, {"kW", 3, 3000},   {"%", 70, 70},     {"ppm", 20, 20},
      {"L/kg", 1.8, 0.0018}, {"K/min", 3, 180}, {"m/s", 1, 3600},  {"g/d", 48, 2},
      {"L/h", 7, 7},         {"cm", 5, 0.05},   {"", 5, 5},
  };
  for (const Row& row : rows) {
    const auto unit = parse_unit(row.unit);
    ASSERT_TRUE(unit) << row.unit;
    EXPECT_NEAR(unit->to_canonical(row.written), row.canonical, 1e-9 * (1 + std::abs(row.canonical)))
        << row.unit;
    EXPECT_NEAR(unit->from_canonical(row.canonical), row.written, 1e-9 * (1 + std::abs(row.written)))
        << row.unit;
  }
}

/// Pairs of a published Fahrenheit number and what it is in Celsius, to a tenth, as computed by hand.
TEST(Units, ShowFahrenheitToWhomeverReadsIt) {
  const std::pair<double, double> rows[] = {{55, 12.8}, {68, 20.0}, {75, 23.9}, {82, 27.8}, {88, 31.1}, {90, 32.2}, {94, 34.4}, {97, 36.1}, {103, 39.4}, {105, 40.6}};
  const Unit celsius = *parse_unit("°C");
  for (const auto& [fahrenheit, tenth] : rows) {
    const double exact = parse_unit("°F")->to_canonical(fahrenheit);
    EXPECT_EQ(rounded(exact, celsius), tenth);
    EXPECT_EQ(with_unit(exact, shown_in(celsius, Units::us)), std::to_string(static_cast<int>(fahrenheit)) + " °F");
    EXPECT_EQ(with_unit(exact, shown_in(*parse_unit("°F"), Units::metric)), with_unit(exact, celsius));
  }
}

TEST(Units, AreShownInOneSystem) {
  struct Row {
    double canonical;
    const char* written;
    const char* metric;
    const char* us;
  };
  // A difference is not shifted by 32; the weights are of a chick, a bird of a week and a broiler.
  const Row rows[] = {
      {5, "K", "5 K", "9 F°"},           {5, "F°", "5 K", "9 F°"},         {60, "K/min", "1 K/min", "1.8 F°/min"},
      {-40, "°C", "-40 °C", "-40 °F"},   {42, "g", "42 g", "0.093 lb"},    {190, "g", "190 g", "0.419 lb"},
      {2500, "kg", "2.5 kg", "5.51 lb"}, {2500, "lb", "2.5 kg", "5.51 lb"}, {500, "L", "500 L", "132 gal"},
      {1, "mL", "1000 mL", "0.264 gal"}, {0.0018, "L/kg", "1.8 L/kg", "0.216 gal/lb"}, {0.012, "g/m³", "12 g/m³", "12 g/m³"},
      {20, "ppm", "20 ppm", "20 ppm"},   {70, "%", "70 %", "70 %"},        {7, "", "7", "7"},
  };
  for (const Row& row : rows) {
    const Unit unit = *parse_unit(row.written);
    EXPECT_EQ(with_unit(row.canonical, shown_in(unit, Units::metric)), row.metric) << row.written;
    EXPECT_EQ(with_unit(row.canonical, shown_in(unit, Units::us)), row.us) << row.written;
  }
}

TEST(Units, ThatAreNone) {
  for (const char* text : {"kelvin", "l", "g/", "/h", "g//h", "°C/h", "K/°F", " K", "K ", "°", "C"}) {
    EXPECT_FALSE(parse_unit(text)) << text;
  }
}

TEST(Units, OfADifference) {
  EXPECT_EQ(parse_unit("°C")->of_difference().text, "K");
  EXPECT_EQ(parse_unit("°F")->of_difference().text, "F°");
  EXPECT_DOUBLE_EQ(parse_unit("°F")->of_difference().to_canonical(18), 10);
  EXPECT_EQ(parse_unit("kg")->of_difference().text, "kg");
}

TEST(Units, ConvertOnlyWithinADimension) {
  const auto unit = [](const char* text) { return *parse_unit(text); };
  // NIST SP 811, B.8: t/°C = (t/°F - 32)/1.8.
  EXPECT_NEAR(*convert(91.4, unit("°F"), unit("°C")), 33, 1e-9);
  EXPECT_EQ(convert(1.5, unit("kg"), unit("g")), 1500);
  EXPECT_FALSE(convert(1, unit("kg"), unit("°C")));
  EXPECT_FALSE(convert(1, unit("K"), unit("°C")));
  EXPECT_FALSE(convert(1, unit("%"), unit("")));
  EXPECT_EQ(convert(0.65, unit(""), unit("%")), 65);
}

TEST(Units, OfSenMLRecords) {
  // RFC 8428, section 12.1.
  EXPECT_EQ(parse_senml_unit("Cel")->text, "°C");
  EXPECT_EQ(parse_senml_unit("%RH")->text, "%");
  EXPECT_EQ(parse_senml_unit("l")->text, "L");
  EXPECT_EQ(parse_senml_unit("/")->text, "");
  EXPECT_EQ(parse_senml_unit("m3")->text, "m³");
  EXPECT_FALSE(parse_senml_unit("cd"));
}

TEST(Words, ForSpansAndInstants) {
  using namespace std::chrono_literals;
  EXPECT_EQ(to_words(0s), "0 min");
  EXPECT_EQ(to_words(5min), "5 min");
  EXPECT_EQ(to_words(90min), "1 h 30 min");
  EXPECT_EQ(to_words(48h), "2 d");
  EXPECT_EQ(to_words(45s), "45 s");
  EXPECT_EQ(to_words(-6h), "-6 h");
  EXPECT_EQ(to_rfc3339(Instant(1772417640000ms)), "2026-03-02T02:14:00.000Z");
  EXPECT_EQ(to_rfc3339(Instant(-1ms)), "1969-12-31T23:59:59.999Z");
}

TEST(Words, NearestIsCloseOrNothing) {
  const std::vector<std::string> names = {"air_temperature", "water", "L"};
  EXPECT_EQ(nearest("air_temprature", names), "air_temperature");
  EXPECT_EQ(nearest("watter", names), "water");
  EXPECT_EQ(nearest("l", names), "L");
  EXPECT_FALSE(nearest("feed", names));
  EXPECT_FALSE(nearest("x", names));
}

}  // namespace
}  // namespace underwing
