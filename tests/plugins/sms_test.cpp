// Goal: a text reaches the modem once, in one part, and everything that the network says about it reaches the daemon,
// whatever the modem does on the way. Method: the real plugin with the real libgammu over a pseudo-terminal against a
// scripted modem, which reads and writes PDUs by its own reading of 3GPP TS 23.040.
#include <fmt/format.h>
#include <gtest/gtest.h>
#include <sys/stat.h>

#include "plugins/sms/inbox.hpp"
#include "plugins/sms/memory.hpp"
#include "rules/languages/gsm.hpp"
#include "tests/plugins/child.hpp"
#include "tests/plugins/scripted_modem.hpp"

namespace underwing::test {
namespace {

constexpr const char* kInes = "+44 7700 900101";
constexpr const char* kInesDigits = "+447700900101";
constexpr const char* kText = "H1 COLD 28.6 C, wants 31 (day 2). GO NOW: look. Reply OK K7";

/// The plugin with a memory that outlives it.
class Phone {
 public:
  explicit Phone(ScriptedModem& modem, nlohmann::json more = nlohmann::json::object()) : modem_(modem), more_(std::move(more)) { start(); }

  void start() {
    child_ = std::make_unique<Child>(std::vector<std::string>{plugin("sms")});
    nlohmann::json settings = {{"device", modem_.device()}, {"memory", folder_.path("memory.json")}, {"pace", "100 ms"},
                               {"send_within", "3 s"}, {"settle", "500 ms"}, {"ring_for", "1 s"}, {"read_store_every", "2 s"}};
    settings.update(more_);
    child_->send_message(settings_message(settings));
  }
  void kill() { child_->stop(SIGKILL), child_.reset(); }

  void deliver(const std::string& id, const std::string& by = "text", const std::string& text = kText) {
    child_->send_message({{"jsonrpc", "2.0"}, {"method", "deliver"},
                          {"params", {{"delivery", id}, {"to", kInes}, {"by", by}, {"text", text}, {"who", "ines"}, {"priority", "urgent"}}}});
  }
  nlohmann::json receipt() { return child_->message("receipt"); }
  /// libgammu itself waits for a prompt for longer than a test has patience; the daemon has more.
  nlohmann::json late_receipt() {
    for (int i = 0; i < 3; ++i) {
      if (const auto json = receipt(); !json.is_null()) return json;
    }
    return receipt();
  }
  /// The next reply, of which nothing is said to the plugin: the whole request.
  nlohmann::json untaken_reply() {
    return child_->line_where([](const auto& json) { return json.is_object() && json.value("method", "") == "reply"; });
  }
  void take(const nlohmann::json& request) { child_->send_message({{"jsonrpc", "2.0"}, {"id", request["id"]}, {"result", nlohmann::json::object()}}); }
  nlohmann::json reply() {
    const auto request = untaken_reply();
    if (request.is_null()) return request;
    take(request);
    return request["params"];
  }
  nlohmann::json health(bool ok) {
    return child_->line_where([&](const auto& json) { return json.is_object() && json.value("method", "") == "health" && json["params"]["ok"] == ok; })["params"];
  }
  Child& child() { return *child_; }
  [[nodiscard]] const TemporaryFolder& folder() const { return folder_; }

 private:
  ScriptedModem& modem_;
  nlohmann::json more_;
  TemporaryFolder folder_;
  std::unique_ptr<Child> child_;
};

TEST(Sms, SendsOnePartWithAReportAskedForValidForAnHour) {
  ScriptedModem modem;
  Phone phone(modem);
  EXPECT_EQ(phone.health(true)["text"], "signal 60 %, home network");
  phone.deliver("d-1");
  const auto receipt = phone.receipt();
  EXPECT_EQ(receipt["delivery"], "d-1");
  EXPECT_EQ(receipt["outcome"], "sent");
  const auto sent = modem.submitted();
  ASSERT_TRUE(sent);
  EXPECT_EQ(sent->number, kInesDigits);
  EXPECT_EQ(sent->text, kText);
  EXPECT_TRUE(sent->wants_report);
  EXPECT_EQ(sent->coding, 0);      // the 7-bit default alphabet: TS 23.038, 4
  EXPECT_EQ(sent->validity, 0x0b);  // (11 + 1) × 5 min: TS 23.040, 9.2.3.12.1

  modem.push_report(report_pdu(kInesDigits, modem.last_reference(), 0x00));
  const auto report = phone.receipt();
  EXPECT_EQ(report["delivery"], "d-1");
  EXPECT_EQ(report["outcome"], "delivered");
}

TEST(Sms, CutsWhatDoesNotFitIntoOnePart) {
  ScriptedModem modem;
  Phone phone(modem);
  phone.deliver("d-1", "text", std::string(200, 'a'));
  EXPECT_EQ(phone.receipt()["outcome"], "sent");
  const auto sent = modem.submitted();
  ASSERT_TRUE(sent);
  EXPECT_EQ(sent->text, std::string(160, 'a'));
}

/// What an independent implementation (gsm7 from the npm registry, put into the build folder) reads in packed septets.
std::string decoded_elsewhere(const std::string& user_data) {
  const std::string folder = UNDERWING_BINARY_DIR "/tests/plugins/gsm7";
  const std::string command = fmt::format(
      "mkdir -p {0} && {{ test -d {0}/node_modules/gsm7 || npm install --silent --no-audit --no-fund --prefix {0} gsm7@1.3.1 >/dev/null; }} && "
      "node -e 'process.stdout.write(require(\"{0}/node_modules/gsm7\").decode(Buffer.from(\"{1}\", \"hex\")))'", folder, user_data);
  std::string text;
  FILE* pipe = popen(command.c_str(), "r");
  for (int c = std::fgetc(pipe); c != EOF; c = std::fgetc(pipe)) text += static_cast<char>(c);
  return pclose(pipe) == 0 ? text : "gsm7 cannot be used: Debian's packages are nodejs and npm";
}

// TS 23.038, 6.2.1 and 6.2.1.1: the whole alphabet but line ends, and its extension table but the form feed.
TEST(Sms, TheWholeAlphabetGoesOutAsItIs) {
  ScriptedModem modem;
  Phone phone(modem);
  const std::string alphabet =
      "A@£$¥èéùìòÇØøÅåΔ_ΦΓΛΩΠΨΣΘΞÆæßÉ !\"#¤%&'()*+,-./0123456789:;<=>?¡ABCDEFGHIJKLMNOPQRSTUVWXYZÄÖÑÜ§¿"
      "abcdefghijklmnopqrstuvwxyzäöñüà^{}\\[~]|€";
  // 144 septets fill 126 octets; spare bits would read as one more character where the count is not known.
  ASSERT_EQ(gsm_length(alphabet), 144U);
  phone.deliver("d-1", "text", alphabet);
  ASSERT_EQ(phone.receipt()["outcome"], "sent");
  const auto sent = modem.submitted();
  ASSERT_TRUE(sent);
  EXPECT_EQ(sent->coding, 0);
  EXPECT_EQ(sent->septets, static_cast<int>(gsm_length(alphabet)));
  EXPECT_EQ(decoded_elsewhere(sent->user_data), alphabet);
}

TEST(Sms, TakesRepliesPushedAndStoredOnce) {
  ScriptedModem modem;
  modem.store_text(deliver_pdu("+447700900102", "OK P9"), false);  // came while nobody listened
  Phone phone(modem);
  auto reply = phone.reply();
  EXPECT_EQ(reply["from"], "+447700900102");
  EXPECT_EQ(reply["text"], "OK P9");
  EXPECT_EQ(reply["by"], "text");
  EXPECT_EQ(reply["time"], 1772500140.0) << reply;  // 2026-03-03T02:09:00, four quarters ahead of UTC
  modem.push_text(deliver_pdu(kInesDigits, "OK K7"));
  reply = phone.reply();
  EXPECT_EQ(reply["from"], kInesDigits);
  EXPECT_EQ(reply["text"], "OK K7");
  modem.store_text(deliver_pdu(kInesDigits, "HERE"));
  EXPECT_EQ(phone.reply()["text"], "HERE");
  // The store does not fill.
  EXPECT_TRUE(modem.wait_for("AT+CMGD=", 2));
  EXPECT_EQ(modem.stored(), 0U);
}

TEST(Sms, JoinsALongTextWhateverPartComesFirst) {
  ScriptedModem modem;
  Phone phone(modem);
  static_cast<void>(phone.health(true));
  modem.push_text(deliver_part_pdu(kInesDigits, "and then the rest", 7, 2, 2));
  modem.push_text(deliver_part_pdu(kInesDigits, "First a bit ", 7, 1, 2));
  EXPECT_EQ(phone.reply()["text"], "First a bit and then the rest");
}

TEST(Sms, AReplyStaysInTheStoreUntilTheDaemonHasItAndIsOneReply) {
  ScriptedModem modem;
  Phone phone(modem);
  static_cast<void>(phone.health(true));
  modem.store_text(deliver_pdu(kInesDigits, "OK K7"));
  const auto first = phone.untaken_reply();
  ASSERT_EQ(first["params"]["text"], "OK K7");
  // The store is read again, and then the power goes, while the daemon has not said that it has it.
  ASSERT_TRUE(modem.wait_for("AT+CMGL=", modem.count_of("AT+CMGL=") + 2));
  EXPECT_EQ(modem.stored(), 1U);
  EXPECT_EQ(modem.count_of("AT+CMGD="), 0U);
  phone.kill();
  phone.start();
  const auto again = phone.untaken_reply();
  EXPECT_EQ(again["params"], first["params"]);  // its key, too
  phone.take(again);
  ASSERT_TRUE(modem.wait_for("AT+CMGD="));
  EXPECT_EQ(modem.stored(), 0U);
  modem.store_text(deliver_pdu(kInesDigits, "HERE"));
  const auto next = phone.reply();
  EXPECT_EQ(next["text"], "HERE");
  EXPECT_NE(next["key"], first["params"]["key"]);
}

TEST(Sms, PartsOfALongTextOutliveThePlugin) {
  ScriptedModem modem;
  Phone phone(modem);
  static_cast<void>(phone.health(true));
  const std::size_t read = modem.count_of("AT+CMGL=");
  modem.store_text(deliver_part_pdu(kInesDigits, "and then the rest", 7, 2, 2));
  ASSERT_TRUE(modem.wait_for("AT+CMGL=", read + 2));
  phone.kill();
  phone.start();
  static_cast<void>(phone.health(true));
  EXPECT_EQ(modem.stored(), 1U);
  modem.store_text(deliver_part_pdu(kInesDigits, "First a bit ", 7, 1, 2));
  EXPECT_EQ(phone.reply()["text"], "First a bit and then the rest");
  ASSERT_TRUE(modem.wait_for("AT+CMGD=", 2));
  EXPECT_EQ(modem.stored(), 0U);
}

TEST(Sms, ReportsFindTheirOwnTextAndNoOther) {
  ScriptedModem modem;
  Phone phone(modem);
  phone.deliver("d-1");
  EXPECT_EQ(phone.receipt()["outcome"], "sent");
  const int first = modem.last_reference();
  modem.push_report(report_pdu("+447700900109", first, 0x00));  // somebody else's
  modem.push_report(report_pdu(kInesDigits, first + 1, 0x00));  // a text that we did not send
  modem.push_report(report_pdu(kInesDigits, first, 0x20));      // the centre still tries
  modem.push_report(report_pdu(kInesDigits, first, 0x46));      // its validity has expired
  modem.push_report(report_pdu(kInesDigits, first, 0x46));      // a copy
  const auto failed = phone.receipt();
  EXPECT_EQ(failed["outcome"], "failed");
  EXPECT_EQ(failed["text"], "the network gave up (status 0x46)");
  phone.deliver("d-2");
  EXPECT_EQ(phone.receipt()["delivery"], "d-2");  // nothing more about d-1 in between
}

TEST(Sms, ADeliveryInFlightIsNotSentTwiceAndOneThatWasSentIsAnswered) {
  ScriptedModem modem;
  Phone phone(modem);
  static_cast<void>(phone.health(true));
  modem.late_ms = 1000;
  phone.deliver("d-1");
  ASSERT_TRUE(modem.submitted());
  phone.deliver("d-1");
  EXPECT_EQ(phone.receipt()["outcome"], "sent");
  modem.late_ms = 0;
  // A new life of the plugin remembers.
  phone.kill();
  phone.start();
  phone.deliver("d-1");
  const auto again = phone.receipt();
  EXPECT_EQ(again["delivery"], "d-1");
  EXPECT_EQ(again["outcome"], "sent");
  modem.push_report(report_pdu(kInesDigits, modem.last_reference(), 0x00));
  EXPECT_EQ(phone.receipt()["outcome"], "delivered");
  EXPECT_EQ(modem.submitted_count(), 1U);
}

TEST(Sms, TriesAgainWhatIsPassingAndGivesUpOnANumber) {
  ScriptedModem modem;
  Phone phone(modem);
  modem.errors = 1;
  modem.error = 38;  // network out of order
  phone.deliver("d-1");
  EXPECT_EQ(phone.receipt()["outcome"], "sent");
  modem.errors = 1;
  modem.error = 28;  // unidentified subscriber
  phone.deliver("d-2");
  const auto failed = phone.receipt();
  EXPECT_EQ(failed["outcome"], "failed");
  EXPECT_EQ(failed["text"], "the modem refused it (CMS error 28)");
}

TEST(Sms, AFullStoreIsEmptiedAndTheTextGoesOut) {
  ScriptedModem modem;
  Phone phone(modem);
  static_cast<void>(phone.health(true));
  modem.store_text(deliver_pdu("+447700900102", "OK"), false);
  modem.errors = 1;
  modem.error = 322;
  phone.deliver("d-1");
  EXPECT_EQ(phone.reply()["text"], "OK");
  EXPECT_EQ(phone.receipt()["outcome"], "sent");
  EXPECT_EQ(modem.stored(), 0U);
}

TEST(Sms, LinesInBetweenDoNotConfuseIt) {
  ScriptedModem modem;
  modem.notice_between = true;
  Phone phone(modem);
  phone.deliver("d-1");
  EXPECT_EQ(phone.receipt()["outcome"], "sent");
}

TEST(Sms, ALostAnswerIsSaidAndTheNextTextGoesOut) {
  ScriptedModem modem;
  Phone phone(modem);
  static_cast<void>(phone.health(true));
  modem.lose_ok = true;
  phone.deliver("d-1");
  const auto failed = phone.receipt();
  EXPECT_EQ(failed["outcome"], "failed");
  EXPECT_NE(failed["text"].get<std::string>().find("it may have gone out"), std::string::npos) << failed;
  modem.lose_ok = false;
  phone.deliver("d-2");
  EXPECT_EQ(phone.receipt()["outcome"], "sent");
}

TEST(Sms, WithoutAPromptItResynchronisesAndGoesOn) {
  ScriptedModem modem;
  Phone phone(modem);
  static_cast<void>(phone.health(true));
  modem.no_prompt = true;
  phone.deliver("d-1");
  EXPECT_EQ(phone.late_receipt()["outcome"], "failed");
  modem.no_prompt = false;
  phone.deliver("d-2");
  EXPECT_EQ(phone.receipt()["outcome"], "sent");
}

TEST(Sms, ADeafModemIsWokenByEverHarderMeans) {
  ScriptedModem modem;
  modem.deaf = true;
  Phone phone(modem);
  ASSERT_TRUE(modem.wait_for("AT+CFUN=0"));
  ASSERT_TRUE(modem.wait_for("AT+CFUN=1,1"));
  EXPECT_EQ(phone.health(false)["ok"], false);
  modem.deaf = false;
  phone.deliver("d-1");
  EXPECT_EQ(phone.late_receipt()["outcome"], "sent");
}

TEST(Sms, AModemThatComesBackAsAnotherDeviceIsFoundByItsName) {
  ScriptedModem modem;
  Phone phone(modem);
  static_cast<void>(phone.health(true));
  modem.unplug();
  const auto down = phone.health(false);
  EXPECT_FALSE(down["text"].get<std::string>().empty());
  modem.plug_in();
  static_cast<void>(phone.health(true));
  phone.deliver("d-1");
  EXPECT_EQ(phone.receipt()["outcome"], "sent");
}

TEST(Sms, ARefusedPinIsNeverTriedAgain) {
  ScriptedModem modem;
  modem.wants_pin = true;
  TemporaryFolder secrets;
  const std::string file = secrets.write("pin", "9999\n");
  ::chmod(file.c_str(), 0600);
  Phone phone(modem, {{"pin_file", file}});
  EXPECT_EQ(phone.health(false)["text"], "the SIM refuses the PIN of settings.pin_file; it is not tried again");
  EXPECT_EQ(modem.count_of("AT+CPIN="), 1U);
  phone.kill();
  phone.start();
  const std::string again = phone.health(false)["text"];
  EXPECT_NE(again.find("it is not tried again"), std::string::npos) << again;
  EXPECT_EQ(modem.count_of("AT+CPIN="), 1U);
  EXPECT_EQ(read_file(phone.folder().path("memory.json")).find("9999"), std::string::npos);
  // The right one is.
  secrets.write("pin", "1234\n");
  phone.kill();
  phone.start();
  static_cast<void>(phone.health(true));
  EXPECT_EQ(modem.count_of("AT+CPIN="), 2U);
}

TEST(Sms, RingsAndHangsUp) {
  ScriptedModem modem;
  Phone phone(modem);
  phone.deliver("d-1", "call");
  const auto receipt = phone.receipt();
  EXPECT_EQ(receipt["outcome"], "sent");
  EXPECT_EQ(receipt["text"], "it rang; that proves nobody");
  EXPECT_EQ(modem.count_of("ATD"), 1U);
  EXPECT_TRUE(modem.count_of("AT+CHUP") + modem.count_of("ATH") >= 1U);
  EXPECT_EQ(modem.submitted_count(), 0U);
}

TEST(Sms, AnUrgentTextBreaksACallOffWhichThenRingsOn) {
  ScriptedModem modem;
  Phone phone(modem, {{"ring_for", "8 s"}});
  static_cast<void>(phone.health(true));
  phone.deliver("d-1", "call");
  ASSERT_TRUE(modem.wait_for("ATD"));
  const auto asked = std::chrono::steady_clock::now();
  phone.deliver("d-2");
  ASSERT_TRUE(modem.submitted());
  EXPECT_LT(std::chrono::steady_clock::now() - asked, std::chrono::seconds(3));
  const auto text = phone.receipt();
  EXPECT_EQ(text["delivery"], "d-2");
  EXPECT_EQ(text["outcome"], "sent");
  const auto call = phone.receipt();
  EXPECT_EQ(call["delivery"], "d-1");
  EXPECT_EQ(call["outcome"], "sent");
  EXPECT_EQ(modem.count_of("ATD"), 2U);
}

TEST(Sms, AReplyIsHeardWhileItRings) {
  ScriptedModem modem;
  Phone phone(modem, {{"ring_for", "8 s"}});
  static_cast<void>(phone.health(true));
  phone.deliver("d-1", "call");
  ASSERT_TRUE(modem.wait_for("ATD"));
  const auto sent = std::chrono::steady_clock::now();
  modem.store_text(deliver_pdu("+447700900102", "PASS"));
  EXPECT_EQ(phone.reply()["text"], "PASS");
  EXPECT_LT(std::chrono::steady_clock::now() - sent, std::chrono::seconds(5));
}

TEST(Sms, SaysWhatItsSettingsLack) {
  Child child({plugin("sms")});
  child.send_message(settings_message({{"device", "/dev/null"}}));
  const auto health = child.message("health");
  EXPECT_EQ(health["ok"], false);
  EXPECT_NE(health["text"].get<std::string>().find("settings.memory"), std::string::npos) << health;
}

TEST(Septets, AreCounted) {
  EXPECT_EQ(gsm_length("a"), 1U);
  EXPECT_EQ(gsm_length("[€]"), 6U);  // TS 23.038, 6.2.1.1: the extension table
  EXPECT_EQ(gsm_length("é"), 1U);
  EXPECT_EQ(within(std::string(159, 'a') + "€", kTextSeptetsMax), std::string(159, 'a'));
}

Incoming text_of(const std::string& text, const std::string& stamp, int part = 1, int parts = 1) {
  Incoming one;
  one.number = kInesDigits;
  one.text = text;
  one.stamp = stamp;
  one.group = parts > 1 ? 7 : 0;
  one.part = part;
  one.parts = parts;
  return one;
}

TEST(Inbox, HandsEachTextOnceAndLetsItGoWhenItIsTaken) {
  Inbox inbox;
  const auto now = Inbox::Clock::now();
  const Incoming one = text_of("OK", "2026-03-02 02:14:00");
  inbox.see(one, now);
  const auto first = inbox.ready(now);
  ASSERT_EQ(first.size(), 1U);
  EXPECT_FALSE(inbox.may_go(one));
  inbox.see(one, now);  // read again, or a copy
  EXPECT_TRUE(inbox.ready(now).empty());
  inbox.taken("another");
  EXPECT_FALSE(inbox.may_go(one));
  inbox.taken(first[0].key);
  EXPECT_TRUE(inbox.may_go(one));
  // A copy that comes late is known for a while.
  inbox.forget(now + std::chrono::minutes(9));
  inbox.see(one, now + std::chrono::minutes(9));
  EXPECT_TRUE(inbox.ready(now + std::chrono::minutes(9)).empty());
  // A second text of the same words is a second text.
  inbox.see(text_of("OK", "2026-03-02 02:15:00"), now);
  const auto second = inbox.ready(now);
  ASSERT_EQ(second.size(), 1U);
  EXPECT_NE(second[0].key, first[0].key);
}

TEST(Inbox, GivesUpOnPartsThatNeverCome) {
  Inbox inbox;
  const auto now = Inbox::Clock::now();
  const Incoming half = text_of("half of it", "2026-03-02 02:15:00", 2, 2);
  inbox.see(half, now);
  EXPECT_TRUE(inbox.ready(now + std::chrono::minutes(9)).empty());
  EXPECT_FALSE(inbox.may_go(half));
  const auto late = inbox.ready(now + std::chrono::minutes(10));
  ASSERT_EQ(late.size(), 1U);
  EXPECT_EQ(late[0].whole.text, "...half of it");
  inbox.taken(late[0].key);
  EXPECT_TRUE(inbox.may_go(half));
}

TEST(Inbox, APartWithoutSenseIsHandedOnAsItIs) {
  Inbox inbox;
  const auto now = Inbox::Clock::now();
  inbox.see(text_of("OK", "2026-03-02 02:15:00", 3, 2), now);
  const auto texts = inbox.ready(now);
  ASSERT_EQ(texts.size(), 1U);
  EXPECT_EQ(texts[0].whole.text, "OK");
}

TEST(Inbox, AStoreDoesNotFillWhileTheDaemonCannotTakeThem) {
  Inbox inbox;
  const auto now = Inbox::Clock::now();
  for (int i = 0; i < 11; ++i) inbox.see(text_of("OK", fmt::format("2026-03-02 02:15:{:02}", i)), now);
  EXPECT_EQ(inbox.ready(now).size(), 11U);
  EXPECT_TRUE(inbox.may_go(text_of("OK", "2026-03-02 02:15:00")));
  EXPECT_FALSE(inbox.may_go(text_of("OK", "2026-03-02 02:15:01")));
}

TEST(Memory, FindsTheNewestTextByReferenceAndNumber) {
  Memory memory;
  memory.add({"d-1", kInes, 7, 1000, "sent", ""});
  memory.add({"d-2", kInes, 7, 2000, "sent", ""});  // references count to 255 and begin anew
  ASSERT_NE(memory.about(7, "00447700900101", 2100), nullptr);
  EXPECT_EQ(memory.about(7, kInesDigits, 2100)->delivery, "d-2");
  EXPECT_EQ(memory.about(7, "+447700900102", 2100), nullptr);
  EXPECT_EQ(memory.about(8, kInesDigits, 2100), nullptr);
  EXPECT_EQ(memory.about(7, kInesDigits, 2000 + 25 * 3600), nullptr);
}

}  // namespace
}  // namespace underwing::test
