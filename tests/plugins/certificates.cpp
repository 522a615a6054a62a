#include "tests/plugins/certificates.hpp"

#include <fmt/format.h>

#include <cstdlib>
#include <stdexcept>

namespace underwing::test {
namespace {

void run(const std::string& command) {
  if (std::system((command + " 2>/dev/null").c_str()) != 0) {
    throw std::runtime_error("this fails: " + command);
  }
}

}  // namespace

Authority::Authority() {
  run(
      fmt::format("openssl req -x509 -newkey ec -pkeyopt ec_paramgen_curve:prime256v1 -nodes -days 1 -subj "
                  "'/CN=an authority of the tests' "
                  "-keyout '{}' -out '{}'",
                  folder_.path("ca.key"), ca_file()));
}

Authority::Pair Authority::sign(const std::string& names) const {
  const std::string name = names.substr(0, names.find(',')).substr(names.find(':') + 1);
  Pair pair{folder_.path(name + ".pem"), folder_.path(name + ".key")};
  run(
      fmt::format("openssl req -x509 -newkey ec -pkeyopt ec_paramgen_curve:prime256v1 -nodes -days 1 -subj "
                  "'/CN=a server of the tests' "
                  "-addext 'subjectAltName={}' -addext basicConstraints=CA:FALSE -CA '{}' -CAkey '{}' "
                  "-keyout '{}' -out '{}'",
                  names, ca_file(), folder_.path("ca.key"), pair.key, pair.certificate));
  return pair;
}

const LoopbackTrust& loopback_trust() {
  static const LoopbackTrust trust;
  return trust;
}

}  // namespace underwing::test
