#include "plugins/mail/smtp.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <cstring>
#include <string_view>

namespace underwing {
namespace {

struct ListOf {
  curl_slist* list = nullptr;
  explicit ListOf(const std::string& one) : list(curl_slist_append(nullptr, one.c_str())) {}
  ListOf(const ListOf&) = delete;
  ListOf& operator=(const ListOf&) = delete;
  ~ListOf() { curl_slist_free_all(list); }
};

/// One session: watches the server's replies go by, since libcurl's result alone does not say how far it
/// came.
class Session {
 public:
  Session(const SmtpServer& server, Transfer::Clock::time_point until)
      : server_(server),
        begun_(Transfer::Clock::now()),
        until_(until),
        transfer_(server.url, server.place, server.ca_file, until) {
    if (!server.without_tls) transfer_.set(CURLOPT_USE_SSL, long{CURLUSESSL_ALL});
    if (!server.user.empty()) {
      transfer_.set(CURLOPT_USERNAME, server.user.c_str());
      transfer_.set(CURLOPT_PASSWORD, server.password.c_str());
    }
    transfer_.set(CURLOPT_HEADERFUNCTION, &Session::take_reply);
    transfer_.set(CURLOPT_HEADERDATA, this);
    transfer_.set(CURLOPT_WRITEFUNCTION, &Session::drop);
    // Bounds the goodbye, too, for which the deadline does not hold.
    const auto left = std::chrono::ceil<std::chrono::seconds>(until - begun_).count();
    transfer_.set(CURLOPT_SERVER_RESPONSE_TIMEOUT, static_cast<long>(std::max<std::int64_t>(left, 1)));
  }

  SmtpOutcome send(const std::string& from, const std::string& to, const std::string& mail,
                   const std::function<void(const SmtpOutcome&)>& on_accepted) {
    const ListOf recipients(to);
    mail_ = mail;
    on_accepted_ = &on_accepted;
    transfer_.set(CURLOPT_MAIL_FROM, from.c_str());
    transfer_.set(CURLOPT_MAIL_RCPT, recipients.list);
    transfer_.set(CURLOPT_UPLOAD, 1L);
    transfer_.set(CURLOPT_READFUNCTION, &Session::give_mail);
    transfer_.set(CURLOPT_READDATA, this);
    const CURLcode code = transfer_.perform();
    return accepted_ ? acceptance() : failure(code);
  }

  SmtpOutcome check() {
    transfer_.set(CURLOPT_CUSTOMREQUEST, "NOOP");
    transfer_.set(CURLOPT_NOBODY, 1L);
    const CURLcode code = transfer_.perform();
    if (code != CURLE_OK) return failure(code);
    return {false, true, false, fmt::format("reaches {}", server_.place.text())};
  }

 private:
  /// Each line of a reply; the last one has a space after its code (RFC 5321, section 4.2.1).
  static std::size_t take_reply(char* bytes, std::size_t, std::size_t count, void* self) {
    static_cast<Session*>(self)->take_reply_line({bytes, count});
    return count;
  }

  void take_reply_line(std::string_view line) {
    const bool last = line.size() >= 4 && line[3] == ' ';
    if (!last) return;
    reply_ = on_one_line(line);
    if (reply_.starts_with('4') || reply_.starts_with('5')) no_ = reply_;
    // Only the answer to our goodbye leaves a no as it was.
    else if (!reply_.starts_with("221"))
      no_.clear();
    if (mail_begun_) {
      accepted_ = reply_.starts_with("250");
      mail_begun_ = false;
      if (accepted_) (*on_accepted_)(acceptance());
    } else if (reply_.starts_with("354")) {
      mail_begun_ = true;
    }
  }

  static std::size_t give_mail(char* buffer, std::size_t, std::size_t room, void* self) {
    auto& session = *static_cast<Session*>(self);
    const std::size_t count = std::min(room, session.mail_.size() - session.given_);
    std::memcpy(buffer, session.mail_.data() + session.given_, count);
    session.given_ += count;
    return count;
  }

  static std::size_t drop(char*, std::size_t, std::size_t count, void*) { return count; }

  [[nodiscard]] SmtpOutcome acceptance() const {
    return {true, true, false, fmt::format("accepted by {}: {}", server_.place.text(), reply_)};
  }

  [[nodiscard]] SmtpOutcome failure(CURLcode code) const {
    const std::string place = server_.place.text();
    if (auto words = transfer_.cannot_reach(code)) {
      const bool nobody_there = code == CURLE_COULDNT_RESOLVE_HOST || code == CURLE_COULDNT_CONNECT;
      return {false, false, nobody_there, *words};
    }
    const bool is_no = !no_.empty();
    if (code == CURLE_LOGIN_DENIED) {
      return {false, false, no_.starts_with('4'),
              fmt::format("{} refuses user or password: {}", place, is_no ? no_ : transfer_.words(code))};
    }
    const std::string perhaps =
        mail_begun_ ? " after it was given the mail, which may arrive all the same" : "";
    if (code == CURLE_OPERATION_TIMEDOUT) {
      const std::chrono::duration<double> given = until_ - begun_;
      return {false, false, false,
              fmt::format("{} did not answer within {:g} s{}", place, std::round(10 * given.count()) / 10, perhaps)};
    }
    if (is_no && !mail_begun_) {
      // 421: it closes, for everybody (RFC 5321, section 3.8). What begins with 4 may go another time.
      return {false, !no_.starts_with("421"), no_.starts_with('4'),
              fmt::format("{} says no: {}", place, no_)};
    }
    return {false, false, !mail_begun_,
            fmt::format("the session with {} broke off ({}){}", place, transfer_.words(code), perhaps)};
  }

  const SmtpServer& server_;
  Transfer::Clock::time_point begun_, until_;
  Transfer transfer_;
  std::string mail_;
  std::size_t given_ = 0;
  const std::function<void(const SmtpOutcome&)>* on_accepted_ = nullptr;
  std::string reply_;  ///< the last one's last line
  std::string no_;     ///< the one that ended it, if the server said no
  /// The server waits for the mail, or has it and has not said what it makes of it.
  bool mail_begun_ = false;
  bool accepted_ = false;
};

}  // namespace

SmtpOutcome send_mail(const SmtpServer& server, const std::string& from, const std::string& to,
                      const std::string& mail, Transfer::Clock::time_point until,
                      const std::function<void(const SmtpOutcome&)>& on_accepted) {
  return Session(server, until).send(from, to, mail, on_accepted);
}

SmtpOutcome check_server(const SmtpServer& server, Transfer::Clock::time_point until) {
  return Session(server, until).check();
}

}  // namespace underwing
