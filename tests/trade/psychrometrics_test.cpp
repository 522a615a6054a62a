// Goal: the functions of air and vapour give what their published sources give.
// Method: ASHRAE's example and tables, as psychrolib's own tests cite them; psychrolib itself, from the npm
// registry, on a grid; the handbook's table of temperature at humidity; and a second implementation, written
// from the equations.
#include "rules/trade/psychrometrics.hpp"

#include <fmt/format.h>
#include <gtest/gtest.h>

#include <cmath>
#include <cstdlib>
#include <filesystem>
#include <fstream>
#include <nlohmann/json.hpp>

#include "tests/reference/plain_psychrometrics.hpp"

namespace underwing {
namespace {

using namespace psychrometrics;

TEST(Psychrometrics, AshraeExample1OfChapter1) {
  // Dry bulb 40 °C, wet bulb 20 °C, sea level: 6.5 g/kg, dew point 7 °C, 14 %.
  const double ratio = humidity_ratio_of_wet_bulb(40, 20, kSeaLevelPa);
  EXPECT_NEAR(ratio, 0.0065, 0.0001);
  const double vapour_pa = ratio * kSeaLevelPa / (0.621945 + ratio);
  const double rh = 100 * vapour_pa / saturation_pressure_pa(40);
  EXPECT_NEAR(rh, 14, 1);
  EXPECT_NEAR(dew_point_c(40, rh), 7, 0.5);
  EXPECT_NEAR(wet_bulb_c(40, rh), 20, 1e-6);
}

TEST(Psychrometrics, AshraeTables2And3) {
  EXPECT_NEAR(saturation_pressure_pa(5), 872.6, 872.6 * 3e-4);
  EXPECT_NEAR(saturation_pressure_pa(25), 3169.7, 3169.7 * 3e-4);
  EXPECT_NEAR(saturation_pressure_pa(50), 12351.3, 12351.3 * 3e-4);
  EXPECT_NEAR(humidity_ratio(saturation_pressure_pa(5), kSeaLevelPa), 0.005425, 0.005425 * 0.005);
  EXPECT_NEAR(humidity_ratio(saturation_pressure_pa(25), kSeaLevelPa), 0.020173, 0.020173 * 0.005);
}

TEST(Psychrometrics, AshraeTable1AndAirAt500Metres) {
  EXPECT_NEAR(pressure_pa(0), 101325, 1);
  EXPECT_NEAR(pressure_pa(500), 95461, 1);
  EXPECT_NEAR(pressure_pa(1000), 89875, 1);
  EXPECT_NEAR(humidity_ratio_of_wet_bulb(30, 25, 95461), 0.0192281, 0.0192281 * 0.0003);
}

TEST(Psychrometrics, Ashrae2005FunctionsAt1002Hectopascal) {
  EXPECT_NEAR(wet_bulb_c(22.9, 23, 100200), 11.64, 0.02);
  EXPECT_NEAR(dew_point_c(22.9, 23), 0.67, 0.03);
  EXPECT_NEAR(0.23 * saturation_pressure_pa(22.9), 642, 1);
}

TEST(Psychrometrics, StullIsAFewTenthsHighHere) {
  // Stull, Journal of Applied Meteorology and Climatology 50, 2011, equation 1: only a cross-check.
  const auto stull = [](double t, double rh) {
    return t * std::atan(0.151977 * std::sqrt(rh + 8.313659)) + std::atan(t + rh) - std::atan(rh - 1.676331) +
           0.00391838 * std::pow(rh, 1.5) * std::atan(0.023101 * rh) - 4.686035;
  };
  EXPECT_NEAR(stull(20, 50), 13.699, 0.001);
  for (const double t : {30.0, 33.0}) {
    for (const double rh : {50.0, 60.0}) {
      EXPECT_GT(stull(t, rh) - wet_bulb_c(t, rh), 0.15);
      EXPECT_LT(stull(t, rh) - wet_bulb_c(t, rh), 0.45);
    }
  }
}

/// Aviagen, Ross Broiler Management Handbook, 2014 and 2018: dry bulb at 40, 50, 60 and 70 % by age.
constexpr double kHandbook[][4] = {
    {36.0, 33.2, 30.8, 29.2}, {33.7, 31.2, 28.9, 27.3}, {32.5, 29.9, 27.7, 26.0}, {31.3, 28.6, 26.7, 25.0},
    {30.2, 27.8, 25.7, 24.0}, {29.0, 26.8, 24.8, 23.0}, {27.7, 25.5, 23.6, 21.9}, {26.9, 24.7, 22.7, 21.3},
    {25.7, 23.5, 21.7, 20.2}, {24.8, 22.7, 20.7, 19.3}};

TEST(FeltTemperature, HasEachCellOfTheHandbookWithinHalfAKelvinFromMemory) {
  double worst_k = 0;
  for (const auto& row : kHandbook) {
    for (int column = 0; column < 4; ++column) {
      for (int held = 0; held < 4; ++held) {
        const double felt_c = felt_temperature_c(row[column], 40 + 10 * column, 20, 40 + 10 * held);
        worst_k = std::max(worst_k, std::abs(felt_c - row[held]));
      }
    }
  }
  // The worst is day 27 from 60 to 40 %: 24.4 instead of 24.8 °C, and 0.36 K the other way. All others: 0.33
  // K.
  EXPECT_LT(worst_k, 0.41);
  EXPECT_GT(worst_k, 0.39);
}

TEST(FeltTemperature, RowsOfTheHandbookAreLinesOfEqualWetBulbFromMemory) {
  for (const auto& row : kHandbook) {
    double low = 100;
    double high = 0;
    double sum = 0;
    for (int column = 0; column < 4; ++column) {
      const double wet_bulb = wet_bulb_c(row[column], 40 + 10 * column);
      low = std::min(low, wet_bulb);
      high = std::max(high, wet_bulb);
      sum += wet_bulb;
    }
    // Day 27 is the widest, 0.31 K; the table prints tenths, which are 0.1 K of wet bulb at most.
    EXPECT_LT(high - low, 0.32) << row[0];
    // A cell lies within 0.25 K of the dry bulb that the row's middle wet bulb has at its humidity.
    for (int column = 0; column < 4; ++column) {
      const double rh = 40 + 10 * column;
      const double slope = (wet_bulb_c(row[column] + 0.1, rh) - wet_bulb_c(row[column] - 0.1, rh)) / 0.2;
      EXPECT_LT(std::abs(wet_bulb_c(row[column], rh) - sum / 4) / slope, 0.25) << row[column] << " at " << rh;
    }
  }
}

TEST(FeltTemperature, IsBoundedAndClamped) {
  EXPECT_DOUBLE_EQ(felt_temperature_c(33, 60, 1), 33);
  EXPECT_DOUBLE_EQ(felt_temperature_c(33, 40, 1), 32);
  EXPECT_DOUBLE_EQ(felt_temperature_c(33, 70, 1), 34);
  EXPECT_DOUBLE_EQ(felt_temperature_c(33, 45, 0), 33);
  EXPECT_DOUBLE_EQ(felt_temperature_c(33, 45, 20, 45), 33);
  EXPECT_DOUBLE_EQ(felt_temperature_c(33, 70, 20, 90), 33);
  EXPECT_DOUBLE_EQ(felt_temperature_c(33, 5, 20), felt_temperature_c(33, 40, 20));
  EXPECT_DOUBLE_EQ(felt_temperature_c(33, 99, 20), felt_temperature_c(33, 70, 20));
}

TEST(Psychrometrics, KnowNothingOutsideTheirRange) {
  for (const double rh : {-1.0, 100.1, std::nan("")}) {
    EXPECT_TRUE(std::isnan(wet_bulb_c(30, rh))) << rh;
    EXPECT_TRUE(std::isnan(dew_point_c(30, rh))) << rh;
    EXPECT_TRUE(std::isnan(felt_temperature_c(30, rh, 1))) << rh;
  }
  for (const double t : {-41.0, 81.0, std::nan("")}) EXPECT_TRUE(std::isnan(wet_bulb_c(t, 50))) << t;
  EXPECT_TRUE(std::isnan(dew_point_c(30, 0)));
  EXPECT_TRUE(std::isnan(felt_temperature_c(30, 50, -1)));
}

TEST(Psychrometrics, AgreeWithASecondImplementation) {
  for (double t = -39.7; t < 80; t += 2.3) {
    for (double rh = 0; rh <= 100; rh += 2.5) {
      for (const double air_pa : {kSeaLevelPa, 89875.0}) {
        EXPECT_NEAR(wet_bulb_c(t, rh, air_pa), *reference::plain_wet_bulb_c(t, rh, air_pa), 1e-9)
            << t << ' ' << rh;
      }
      const auto dew = reference::plain_dew_point_c(t, rh);
      EXPECT_EQ(std::isnan(dew_point_c(t, rh)), !dew) << t << ' ' << rh;
      if (dew) {
        EXPECT_NEAR(dew_point_c(t, rh), *dew, 1e-9) << t << ' ' << rh;
      }
      if (t < 2 || t > 45) continue;
      for (const double held : {45.0, 60.0}) {
        EXPECT_NEAR(felt_temperature_c(t, rh, 20, held),
                    *reference::plain_felt_temperature_c(t, rh, 20, held, kSeaLevelPa), 1e-9)
            << t << ' ' << rh;
      }
    }
  }
}

TEST(Psychrometrics, AgreeWithPsychrolibOnAGridOf2000Points) {
  namespace fs = std::filesystem;
  const fs::path modules = fs::path(UNDERWING_BINARY_DIR) / "psychrolib";
  if (std::system("command -v node npm > /dev/null") != 0)
    GTEST_SKIP() << "node and npm are needed for psychrolib; Debian's packages are nodejs and npm";
  if (!fs::exists(modules / "node_modules" / "psychrolib")) {
    const std::string install = fmt::format(
        "npm install --prefix '{}' --no-audit --no-fund psychrolib@1.1.1 > /dev/null 2>&1", modules.string());
    if (std::system(install.c_str()) != 0)
      GTEST_SKIP() << "psychrolib cannot be installed from the npm registry";
  }
  const fs::path grid = modules / "grid.jsonl";
  const std::string run =
      fmt::format("node '{}/tests/trade/psychrolib.cjs' '{}' > '{}'", UNDERWING_SOURCE_DIR,
                  (modules / "node_modules").string(), grid.string());
  ASSERT_EQ(std::system(run.c_str()), 0);
  std::ifstream file(grid);
  int count = 0;
  for (std::string line; std::getline(file, line); ++count) {
    const auto point = nlohmann::json::parse(line).get<std::vector<double>>();
    // psychrolib looks for a wet bulb to 0.001 K.
    EXPECT_NEAR(wet_bulb_c(point[0], point[1]), point[2], 0.002) << line;
    EXPECT_NEAR(dew_point_c(point[0], point[1]), point[3], 0.002) << line;
    EXPECT_NEAR(humidity_ratio(point[1] / 100 * saturation_pressure_pa(point[0]), kSeaLevelPa), point[4],
                1e-6)
        << line;
  }
  EXPECT_EQ(count, 2000);
}

}  // namespace
}  // namespace underwing
