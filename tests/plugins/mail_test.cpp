// Goal: mail reaches a mail server over TLS that the farm trusts and no other, whole and readable, and says
// what became of it within its time whatever the server does. Method: the real plugin over pipes against
// smtp-server and mailparser of the npm registry (put into the build folder) with certificates made for the
// test.
#include <fmt/format.h>
#include <gtest/gtest.h>
#include <sys/stat.h>

#include <cstdlib>
#include <ctime>
#include <filesystem>

#include "tests/plugins/certificates.hpp"

namespace underwing::test {
namespace {

const std::string kModules = UNDERWING_BINARY_DIR "/mail-server";
constexpr const char* kText =
    "H1 COLD 28.6 C, wants 31 (day 2). Falling since 01:45, 26 C by 02:40. <GO NOW> & look at chicks, gas, "
    "heaters, "
    "curtains – São Brás.\n.\nReply OK K7. Cannot go: PASS K7";

class MailServer {
 public:
  explicit MailServer(const std::string& mode, const Authority::Pair& pair = loopback_trust().server)
      : process_({"node", UNDERWING_SOURCE_DIR "/tests/plugins/mail_server.cjs", kModules + "/node_modules",
                  pair.certificate, pair.key, mode}),
        scheme_(mode.find("implicit") != std::string::npos ? "smtps" : "smtp") {
    const auto first =
        process_.line_where([](const auto& json) { return json.is_object() && json.contains("port"); });
    if (first.is_null()) throw std::runtime_error("the mail server does not start");
    port_ = first["port"].get<int>();
  }
  [[nodiscard]] std::string place() const { return fmt::format("127.0.0.1:{}", port_); }
  [[nodiscard]] std::string url() const { return fmt::format("{}://{}", scheme_, place()); }
  nlohmann::json mail() {
    return process_.line_where([](const auto& json) { return json.is_object() && json.contains("source"); });
  }

 private:
  Child process_;
  std::string scheme_;
  int port_ = 0;
};

class MailPlugin {
 public:
  explicit MailPlugin(const MailServer& server, const nlohmann::json& more = nlohmann::json::object(),
                      const std::string& password = "open sesame") {
    const std::string file = folder_.write("password", password + "\n");
    chmod(file.c_str(), 0600);
    nlohmann::json settings{{"server", server.url()},
                            {"from", "farm@example.org"},
                            {"user", "farm"},
                            {"password_file", file},
                            {"ca_file", loopback_trust().authority.ca_file()}};
    settings.update(more);
    for (auto it = settings.begin(); it != settings.end();)
      it = it->is_null() ? settings.erase(it) : std::next(it);
    child_.send_message(settings_message(settings));
  }
  void send(const std::string& id, const std::string& to = "ines@example.org") {
    child_.send_message({{"jsonrpc", "2.0"},
                         {"method", "deliver"},
                         {"params",
                          {{"delivery", id},
                           {"to", to},
                           {"by", "mail"},
                           {"text", kText},
                           {"who", "ines"},
                           {"priority", "urgent"},
                           {"codes", {"K7"}}}}});
  }
  nlohmann::json deliver(const std::string& id, const std::string& to = "ines@example.org") {
    send(id, to);
    return child_.message("receipt");
  }
  Child& child() { return child_; }

 private:
  TemporaryFolder folder_;
  Child child_{{plugin("mail")}};
};

class Mail : public ::testing::Test {
 protected:
  static void SetUpTestSuite() {
    if (std::filesystem::exists(kModules + "/ready")) return;
    // Several test programs may be at it at the same time.
    const std::string install = fmt::format(
        "mkdir -p '{0}' && flock '{0}/lock' sh -c 'test -e ready || (npm install --prefix \"{0}\" --no-audit "
        "--no-fund smtp-server@3 mailparser@3 "
        ">npm.log 2>&1 && touch ready)'",
        kModules);
    ready_ = std::system(fmt::format("cd '{}' && mkdir -p mail-server && cd mail-server && {}",
                                     UNDERWING_BINARY_DIR, install)
                             .c_str()) == 0;
  }
  void SetUp() override {
    if (!ready_)
      GTEST_SKIP()
          << "smtp-server and mailparser cannot be installed; see mail-server/npm.log in the build folder";
  }

 private:
  static inline bool ready_ = true;
};

TEST_F(Mail, ArrivesWholeOverStartTls) {
  MailServer server("");
  MailPlugin mail(server);
  const auto receipt = mail.deliver("d-000017");
  EXPECT_EQ(receipt["outcome"], "sent");
  EXPECT_EQ(receipt["text"], fmt::format("accepted by {}: 250 taken in", server.place()));
  const auto got = server.mail();
  EXPECT_EQ(got["secure"], true);
  EXPECT_EQ(got["user"], "farm");
  EXPECT_EQ(got["from"], "farm@example.org");
  EXPECT_EQ(got["to"], nlohmann::json({"ines@example.org"}));
  EXPECT_EQ(got["subject"], "H1 COLD 28.6 C, wants 31 (day 2).");
  EXPECT_EQ(got["sender"]["address"], "farm@example.org");
  EXPECT_EQ(got["sender"]["name"], "Underwing");
  EXPECT_EQ(got["type"], "multipart/alternative");
  EXPECT_EQ(got["automatic"], "auto-generated");
  EXPECT_NE(got["source"].get<std::string>().find("\r\nImportance: high\r\n"), std::string::npos);
  EXPECT_EQ(got["text"], std::string(kText) + "\n\nNobody reads answers to this mail: reply by text message.")
      << "also the line that is a single full stop";
  const auto html = got["html"].get<std::string>();
  EXPECT_NE(html.find("bold\">H1 COLD 28.6 C, wants 31 (day 2).</p>"), std::string::npos) << html;
  EXPECT_NE(html.find("&lt;GO NOW&gt; &amp; look at chicks"), std::string::npos) << html;
  EXPECT_NE(html.find("São Brás.<br>"), std::string::npos) << html;
  EXPECT_TRUE(got["id"].get<std::string>().ends_with("@example.org>")) << got["id"];
  const auto now = std::time(nullptr);
  std::tm tm{};
  ASSERT_NE(strptime(got["date"].get<std::string>().c_str(), "%Y-%m-%dT%H:%M:%S", &tm), nullptr);
  EXPECT_NEAR(static_cast<double>(timegm(&tm)), static_cast<double>(now), 60);
}

TEST_F(Mail, ArrivesOverTlsFromTheFirstByte) {
  MailServer server("implicit");
  MailPlugin mail(server, {{"from_name", "Quinta São Brás"}});
  EXPECT_EQ(mail.deliver("d-1")["outcome"], "sent");
  const auto got = server.mail();
  EXPECT_EQ(got["secure"], true);
  EXPECT_EQ(got["sender"]["name"], "Quinta São Brás");
}

TEST_F(Mail, SendsNothingTwice) {
  MailServer server("");
  MailPlugin mail(server);
  const auto first = mail.deliver("d-1");
  EXPECT_EQ(mail.deliver("d-1"), first);
  mail.deliver("d-2", "tomas@example.org");
  EXPECT_EQ(server.mail()["to"], nlohmann::json({"ines@example.org"}));
  EXPECT_EQ(server.mail()["to"], nlohmann::json({"tomas@example.org"}))
      << "the second mail is already the next";
}

TEST_F(Mail, ANewLifeGivesTheSameMailTheSameName) {
  MailServer server("");
  std::string ids[2];
  for (std::string& id : ids) {
    MailPlugin mail(server);
    mail.deliver("d-1");
    id = server.mail()["id"].get<std::string>();
  }
  EXPECT_EQ(ids[0], ids[1]);
}

TEST_F(Mail, ARecipientWhoIsRefusedIsSaidAtOnce) {
  MailServer server("");
  MailPlugin mail(server);
  const auto receipt = mail.deliver("d-1", "nobody@example.org");
  EXPECT_EQ(receipt["outcome"], "failed");
  EXPECT_EQ(receipt["text"], fmt::format("{} says no: 550 there is nobody of that name", server.place()));
  EXPECT_EQ(mail.deliver("d-2")["outcome"], "sent") << "and says nothing of the others";
}

TEST_F(Mail, TriesAgainAfterATemporaryNo) {
  MailServer server("busy-once");
  MailPlugin mail(server);
  EXPECT_EQ(mail.deliver("d-1")["outcome"], "sent");
  EXPECT_EQ(server.mail()["to"], nlohmann::json({"ines@example.org"}));
}

TEST_F(Mail, GivesUpAfterItsTries) {
  for (const auto& [mode, text] : std::vector<std::pair<std::string, std::string>>{
           {"busy", "says no: 451 come back later"}, {"full", "says no: 452 no room left"}}) {
    MailServer server(mode);
    MailPlugin mail(server, {{"tries", 2}});
    const auto begun = std::chrono::steady_clock::now();
    const auto receipt = mail.deliver("d-1");
    EXPECT_EQ(receipt["outcome"], "failed");
    EXPECT_EQ(receipt["text"], fmt::format("{} {}", server.place(), text));
    EXPECT_GE(std::chrono::steady_clock::now() - begun, std::chrono::seconds(1))
        << "it was tried again after a pause";
  }
}

TEST_F(Mail, AHangingServerHoldsNobodyUp) {
  MailServer server("hangs");
  MailPlugin mail(server, {{"time_out", "700 ms"}});
  const auto begun = std::chrono::steady_clock::now();
  const auto receipt = mail.deliver("d-1");
  EXPECT_LT(std::chrono::steady_clock::now() - begun, std::chrono::seconds(4));
  EXPECT_EQ(receipt["outcome"], "failed");
  EXPECT_EQ(receipt["text"], fmt::format("{} did not answer within 0.7 s", server.place()));
}

TEST_F(Mail, SaysThatAMailWithoutAnAnswerMayArrive) {
  MailServer server("hangs-after-mail");
  MailPlugin mail(server, {{"time_out", "4 s"}});
  const auto receipt = mail.deliver("d-1");
  EXPECT_EQ(receipt["outcome"], "failed");
  EXPECT_EQ(receipt["text"], "no outcome within 4 s; it may arrive all the same");
  EXPECT_FALSE(server.mail().is_null());
}

TEST_F(Mail, ASlowServerIsWaitedFor) {
  MailServer server("slow");
  MailPlugin mail(server);
  EXPECT_EQ(mail.deliver("d-1")["outcome"], "sent");
}

TEST_F(Mail, AServerThatClosesIsOutOfOrder) {
  MailServer server("closes");
  MailPlugin mail(server, {{"tries", 1}});
  const auto receipt = mail.deliver("d-1");
  EXPECT_EQ(receipt["outcome"], "failed");
  EXPECT_EQ(receipt["text"],
            fmt::format("{} says no: 421 mail.example.org closes for the night", server.place()));
}

TEST_F(Mail, SpeaksToNobodyWhomTheFarmDoesNotTrust) {
  for (const std::string mode : {"", "implicit"}) {
    const Authority stranger;
    MailServer server(mode);
    MailPlugin mail(server, {{"ca_file", stranger.ca_file()}});
    const auto receipt = mail.deliver("d-1");
    EXPECT_EQ(receipt["outcome"], "failed");
    EXPECT_TRUE(receipt["text"].get<std::string>().starts_with(
        fmt::format("the certificate of {} cannot be trusted", server.place())))
        << receipt;
    const auto pair = loopback_trust().authority.sign("DNS:elsewhere.example.org");
    MailServer other_name(mode, pair);
    MailPlugin other(other_name);
    EXPECT_TRUE(other.deliver("d-1")["text"].get<std::string>().starts_with("the certificate of"))
        << "the name counts, too";
  }
}

TEST_F(Mail, NothingGoesInTheClear) {
  MailServer server("no-tls,open");
  MailPlugin mail(server);
  const auto receipt = mail.deliver("d-1");
  EXPECT_EQ(receipt["outcome"], "failed");
  EXPECT_EQ(receipt["text"],
            fmt::format("{} offers no TLS, and without TLS nothing is sent", server.place()));
  // Only where the farm says so, and only to this machine.
  MailPlugin plain(server, {{"without_tls", true}, {"user", nullptr}, {"password_file", nullptr}});
  EXPECT_EQ(plain.deliver("d-1")["outcome"], "sent");
  EXPECT_EQ(server.mail()["secure"], false);
}

TEST_F(Mail, AWrongPasswordIsSaidAndNotTriedAgain) {
  MailServer server("");
  MailPlugin mail(server, nlohmann::json::object(), "guess");
  const auto health = mail.child().message("health");
  EXPECT_EQ(health["ok"], false);
  EXPECT_EQ(health["text"],
            fmt::format("{} refuses user or password: 535 wrong user or password", server.place()));
  EXPECT_EQ(mail.deliver("d-1")["outcome"], "failed");
}

TEST_F(Mail, ItsHealthIsWhetherItReachesTheServer) {
  MailServer server("");
  MailPlugin mail(server);
  const auto health = mail.child().message("health");
  EXPECT_EQ(health["ok"], true);
  EXPECT_EQ(health["text"], "reaches " + server.place());
}

std::string refusal(const nlohmann::json& settings) {
  Child child({plugin("mail")});
  child.send_message(settings_message(settings));
  const auto health = child.message("health");
  return health.is_null() || health["ok"] == true ? "taken" : health["text"].get<std::string>();
}

TEST(MailSettings, AreRefusedWhereTheyMeanNothing) {
  EXPECT_EQ(refusal({{"server", "mail.example.org"}, {"from", "farm@example.org"}}),
            "settings.server 'mail.example.org' must begin with smtps:// or smtp://.");
  EXPECT_EQ(refusal({{"server", "smtp://mail.example.org"}, {"from", "the farm"}}),
            "settings.from 'the farm' is no mail address.");
  EXPECT_EQ(
      refusal({{"server", "smtp://mail.example.org"}, {"from", "farm@example.org"}, {"without_tls", true}}),
      "settings.without_tls is for a server on this machine only, with smtp://.");
  EXPECT_EQ(refusal({{"server", "smtp://mail.example.org"}, {"from", "farm@example.org"}, {"user", "farm"}}),
            "settings.user and password_file go together: either both or none.");
}

}  // namespace
}  // namespace underwing::test
