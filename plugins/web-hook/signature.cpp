#include "plugins/web-hook/signature.hpp"

#include <fmt/format.h>
#include <sodium.h>

#include <array>

#include "plugins/shared/base64.hpp"

namespace underwing {
namespace {

const unsigned char* bytes_of(std::string_view text) {
  return reinterpret_cast<const unsigned char*>(text.data());
}

/// RFC 8941, section 3.3.3; names of keys hold nothing else than plain ASCII.
std::string quoted(std::string_view text) {
  std::string result = "\"";
  for (const char c : text) {
    if (c == '"' || c == '\\') result += '\\';
    result += c;
  }
  return result + '"';
}

}  // namespace

std::string hmac_sha256(std::string_view key, std::string_view message) {
  // The long way round: the short call takes keys of 32 bytes only.
  crypto_auth_hmacsha256_state state;
  std::array<unsigned char, crypto_auth_hmacsha256_BYTES> mac{};
  crypto_auth_hmacsha256_init(&state, bytes_of(key), key.size());
  crypto_auth_hmacsha256_update(&state, bytes_of(message), message.size());
  crypto_auth_hmacsha256_final(&state, mac.data());
  return {mac.begin(), mac.end()};
}

std::string content_digest(std::string_view body) {
  std::array<unsigned char, crypto_hash_sha256_BYTES> hash{};
  crypto_hash_sha256(hash.data(), bytes_of(body), body.size());
  return fmt::format("sha-256=:{}:", base64({reinterpret_cast<const char*>(hash.data()), hash.size()}));
}

std::string signature_parameters(const Signed& what) {
  std::string names;
  for (const Signed::Part& part : what.parts)
    names += fmt::format("{}\"{}\"", names.empty() ? "" : " ", part.name);
  return fmt::format("({});created={};keyid={};alg=\"hmac-sha256\"", names, what.created_s,
                     quoted(what.key_name));
}

std::string signature_base(const Signed& what, std::string_view parameters) {
  std::string base;
  for (const Signed::Part& part : what.parts) base += fmt::format("\"{}\": {}\n", part.name, part.value);
  return base + fmt::format("\"@signature-params\": {}", parameters);
}

std::string signature(std::string_view base, std::string_view key) {
  const std::string mac = hmac_sha256(key, base);
  return fmt::format(":{}:", base64(mac));
}

}  // namespace underwing
