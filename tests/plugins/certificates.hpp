#pragma once

#include <string>

#include "tests/plugins/child.hpp"

namespace underwing::test {

/// An authority made for one test, by openssl's own program, and what it has signed. Valid for a day.
class Authority {
 public:
  /// Throws where openssl cannot make it.
  Authority();
  [[nodiscard]] std::string ca_file() const { return folder_.path("ca.pem"); }

  struct Pair {
    std::string certificate, key;  ///< file names
  };
  /// For a server that is known under `names`: "IP:127.0.0.1,DNS:localhost".
  [[nodiscard]] Pair sign(const std::string& names) const;

 private:
  TemporaryFolder folder_;
};

/// An authority, and the certificate of a server on 127.0.0.1 and localhost; made once a process.
struct LoopbackTrust {
  Authority authority;
  Authority::Pair server = authority.sign("IP:127.0.0.1,DNS:localhost");
};
const LoopbackTrust& loopback_trust();

}  // namespace underwing::test
