#include "plugins/shared/short_hash.hpp"

#include <fmt/format.h>
#include <sodium.h>

#include <array>

namespace underwing {

std::string short_hash(const std::string& text) {
  std::array<unsigned char, 16> hash{};
  crypto_generichash(hash.data(), hash.size(), reinterpret_cast<const unsigned char*>(text.data()), text.size(), nullptr, 0);
  std::string hex;
  for (const unsigned char byte : hash) hex += fmt::format("{:02x}", byte);
  return hex;
}

}  // namespace underwing
