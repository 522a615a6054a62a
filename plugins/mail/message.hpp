#pragma once

#include <string>
#include <string_view>
#include <vector>

#include "plugins/mail/pictures.hpp"
#include "plugins/shared/plugin.hpp"

namespace underwing {

/// What a mail of ours looks like beside its text.
struct MailStyle {
  std::string from;       ///< address
  std::string from_name;  ///< shown in its place; may be empty
  std::string closing;    ///< last line of every mail; may be empty
};

/// Why nothing can be sent to this address, to follow it in a sentence; empty: it can. Only plain ASCII
/// addresses `local@domain` go through every server (RFC 5321, section 4.1.2, without its quoted strings).
[[nodiscard]] std::string address_trouble(std::string_view address);

/// What a phone shows of a mail: the first sentence of the text, at most 70 characters, cut between words.
[[nodiscard]] std::string subject_of(std::string_view text);

/// A header's text as RFC 2047 wants it: as it is where it is plain ASCII, else in encoded words of UTF-8.
[[nodiscard]] std::string header_text(std::string_view text);

/// Quoted-printable, RFC 2045, section 6.7. Lines of `text` end with LF, those of the result with CR LF.
[[nodiscard]] std::string quoted_printable(std::string_view text);

/// The same for the same delivery, also in another life of the plugin: a mail system can tell by it that a
/// mail came twice. `from` gives the domain.
[[nodiscard]] std::string message_id(const Delivery& delivery, std::string_view from);

/// The whole mail: headers and a multipart/alternative body: plain text, and the same as HTML (RFC 5322, RFC
/// 2046), with pictures as a multipart/related of them and it (RFC 2387, RFC 2392). `time_s`: seconds since 1970.
/// Line ends are CR LF; dots at line begins are left to who sends it.
[[nodiscard]] std::string mail_text(const Delivery& delivery, const MailStyle& style, double time_s,
                                    const std::vector<Picture>& pictures = {});

}  // namespace underwing
