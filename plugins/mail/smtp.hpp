#pragma once

#include <functional>
#include <string>

#include "plugins/shared/network.hpp"

namespace underwing {

/// How a mail server is reached.
struct SmtpServer {
  std::string url;  ///< smtps://HOST:PORT, TLS from the first byte; smtp://HOST:PORT, STARTTLS
  Place place;
  bool without_tls = false;  ///< only to this machine
  std::string user, password, ca_file;
};

struct SmtpOutcome {
  bool accepted = false;       ///< the server has answered the mail with 250
  bool reached = false;        ///< a session with the server stood, whatever it said to this mail
  bool may_try_again = false;  ///< the mail was certainly not taken, and may be another time
  std::string text;            ///< a sentence's words
};

/// One mail in one session. Blocks until the server has said yes or no, or until `until`; after a yes, also
/// for the goodbye. `on_accepted` hears of the yes before that, from this thread.
[[nodiscard]] SmtpOutcome send_mail(const SmtpServer& server, const std::string& from, const std::string& to,
                                    const std::string& mail, Transfer::Clock::time_point until,
                                    const std::function<void(const SmtpOutcome&)>& on_accepted);

/// Connects, logs in, and leaves again.
[[nodiscard]] SmtpOutcome check_server(const SmtpServer& server, Transfer::Clock::time_point until);

}  // namespace underwing
