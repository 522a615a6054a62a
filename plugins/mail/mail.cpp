#include <fmt/format.h>
#include <sodium.h>
#include <unistd.h>

#include <cstdio>
#include <thread>

#include "plugins/mail/message.hpp"
#include "plugins/mail/pictures.hpp"
#include "plugins/mail/smtp.hpp"
#include "plugins/shared/carrier.hpp"
#include "plugins/shared/clock.hpp"
#include "plugins/shared/secret_file.hpp"

namespace underwing {
namespace {

constexpr std::string_view kHelp =
    R"(underwing-mail: a channel that sends mail through a mail server, over TLS.

It speaks Underwing's line protocol on standard input and output; plugins/README.md describes it and every
setting. By hand:

  { echo '{"jsonrpc":"2.0","method":"settings","params":{"server":"smtps://mail.example.org",
     "from":"farm@example.org","user":"farm","password_file":"mail-password"}}' | tr -d '\n'; echo
    echo '{"jsonrpc":"2.0","method":"deliver","params":{"delivery":"d-1","to":"ines@example.org","by":"mail",
     "who":"ines","text":"hello"}}' | tr -d '\n'; echo; cat; } | underwing-mail

Options: --help, --version; --draw draws: a list of plots in on standard input, out a line of JSON for each, with its PNG in
base64 or why there is none.
)";

/// The port for handing mail in with STARTTLS, RFC 6409; libcurl's own choice, 25, is for server to server.
constexpr std::string_view kHandInPort = "587";
constexpr std::chrono::seconds kFirstPause{1};
constexpr std::chrono::seconds kDrawWithin{5};
constexpr std::string_view kClosing = "Nobody reads answers to this mail: reply by text message.";

class Mail final : public Carrier {
 public:
  Mail() : Carrier("mail") {}

 private:
  void on_settings(Settings& settings) override {
    read_server(settings);
    read_timing(settings);
    style_.from = settings.text("from");
    if (const std::string trouble = address_trouble(style_.from); !trouble.empty()) {
      settings.refuse("from", fmt::format("'{}' {}", style_.from, trouble));
    }
    style_.from_name = on_one_line(settings.text("from_name", "Underwing"));
    style_.closing = settings.text("closing", kClosing);
    tries_ = static_cast<int>(settings.number("tries", 3, 1, 10));
  }

  void read_server(Settings& settings) {
    server_.url = settings.text("server");
    std::string error;
    const auto place = read_place(server_.url, {"smtps", "smtp"}, error);
    if (!place) settings.refuse("server", fmt::format("'{}' {}", server_.url, error));
    server_.place = *place;
    if (place->scheme == "smtp" && !place->own_port) server_.place.port = kHandInPort;
    // What stands behind the port in such a URL would be taken for our own name.
    server_.url = fmt::format("{}://{}", place->scheme, server_.place.text());
    server_.without_tls = settings.flag("without_tls", false);
    if (server_.without_tls && (!place->loopback || place->scheme != "smtp")) {
      settings.refuse("without_tls", "is for a server on this machine only, with smtp://");
    }
    server_.ca_file = settings.text("ca_file", "");
    server_.user = settings.text("user", "");
    server_.password = read_secret(settings, "password_file", "mail");
    if (server_.user.empty() != server_.password.empty()) {
      settings.refuse("user", "and password_file go together: either both or none");
    }
  }

  void carry(const Delivery& delivery, Clock::time_point until, const Say& say) const override {
    if (const std::string trouble = address_trouble(delivery.to); !trouble.empty()) {
      return say({Outcome::failed, fmt::format("'{}' {}", on_one_line(delivery.to), trouble), Way::unknown});
    }
    const std::vector<Picture> pictures = draw_apart(delivery.plots, drawn_by(until));
    const std::string mail = mail_text(delivery, style_, wall_seconds(), pictures);
    say(to_result(send_with_patience(delivery.to, mail, until, say)));
  }

  /// Most of the time is for the server.
  static Clock::time_point drawn_by(Clock::time_point until) {
    const auto now = Clock::now();
    return now + std::min<Clock::duration>(kDrawWithin, (until - now) / 4);
  }

  /// Again only where the mail was certainly not taken, and where there is time for it.
  SmtpOutcome send_with_patience(const std::string& to, const std::string& mail, Clock::time_point until,
                                 const Say& say) const {
    Clock::duration pause = kFirstPause;
    for (int left = tries_;; pause *= 2) {
      const auto say_accepted = [&](const SmtpOutcome& outcome) { say(to_result(outcome)); };
      SmtpOutcome outcome = send_mail(server_, style_.from, to, mail, until, say_accepted);
      if (--left == 0 || !outcome.may_try_again || pause >= until - Clock::now()) return outcome;
      std::this_thread::sleep_for(pause);
    }
  }

  void check(Clock::time_point until, const Say& say) const override {
    say(to_result(check_server(server_, until)));
  }

  static Result to_result(const SmtpOutcome& outcome) {
    return {outcome.accepted ? Outcome::sent : Outcome::failed, outcome.text,
            outcome.reached ? Way::works : Way::broken};
  }

  [[nodiscard]] std::string works_text() const override {
    return fmt::format("reaches {}", server_.place.text());
  }

  SmtpServer server_;
  MailStyle style_;
  int tries_ = 1;
};

}  // namespace
}  // namespace underwing

int main(int argc, char** argv) {
  if (argc == 2 && std::string_view(argv[1]) == "--draw") return underwing::draw_from_input();
  if (const auto status = underwing::answer_options(argc, argv, "underwing-mail", underwing::kHelp)) {
    return *status;
  }
  if (sodium_init() < 0 || curl_global_init(CURL_GLOBAL_DEFAULT) != CURLE_OK) return 2;
  // Not destroyed: a thread may still be at work.
  auto* plugin = new underwing::Mail();
  const int status = plugin->run();
  std::fflush(stderr);
  _exit(status);
}
