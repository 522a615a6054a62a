// Goal: the whole way from a heater that fails at night to a person who stands in the house, over everything that can go
// wrong in between: the modem swallows the first text, the person on duty never answers, the next one's first answer comes
// from a number that is nobody's, he passes, the third says OK and does not come. Method: the real daemon and the real sms
// plugin with libgammu against the scripted modem. How time runs: engine time is the readings' time, a minute a reading, and
// each minute is settled (journal written, receipts in) before the next; the modem and its plugin run in real time.

#include <fmt/format.h>
#include <gtest/gtest.h>

#include <chrono>
#include <filesystem>
#include <fstream>

#include "daemon/journal.hpp"
#include "tests/e2e/stepped.hpp"
#include "tests/plugins/scripted_modem.hpp"

namespace underwing::test {
namespace {

using namespace std::chrono_literals;

constexpr const char* kInes = "+447700900101";
constexpr const char* kTomas = "+447700900102";
constexpr const char* kMaud = "+447700900103";
constexpr const char* kNobody = "+447700900177";

const std::string kFarm = R"(format: 1
farm: Sandpiper Hollow
time_zone: Europe/London
houses:
  house-1: {{probes: {{air_temperature: [north]}}}}
plugins:
  {2}
  modem:
    run: sms
    settings: {{device: {1}, memory: {0}/memory.json, pace: 100 ms, send_within: 3 s, settle: 500 ms, ring_for: 1 s, read_store_every: 2 s}}
people:
  ines:  {{text: "+44 7700 900101", call: "+44 7700 900101", away: 10 min}}
  tomas: {{text: "+44 7700 900102", away: 25 min}}
  maud:  {{text: "+44 7700 900103", away: 4 min}}
duty: [{{who: ines}}]
call_out:
  urgent:
    - {{after: 0 min, tell: on-duty, by: text}}
    - {{after: 3 min, tell: on-duty, by: call}}
    - {{after: 6 min, tell: tomas, by: text}}
    - {{after: 30 min, tell: maud, by: text, then_every: 10 min}}
  soon: [{{after: 0 min, tell: on-duty, by: text}}]
  note: {{daily: "06:30", tell: on-duty, by: text}}
)";

const std::string kPack = R"(format: 1
pack: own
rules:
  cold-air:
    about: Air is too cold
    watch: air_temperature
    low: 30 °C
    deadband: 0.5 K
    on_delay: 1 min
    off_delay: 2 min
    priority: urgent
    respond_within: 60 min
    do: Look at the chicks first. Then gas, heaters, curtains.
)";

/// The night of that farm, minute by minute.
class Night {
 public:
  Night() {
    gateway_.begin(fmt::format(fmt::runtime(kFarm), gateway_.path("."), modem.device(), gateway_.plugin_entry()), kPack, reading());
    wait_until_ready(gateway_, [&](const nlohmann::json& plugin) { return plugin["plugin"] != "modem" || modem.count_of("AT+CREG?") > 0; });
  }

  /// A minute passes: the reading of its end, and all that it leads to. The heater is out from 02:00 until it is mended.
  void minute() {
    time_ += 1min;
    if (time_ > kHeaterFails) air_ += mended_ ? 1.0 : -0.5;
    gateway_.step(reading(), seconds_now());
  }
  void minutes(int count) {
    for (int i = 0; i < count; ++i) minute();
  }
  void mend() { mended_ = true; }

  /// A text comes in; waits until the journal has it.
  void text_from(const std::string& number, const std::string& text) {
    const std::size_t before = answers().size();
    modem.push_text(deliver_pdu(number, text));
    ASSERT_TRUE(wait_until([&] { return answers().size() > before; })) << gateway_.log();
  }

  /// The text to that number that has this in it; empty where none comes.
  std::string text_to(const std::string& number, const std::string& part) {
    for (;;) {
      const auto fits = [&](const Submitted& text) { return text.number == number && text.text.find(part) != std::string::npos; };
      const auto found = std::find_if(texts_.begin(), texts_.end(), fits);
      if (found != texts_.end()) {
        const std::string text = found->text;
        texts_.erase(found);
        return text;
      }
      auto next = modem.submitted();
      if (!next) return "";
      texts_.push_back(std::move(*next));
    }
  }

  [[nodiscard]] nlohmann::json alarm() const { return gateway_.alarm("cold-air"); }

  /// What the journal tells of the alarm, its call-out and the answers, in the order of its times.
  [[nodiscard]] std::string story() const {
    std::vector<std::pair<std::string, std::string>> lines;
    const auto add = [&](const std::string& time, const std::string& text) { lines.emplace_back(time, time.substr(11, 5) + " " + text + "\n"); };
    for (const AnswerRow& row : answers()) add(to_rfc3339(row.time), fmt::format("{}: {}", row.who.empty() ? "a stranger" : row.who, row.text));
    for (const std::string& line : gateway_.events()) {
      const auto event = nlohmann::json::parse(line);
      const std::string time = event["time"];
      const std::string kind = event["event"];
      if (kind == "raised" || kind == "returned") add(time, kind);
      if (kind == "acknowledged") add(time, fmt::format("{} has it", event["who"].get<std::string>()));
      if (kind == "told" && event["step"] != 0) {
        add(time, fmt::format("step {}, {} by {}", event["step"].get<int>(), event["who"].get<std::string>(), event["by"].get<std::string>()));
      }
    }
    std::stable_sort(lines.begin(), lines.end(), [](const auto& a, const auto& b) { return a.first < b.first; });
    std::string all;
    for (const auto& [time, line] : lines) all += line;
    return all;
  }

  ScriptedModem modem;

 private:
  static constexpr Instant kHeaterFails{std::chrono::sys_days(std::chrono::year(2026) / 3 / 7) + 2h};

  [[nodiscard]] std::int64_t seconds_now() const { return std::chrono::duration_cast<std::chrono::seconds>(time_.time_since_epoch()).count(); }
  [[nodiscard]] std::string reading() const {
    return fmt::format("[{{\"n\":\"house-1/air_temperature/north\",\"u\":\"Cel\",\"v\":{},\"t\":{}}}]\n", air_, seconds_now());
  }
  [[nodiscard]] std::vector<AnswerRow> answers() const {
    auto journal = JournalReader::open(gateway_.path("state/journal.db"));
    if (!journal.ok()) return {};
    const auto rows = journal->answers_since(Instant{});
    return rows.ok() ? *rows : std::vector<AnswerRow>{};
  }

  SteppedGateway gateway_;
  Instant time_ = kHeaterFails - 5min;
  double air_ = 33;
  bool mended_ = false;
  std::vector<Submitted> texts_;
};

TEST(CallOut, SomebodyStandsInTheHouseInTheEnd) {
  Night night;
  ScriptedModem& modem = night.modem;
  modem.lose_ok = true;  // the first text disappears in the modem
  for (int i = 0; i < 20 && modem.submitted_count() == 0; ++i) night.minute();
  const std::string first = night.text_to(kInes, "H1 COLD");
  ASSERT_NE(first.find("Reply OK "), std::string::npos) << first;
  const std::string code = first.substr(first.find("Reply OK ") + 9, 2);
  modem.lose_ok = false;

  // The first text failed, and so ines's telephone rings at once instead of three minutes later. She sleeps on.
  EXPECT_TRUE(modem.wait_for("ATD"));
  night.minutes(6);
  ASSERT_NE(night.text_to(kTomas, "H1 COLD"), "") << night.story();
  modem.push_report(report_pdu(kTomas, modem.last_reference(), 0x00));
  night.minute();

  const std::size_t before = modem.submitted_count();
  night.text_from(kNobody, "OK " + code);
  night.minute();
  EXPECT_EQ(night.alarm()["state"], "unacknowledged");
  EXPECT_EQ(modem.submitted_count(), before) << "a stranger is not answered";

  // maud's turn would be in 22 minutes; passing brings it at once.
  const auto passed = std::chrono::steady_clock::now();
  night.text_from(kTomas, "Pass.");
  ASSERT_NE(night.text_to(kMaud, "H1 COLD"), "") << night.story();
  EXPECT_LT(std::chrono::steady_clock::now() - passed, 10s);
  EXPECT_NE(night.text_to(kTomas, "Passed on: H1 COLD"), "");
  night.minute();

  night.text_from(kMaud, "ok");
  EXPECT_NE(night.text_to(kMaud, "Send HERE when you are there."), "");
  EXPECT_NE(night.text_to(kTomas, "maud has it"), "");
  EXPECT_EQ(night.alarm()["state"], "acknowledged");
  const std::size_t rung = modem.count_of("ATD");
  night.minutes(9);  // her four minutes to the house, and five more
  EXPECT_EQ(modem.count_of("ATD"), rung) << "nobody else is called while she is on her way";

  // She is not there: the steps go on from the second one.
  night.minute();
  EXPECT_EQ(modem.count_of("ATD"), rung + 1);
  night.minutes(3);
  ASSERT_NE(night.text_to(kTomas, "H1 COLD"), "") << night.story();
  night.text_from(kTomas, "HERE");
  EXPECT_NE(night.text_to(kTomas, "You are there: H1 COLD"), "");
  night.mend();
  night.minutes(20);
  for (const char* who : {kInes, kTomas, kMaud}) EXPECT_NE(night.text_to(who, "H1 back to normal"), "") << who;
  EXPECT_EQ(night.story(), fmt::format(R"(02:08 raised
02:08 step 1, ines by text
02:09 step 2, ines by call
02:14 step 3, tomas by text
02:16 a stranger: OK {}
02:17 tomas: Pass.
02:17 step 4, maud by text
02:18 maud: ok
02:18 maud has it
02:27 step 2, ines by call
02:30 step 3, tomas by text
02:31 tomas: HERE
02:31 tomas has it
02:46 returned
)", code));
}

}  // namespace
}  // namespace underwing::test
