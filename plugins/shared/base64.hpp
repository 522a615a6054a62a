#pragma once

#include <string>
#include <string_view>

namespace underwing {

/// Base64 with its usual alphabet, filled up with '=' (RFC 4648, section 4).
[[nodiscard]] std::string base64(std::string_view bytes);

}  // namespace underwing
