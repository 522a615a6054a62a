#pragma once

#include <string>

namespace underwing {

/// BLAKE2b of 16 bytes, in hex.
[[nodiscard]] std::string short_hash(const std::string& text);

}  // namespace underwing
