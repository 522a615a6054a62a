// Goal: what web-hook signs with is HMAC-SHA256 and HTTP Message Signatures as published. Method: the vectors
// of RFC 4231 (HMAC), RFC 9530 (Content-Digest) and RFC 9421, appendix B.2.5 (a request signed by HMAC).
#include "plugins/web-hook/signature.hpp"

#include <fmt/format.h>
#include <gtest/gtest.h>
#include <sodium.h>

namespace underwing {
namespace {

std::string hex(std::string_view bytes) {
  std::string text;
  for (const char c : bytes) text += fmt::format("{:02x}", static_cast<unsigned char>(c));
  return text;
}

std::string from_base64(std::string_view text) {
  std::string bytes(text.size(), '\0');
  std::size_t size = 0;
  EXPECT_EQ(sodium_base642bin(reinterpret_cast<unsigned char*>(bytes.data()), bytes.size(), text.data(),
                              text.size(), nullptr, &size, nullptr, sodium_base64_VARIANT_ORIGINAL),
            0);
  bytes.resize(size);
  return bytes;
}

TEST(Signature, IsHmacSha256) {
  EXPECT_EQ(hex(hmac_sha256(std::string(20, '\x0b'), "Hi There")),
            "b0344c61d8db38535ca8afceaf0bf12b881dc200c9833da726e9376c2e32cff7");
  EXPECT_EQ(hex(hmac_sha256("Jefe", "what do ya want for nothing?")),
            "5bdcc146bf60754e6a042426089575c75a003f089d2739839dec58b964ec3843");
  EXPECT_EQ(
      hex(hmac_sha256(std::string(131, '\xaa'), "Test Using Larger Than Block-Size Key - Hash Key First")),
      "60e431591ee0b67f0d8a26aacbf5b77f8e0bc6213728c5140546040f0ee37f54");
}

TEST(Signature, DigestsTheBody) {
  EXPECT_EQ(content_digest("{\"hello\": \"world\"}\n"),
            "sha-256=:RK/0qy18MlBSVnWgjwz6lZEWjP/lF5HF9bvEF8FabDg=:");
}

TEST(Signature, SignsAsThePublishedExample) {
  const Signed what{{{"date", "Tue, 20 Apr 2021 02:07:55 GMT"},
                     {"@authority", "example.com"},
                     {"content-type", "application/json"}},
                    1618884473,
                    "test-shared-secret"};
  // The example does not name the algorithm; ours always does.
  const std::string parameters =
      "(\"date\" \"@authority\" \"content-type\");created=1618884473;keyid=\"test-shared-secret\"";
  EXPECT_EQ(signature_parameters(what), parameters + ";alg=\"hmac-sha256\"");
  const std::string key =
      from_base64("uzvJfB4u3N0Jy4T7NZ75MDVcr8zSTInedJtkgcu46YW4XByzNJjxBdtjUkdJPBtbmHhIDi6pcl8jsasjlTMtDQ==");
  EXPECT_EQ(signature(signature_base(what, parameters), key),
            ":pxcQw6G3AjtMBQjwo8XzkZf/bws5LelbaMk5rGIGtE8=:");
}

}  // namespace
}  // namespace underwing
