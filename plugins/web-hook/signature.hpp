#pragma once

#include <cstdint>
#include <string>
#include <string_view>
#include <vector>

namespace underwing {

/// HMAC with SHA-256 (RFC 2104, FIPS 198-1): 32 bytes.
[[nodiscard]] std::string hmac_sha256(std::string_view key, std::string_view message);

/// Value of the header Content-Digest (RFC 9530): "sha-256=:…:".
[[nodiscard]] std::string content_digest(std::string_view body);

/// What is signed of a message, RFC 9421: its parts in order, each by its name and value, then when and by
/// whose key.
struct Signed {
  struct Part {
    std::string name;  ///< a header's, in small letters
    std::string value;
  };
  std::vector<Part> parts;
  std::int64_t created_s = 0;  ///< seconds since 1970
  std::string key_name;        ///< "keyid"
};

/// The parameters behind "NAME=" in the header Signature-Input: `("a"
/// "b");created=…;keyid="…";alg="hmac-sha256"`.
[[nodiscard]] std::string signature_parameters(const Signed& what);

/// The lines that are signed (RFC 9421, section 2.5), with these parameters.
[[nodiscard]] std::string signature_base(const Signed& what, std::string_view parameters);

/// The value behind "NAME=" in the header Signature: ":…:", base64 of the HMAC over the base.
[[nodiscard]] std::string signature(std::string_view base, std::string_view key);

}  // namespace underwing
