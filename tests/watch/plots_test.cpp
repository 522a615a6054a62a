// Goal: the morning's mail, and no other message, can show how the air of each house was since the last one: bounded,
// with gaps where nobody knew it, over a restart too. Method: the bench; plots as JSON, numbers and words compared whole.

#include <gtest/gtest.h>

#include <nlohmann/json.hpp>

#include "daemon/plots.hpp"
#include "tests/watch/bench.hpp"

namespace underwing {
namespace {

using namespace std::chrono_literals;
using nlohmann::json;

constexpr std::size_t kLineBytesMax = std::size_t{1} << 20;  // plugins/README.md

/// Ines is told of everything by mail, too.
FarmTexts with_mail() {
  FarmTexts texts;
  FarmTexts::change(texts.farm, "note: {daily: \"06:30\", tell: on-duty, by: text}", "note: {daily: \"06:30\", tell: ines, by: [text, mail]}");
  FarmTexts::change(texts.farm, "{after: 0 min, tell: on-duty, by: [text, call]}", "{after: 0 min, tell: on-duty, by: [text, mail]}");
  return texts;
}

class Plots : public ::testing::Test {
 protected:
  explicit Plots(FarmTexts texts = with_mail(), Instant begin = march(3, 20)) : bench(texts.load(), begin) {
    bench.outcome = [this](const Delivery& delivery) {
      deliveries.push_back(delivery);
      return Delivery::Outcome::sent;
    };
  }
  [[nodiscard]] json plots_of(const Delivery& delivery) { return plots(bench.watch(), *delivery.plotted, english()); }

  Bench bench;
  std::vector<Delivery> deliveries;
};

/// Places of nulls: "36-39 50-51", both counted in.
std::string gaps(const json& list) {
  std::string text;
  for (std::size_t i = 0; i < list.size(); ++i) {
    if (!list[i].is_null()) continue;
    std::size_t last = i;
    while (last + 1 < list.size() && list[last + 1].is_null()) ++last;
    text += (text.empty() ? "" : " ") + std::to_string(i) + "-" + std::to_string(last);
    i = last;
  }
  return text;
}

TEST_F(Plots, OnlyTheSummaryByMailHasThem) {
  bench.air(28);
  bench.run_to(march(3, 20, 30));
  bench.air(33);
  bench.run_to(march(4, 6, 29));
  std::size_t mails = 0;
  for (const Delivery& delivery : deliveries) {
    mails += delivery.way == Way::mail;
    EXPECT_FALSE(delivery.plotted) << delivery.text;
  }
  EXPECT_GE(mails, 1U);
  deliveries.clear();
  bench.run_to(march(4, 6, 30));
  ASSERT_EQ(deliveries.size(), 2U);
  for (const Delivery& delivery : deliveries) EXPECT_EQ(delivery.plotted.has_value(), delivery.way == Way::mail);
  deliveries.clear();
  bench.run_to(march(4, 21, 1));
  ASSERT_FALSE(deliveries.empty());
  for (const Delivery& delivery : deliveries) EXPECT_FALSE(delivery.plotted) << "the evening check";
}

TEST_F(Plots, SayHowTheNightWas) {
  bench.run_to(march(3, 22));
  bench.air(28);
  bench.run_to(march(3, 23));
  bench.air(33.5);
  bench.run_to(march(4, 2));
  bench.silence("house-1/air_temperature/north");
  bench.silence("house-1/air_temperature/south");
  bench.run_to(march(4, 2, 40));
  bench.air(33);
  bench.run_to(march(4, 6, 30));
  const json all = plots_of(deliveries.back());
  ASSERT_EQ(all.size(), 1U) << "house-2 has no flock";
  const json& plot = all.front();
  EXPECT_EQ(plot["title"], "house-1, day 2");
  EXPECT_EQ(plot["unit"], "°C");
  EXPECT_EQ(plot["begin"], 1772568000.0) << "20:00";
  EXPECT_EQ(plot["every_s"], 600);
  for (const char* list : {"lowest", "highest", "low", "high"}) EXPECT_EQ(plot[list].size(), 63U) << list;
  EXPECT_EQ(plot["lowest"][11], 33.0);
  EXPECT_EQ(plot["lowest"][12], 28.0);
  EXPECT_EQ(plot["highest"][12], 33.0) << "at 22:00 itself";
  EXPECT_EQ(plot["highest"][13], 28.0);
  EXPECT_EQ(plot["highest"][18], 33.5);
  // Probes hold for five minutes: known in no more than half of the minutes from 02:00 to 02:10.
  EXPECT_EQ(gaps(plot["lowest"]), "36-39") << plot["lowest"];
  EXPECT_EQ(gaps(plot["highest"]), "36-39");
  EXPECT_EQ(gaps(plot["low"]), "") << "limits by age are known all the same";
  EXPECT_NEAR(plot["low"][0].get<double>(), 33 - 5.0 * 34.5 / 240 - 2, 0.02);
  EXPECT_EQ(plot["high"][62], 40.0);
  EXPECT_EQ(plot["ticks"], json::parse(R"([[1772568000.0,"20:00"],[1772575200.0,"22:00"],[1772582400.0,"00:00"],
      [1772589600.0,"02:00"],[1772596800.0,"04:00"],[1772604000.0,"06:00"]])"));
  EXPECT_EQ(plot["no_data"], "no data");
  EXPECT_EQ(plot["alt"],
            "house-1, day 2, air since 20:00: least 28.0 °C at 22:00, most 33.5 °C at 23:00. Under its low limit 22:00-23:10. "
            "Not known 02:00-02:40.");
}

TEST_F(Plots, AQuietNightIsSaidToBeOne) {
  bench.run_to(march(4, 6, 30));
  EXPECT_EQ(plots_of(deliveries.back())[0]["alt"],
            "house-1, day 2, air since 20:00: least 33.0 °C at 20:00, most 33.0 °C at 20:00. Within its limits wherever it is known.");
}

/// Wherever the ten minutes begin.
TEST_F(Plots, TenMinutesWithoutAirAreAGap) {
  for (int begin = 0; begin < 10; ++begin) {
    SCOPED_TRACE(begin);
    Bench fresh(with_mail().load());
    fresh.run_to(march(3, 22, begin));
    fresh.silence("house-1/air_temperature/north");
    fresh.silence("house-1/air_temperature/south");
    fresh.run_to(march(3, 22, begin + 15));
    fresh.air(33);
    fresh.run_to(march(4, 0));
    const json all = plots(fresh.watch(), {march(3, 20), march(4, 0)}, english());
    EXPECT_NE(gaps(all[0]["lowest"]), "");
  }
}

/// Probes that read are not enough: what no rule can judge is not shown as if one had.
TEST(PlotsOfBlindRules, HaveAGapWhereProbesReadAgain) {
  FarmTexts texts = with_mail();
  for (std::string* pack : {&texts.pack, &texts.yard}) {
    FarmTexts::change(*pack, "watch: median(air_temperature)", "watch: median(mean(air_temperature over 1 h))");
  }
  Bench bench(texts.load());
  bench.run_to(march(3, 22));
  bench.silence("house-1/air_temperature/north");
  bench.silence("house-1/air_temperature/south");
  bench.run_to(march(3, 23, 20));
  bench.air(33);
  bench.run_to(march(4, 2));
  // An hour's mean needs half of it: until 20:30 as the watch began, and until 23:50 though probes read from 23:21 on.
  EXPECT_EQ(gaps(plots(bench.watch(), {march(3, 20), march(4, 2)}, english())[0]["lowest"]), "0-2 14-22");
}

TEST_F(Plots, ShowADayAndKeepLittleMore) {
  bench.run_to(march(6, 6, 30));
  const json day = plots_of(deliveries.back());
  EXPECT_EQ(day[0]["begin"], 1772692200.0) << "06:30 of the day before";
  EXPECT_EQ(day[0]["lowest"].size(), 144U);
  EXPECT_EQ(gaps(day[0]["lowest"]), "");
  EXPECT_LE(bench.watch().air_kept("house-1").size(), 150U);
  EXPECT_TRUE(bench.watch().air_kept("house-2").empty());
}

TEST_F(Plots, ARestartLosesTheOutageAlone) {
  bench.run_to(march(4, 1));
  bench.restart(bench.watch().snapshot(), 1h);
  bench.run_to(march(4, 6, 30));
  const json all = plots_of(deliveries.back());
  EXPECT_EQ(all[0]["lowest"].size(), 63U);
  EXPECT_EQ(gaps(all[0]["lowest"]), "30-35") << all[0]["lowest"];
}

TEST_F(Plots, AMailThatIsSentAgainAfterACrashHasTheSame) {
  bench.run_to(march(4, 6, 29));
  bench.outcome = [this](const Delivery& delivery) {
    deliveries.push_back(delivery);
    return Delivery::Outcome::open;
  };
  bench.run_to(march(4, 6, 30));
  const Delivery mail = deliveries.back();
  ASSERT_TRUE(mail.plotted);
  const json before = plots_of(mail);
  deliveries.clear();
  bench.restart(bench.watch().snapshot(), 20min);
  const auto again = std::find_if(deliveries.begin(), deliveries.end(), [&](const Delivery& delivery) { return delivery.id == mail.id; });
  ASSERT_NE(again, deliveries.end());
  ASSERT_TRUE(again->plotted);
  EXPECT_EQ(plots_of(*again), before);
}

TEST_F(Plots, ASnapshotWithoutThemIsUnderstood) {
  bench.run_to(march(4, 1));
  bench.watch().plugin("modem", false, "no SIM card");
  json snapshot = json::parse(bench.watch().snapshot());
  ASSERT_EQ(snapshot.erase("air"), 1U);
  for (json& delivery : snapshot["deliveries"]) delivery.erase("plotted");
  for (json& mail : snapshot["mail"]) {
    for (json& waiting : mail[4]) waiting.erase("plotted");
  }
  bench.restart(snapshot.dump(), 1min);
  bench.run_to(march(4, 6, 30));
  EXPECT_EQ(gaps(plots_of(deliveries.back())[0]["lowest"]), "0-29");
}

TEST_F(Plots, TooShortATimeShowsNothing) {
  bench.run_to(march(3, 20, 29));
  EXPECT_EQ(plots(bench.watch(), {march(3, 20), march(3, 20, 29)}, english()), json::array());
  bench.run_to(march(3, 20, 30));
  EXPECT_EQ(plots(bench.watch(), {march(3, 20), march(3, 20, 30)}, english()).size(), 1U);
}

class PlotsInSpring : public Plots {
 protected:
  PlotsInSpring() : Plots(with_mail(), march(28, 12)) {}
};

TEST_F(PlotsInSpring, TheirHoursAreThoseOnTheFarmsClock) {
  bench.run_to(march(29, 5, 30));
  const json ticks = plots_of(deliveries.back())[0]["ticks"];
  EXPECT_EQ(ticks, json::parse(R"([[1774699200.0,"12:00"],[1774710000.0,"15:00"],[1774720800.0,"18:00"],[1774731600.0,"21:00"],
      [1774742400.0,"00:00"],[1774749600.0,"03:00"],[1774760400.0,"06:00"]])"))
      << ticks;
}

/// Thirty houses of the longest day.
TEST(PlotsOfManyHouses, FitIntoALine) {
  FarmTexts texts = with_mail();
  FarmFiles files = texts.files();
  std::string more;
  for (int house = 3; house <= 32; ++house) {
    const std::string name = "house-" + std::to_string(house) + std::string(40, 'x');
    more += "  " + name + ": {probes: {air_temperature: [east]}}\n";
    std::string flock = texts.flock;
    FarmTexts::change(flock, "flock: spring-1", "flock: spring-" + std::to_string(house));
    FarmTexts::change(flock, "house: house-1", "house: " + name);
    files.flocks["flocks/spring-" + std::to_string(house) + ".yaml"] = flock;
  }
  FarmTexts::change(files.farm_text, "plugins:\n", more + "plugins:\n");
  Bench bench(load_or_throw(files), march(3, 6, 30));
  double value = 33;
  for (Instant hour = march(3, 7); hour <= march(4, 6, 30); hour += 10min) {
    for (const auto& [probe, reading] : bench.readings()) {
      if (probe.find("air_temperature") != std::string::npos) bench.set(probe, value);
    }
    value = 31.11 + (value < 33 ? 2.22 : 0);
    bench.run_to(hour);
  }
  const json all = plots(bench.watch(), {march(3, 6, 30), march(4, 6, 30)}, english());
  EXPECT_EQ(all.size(), kPlotsMax);
  for (const json& plot : all) EXPECT_LT(plot.dump().size(), 6U * 1024);
  EXPECT_LT(all.dump().size(), kLineBytesMax / 6);
}

}  // namespace
}  // namespace underwing
