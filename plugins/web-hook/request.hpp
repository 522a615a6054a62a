#pragma once

#include <nlohmann/json.hpp>
#include <optional>
#include <string>
#include <utility>
#include <vector>

#include "plugins/shared/network.hpp"
#include "plugins/web-hook/template.hpp"

namespace underwing {

/// One request to one place.
struct HookRequest {
  std::string url;
  Place place;
  std::string method;  ///< POST or PUT
  std::vector<std::pair<std::string, std::string>> headers;
  std::string body;
  std::string user, password, ca_file;
};

/// What came of it.
struct HookAnswer {
  enum class Kind : std::uint8_t {
    answered,     ///< with `status`
    unreachable,  ///< nothing was asked; trying again may help
    distrusted,   ///< nothing was asked, and trying again does not help
    lost,         ///< asked, and no answer: it may have been taken
  };
  Kind kind = Kind::lost;
  long status = 0;
  std::string body;  ///< its first kAnswerBytesMax bytes
  std::int64_t retry_after_s = 0;
  std::string text;  ///< a sentence's words
};
inline constexpr std::size_t kAnswerBytesMax = 64 * 1024;

/// Sends it once. Blocks until the answer is there or until `until`. Redirects are not followed: what is
/// meant for one place, and signed, goes nowhere else.
[[nodiscard]] HookAnswer send_request(const HookRequest& request, Transfer::Clock::time_point until);

/// Connects, with TLS, and hangs up: no request.
[[nodiscard]] HookAnswer try_connection(const std::string& url, const Place& place,
                                        const std::string& ca_file, Transfer::Clock::time_point until);

/// Whether the same request may be sent again after this answer without being acted on twice: nothing was
/// asked, or the other end says that it has not done it (RFC 9110, section 15; RFC 6585; RFC 8470).
[[nodiscard]] bool may_try_again(const HookAnswer& answer);

}  // namespace underwing
