// Goal: mail reaches a mail server over TLS that the farm trusts and no other, whole and readable, and says
// what became of it within its time whatever the server does. Method: the real plugin over pipes against
// smtp-server and mailparser of the npm registry (put into the build folder) with certificates made for the
// test. Pictures are read back by pngjs, and looked at column by column.
#include <fmt/format.h>
#include <gtest/gtest.h>
#include <sys/stat.h>

#include <csignal>
#include <cstdlib>
#include <ctime>
#include <filesystem>
#include <fstream>
#include <thread>

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
                      const std::string& password = "open sesame", const std::string& fonts = "")
      : child_(command(fonts)) {
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
  void send(const std::string& id, const std::string& to = "ines@example.org", const nlohmann::json& plots = nullptr) {
    nlohmann::json params = {{"delivery", id},
                             {"to", to},
                             {"by", "mail"},
                             {"text", kText},
                             {"who", "ines"},
                             {"priority", "urgent"},
                             {"codes", {"K7"}}};
    if (!plots.is_null()) params["plots"] = plots;
    child_.send_message({{"jsonrpc", "2.0"}, {"method", "deliver"}, {"params", params}});
  }
  nlohmann::json deliver(const std::string& id, const std::string& to = "ines@example.org",
                         const nlohmann::json& plots = nullptr) {
    send(id, to, plots);
    return child_.message("receipt");
  }
  Child& child() { return child_; }
  [[nodiscard]] std::string log() const { return read_file(folder_.path("log")); }

 private:
  /// With its log in a file, and fonts from another place where one is given.
  [[nodiscard]] std::vector<std::string> command(const std::string& fonts) const {
    const std::string set = fonts.empty() ? "" : fmt::format("FONTCONFIG_FILE='{}' ", fonts);
    return {"sh", "-c", fmt::format("{}exec '{}' 2>'{}'", set, plugin("mail"), folder_.path("log"))};
  }

  TemporaryFolder folder_;
  Child child_;
};

/// A day at a house, in spans of ten minutes: not known from 40 to 59, too cold from 80 to 99.
nlohmann::json plot_of_a_day() {
  nlohmann::json plot = {{"title", "house-1, day 2"}, {"unit", "°C"}, {"no_data", "no data"}, {"begin", 1772431200},
                         {"every_s", 600}, {"alt", "house-1: \"least\" 28.0 °C <& most> 33.2 °C"},
                         {"ticks", {{1772445600, "10:00"}, {1772460000, "14:00"}}}};
  for (int span = 0; span < 144; ++span) {
    const bool is_known = span < 40 || span > 59;
    const double air = span > 79 && span < 100 ? 28 : 33;
    plot["lowest"].push_back(is_known ? nlohmann::json(air) : nlohmann::json());
    plot["highest"].push_back(is_known ? nlohmann::json(air + 0.2) : nlohmann::json());
    plot["low"].push_back(31);
    plot["high"].push_back(35);
  }
  return plot;
}

/// The field of the picture begins at column 52 and ends at 534, as plugins/mail/plot.cpp has it.
int column_of(double span) {
  return static_cast<int>(52 + (534 - 52) * span / 144);
}

class Mail : public ::testing::Test {
 protected:
  static void SetUpTestSuite() {
    if (std::filesystem::exists(kModules + "/with-pngjs")) return;
    // Several test programs may be at it at the same time.
    const std::string install = fmt::format(
        "mkdir -p '{0}' && flock '{0}/lock' sh -c 'test -e with-pngjs || (npm install --prefix \"{0}\" --no-audit "
        "--no-fund smtp-server@3 mailparser@3 pngjs@7 "
        ">npm.log 2>&1 && touch with-pngjs)'",
        kModules);
    ready_ = std::system(fmt::format("cd '{}' && mkdir -p mail-server && cd mail-server && {}",
                                     UNDERWING_BINARY_DIR, install)
                             .c_str()) == 0;
  }
  void SetUp() override {
    if (!ready_)
      GTEST_SKIP()
          << "smtp-server, mailparser and pngjs cannot be installed; see mail-server/npm.log in the build folder";
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

TEST_F(Mail, AMorningShowsItsPlots) {
  MailServer server("");
  MailPlugin mail(server);
  EXPECT_EQ(mail.deliver("d-1", "ines@example.org", {plot_of_a_day(), plot_of_a_day()})["outcome"], "sent");
  const auto got = server.mail();
  EXPECT_EQ(got["types"], nlohmann::json({"multipart/alternative", "text/plain", "multipart/related", "text/html", "image/png", "image/png"}));
  EXPECT_LE(got["longest"], 998) << "RFC 5322, section 2.1.1";
  EXPECT_EQ(got["text"], std::string(kText) + "\n\nNobody reads answers to this mail: reply by text message.");
  ASSERT_EQ(got["pictures"].size(), 2U);
  EXPECT_NE(got["pictures"][0]["id"], got["pictures"][1]["id"]);
  const auto html = got["html"].get<std::string>();
  for (const auto& picture : got["pictures"]) {
    EXPECT_EQ(picture["type"], "image/png");
    EXPECT_EQ(picture["related"], true);
    EXPECT_EQ(picture["width"], 640);
    EXPECT_EQ(picture["height"], 240);
    EXPECT_NE(html.find(fmt::format("<img src=\"cid:{}\"", picture["id"].get<std::string>())), std::string::npos) << html;
  }
  EXPECT_NE(html.find("alt=\"house-1: &quot;least&quot; 28.0 °C &lt;&amp; most&gt; 33.2 °C\""), std::string::npos) << html;
  EXPECT_NE(html.find("&lt;GO NOW&gt; &amp; look at chicks"), std::string::npos) << html;
  MailPlugin again(server);
  again.deliver("d-2", "ines@example.org", nlohmann::json::array({plot_of_a_day()}));
  EXPECT_NE(server.mail()["pictures"][0]["id"], got["pictures"][0]["id"]) << "no other mail's picture has its name";
}

TEST_F(Mail, ALineIsWhereTheAirIsKnownAndNoneWhereItIsNot) {
  MailServer server("");
  MailPlugin mail(server);
  mail.deliver("d-1", "ines@example.org", nlohmann::json::array({plot_of_a_day()}));
  const auto picture = server.mail()["pictures"][0];
  const auto each = [&](double first, double last, const char* colour, bool is_there) {
    for (int x = column_of(first); x <= column_of(last); ++x) {
      EXPECT_EQ(picture[colour][static_cast<std::size_t>(x)].get<int>() > 0, is_there) << colour << " in column " << x;
    }
  };
  each(0.6, 39.4, "blue", true);
  each(40.5, 59.9, "blue", false);
  each(60.6, 79, "blue", true);
  each(0, 60, "red", false);  // From there on the lowest value stands beside the line.
  each(80.6, 99.4, "red", true);
  each(82, 98, "blue", false);
  each(101, 143.4, "blue", true);
  each(102, 143.4, "red", false);
}

TEST_F(Mail, APlotThatMeansNothingIsLeftOut) {
  auto uneven = plot_of_a_day();
  uneven["low"].erase(0);
  auto nameless = plot_of_a_day();
  nameless.erase("title");
  auto far = plot_of_a_day();
  far["high"][3] = 1e300;
  MailServer server("");
  MailPlugin mail(server);
  EXPECT_EQ(mail.deliver("d-1", "ines@example.org", {uneven, plot_of_a_day(), nameless, far, 7})["outcome"], "sent");
  EXPECT_EQ(server.mail()["pictures"].size(), 1U);
  EXPECT_NE(mail.log().find("mail: a plot is left out: its lists are not equally long\n"), std::string::npos) << mail.log();
  EXPECT_NE(mail.log().find("mail: a plot is left out: a value is too large\n"), std::string::npos) << mail.log();
  EXPECT_NE(mail.log().find("key 'title' not found"), std::string::npos) << mail.log();
}

/// Without pictures it is the mail that it always was.
void expect_plain(const nlohmann::json& got) {
  EXPECT_EQ(got["types"], nlohmann::json({"multipart/alternative", "text/plain", "text/html"}));
  EXPECT_EQ(got["text"], std::string(kText) + "\n\nNobody reads answers to this mail: reply by text message.");
  EXPECT_EQ(got["html"].get<std::string>().find("<img"), std::string::npos);
}

TEST_F(Mail, NoPlotsAreNoTrouble) {
  MailServer server("");
  MailPlugin mail(server);
  int count = 0;
  for (const nlohmann::json& plots : {nlohmann::json::array(), nlohmann::json("none"), nlohmann::json{{"title", "house-1"}}}) {
    EXPECT_EQ(mail.deliver(fmt::format("d-{}", ++count), "ines@example.org", plots)["outcome"], "sent");
    expect_plain(server.mail());
  }
}

TEST_F(Mail, AMachineWithoutFontsDrawsAllTheSame) {
  TemporaryFolder folder;
  MailServer server("");
  MailPlugin mail(server, nlohmann::json::object(), "open sesame", folder.write("fonts.conf", "<fontconfig></fontconfig>"));
  EXPECT_EQ(mail.deliver("d-1", "ines@example.org", nlohmann::json::array({plot_of_a_day()}))["outcome"], "sent");
  EXPECT_EQ(server.mail()["pictures"].size(), 1U) << mail.log();
}

/// A pipe in the place of the fonts' file, on which whoever reads it hangs.
class HangingFonts {
 public:
  HangingFonts() { mkfifo(path().c_str(), 0600); }
  [[nodiscard]] std::string path() const { return folder_.path("fonts.conf"); }

 private:
  TemporaryFolder folder_;
};

TEST_F(Mail, ADrawingThatHangsHoldsNothingUp) {
  HangingFonts fonts;
  MailServer server("");
  MailPlugin mail(server, {{"time_out", "8 s"}}, "open sesame", fonts.path());
  const auto begun = std::chrono::steady_clock::now();
  EXPECT_EQ(mail.deliver("d-1", "ines@example.org", nlohmann::json::array({plot_of_a_day()}))["outcome"], "sent");
  EXPECT_LT(std::chrono::steady_clock::now() - begun, std::chrono::seconds(6)) << "a quarter of its time is for drawing";
  expect_plain(server.mail());
  EXPECT_NE(mail.log().find("mail: 1 of 1 plots are left out: it took too long\n"), std::string::npos) << mail.log();
}

TEST_F(Mail, ADrawingThatCrashesHoldsNothingUp) {
  HangingFonts fonts;
  MailServer server("");
  MailPlugin mail(server, nlohmann::json::object(), "open sesame", fonts.path());
  mail.send("d-1", "ines@example.org", nlohmann::json::array({plot_of_a_day()}));
  pid_t drawer = 0;
  const auto until = std::chrono::steady_clock::now() + std::chrono::seconds(4);
  for (; drawer == 0 && std::chrono::steady_clock::now() < until; std::this_thread::sleep_for(std::chrono::milliseconds(5))) {
    for (const auto& thread : std::filesystem::directory_iterator(fmt::format("/proc/{}/task", mail.child().pid()))) {
      std::ifstream(thread.path() / "children") >> drawer;
      if (drawer != 0) break;
    }
  }
  ASSERT_GT(drawer, 0);
  kill(drawer, SIGSEGV);
  EXPECT_EQ(mail.child().message("receipt")["outcome"], "sent");
  expect_plain(server.mail());
  EXPECT_NE(mail.log().find("mail: 1 of 1 plots are left out: the process that draws them ended\n"), std::string::npos) << mail.log();
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
