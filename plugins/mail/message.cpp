#include "plugins/mail/message.hpp"

#include <fmt/chrono.h>
#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <ctime>

#include "plugins/mail/plot.hpp"
#include "plugins/shared/base64.hpp"
#include "plugins/shared/short_hash.hpp"

namespace underwing {
namespace {

constexpr std::size_t kSubjectCharacters = 70;
constexpr std::size_t kLineMax = 76;        // RFC 2045, section 6.7, rule 5, and section 6.8.
constexpr std::size_t kWordBytesMax = 39;   // 52 in base64; with its frame below RFC 2047's 75.
constexpr std::size_t kIdBytes = 12;

bool is_ascii_printable(char c) {
  return c >= 0x20 && c < 0x7f;
}

bool continues_character(char c) {
  return (static_cast<unsigned char>(c) & 0xc0) == 0x80;
}

/// The byte at which the character number `count` begins, or the end.
std::size_t byte_of_character(std::string_view text, std::size_t count) {
  std::size_t at = 0;
  for (; at < text.size(); ++at) {
    if (!continues_character(text[at]) && count-- == 0) break;
  }
  return at;
}

/// Up to and with the full stop that ends the first sentence, or to the end of the first line.
std::size_t first_sentence_bytes(std::string_view text) {
  const std::size_t line = std::min(text.find('\n'), text.size());
  const std::size_t stop = text.substr(0, line).find(". ");
  return stop == std::string_view::npos ? line : stop + 1;
}

/// Hexadecimal digits that stand for this delivery and no other.
std::string fingerprint(const Delivery& delivery) {
  std::string all;
  for (const std::string* part : {&delivery.id, &delivery.to, &delivery.text})
    all.append(*part).push_back('\0');
  return short_hash(all).substr(0, 2 * kIdBytes);
}

/// A name in front of an address: quoted, or as encoded words.
std::string display_name(const std::string& name) {
  if (!std::all_of(name.begin(), name.end(), is_ascii_printable)) return header_text(name);
  std::string quoted = "\"";
  for (const char c : name) {
    if (c == '"' || c == '\\') quoted += '\\';
    quoted += c;
  }
  return quoted + '"';
}

/// RFC 5322, section 3.3, in UTC. The names are the same in every language.
std::string date_text(double time_s) {
  constexpr std::array kDays{"Sun", "Mon", "Tue", "Wed", "Thu", "Fri", "Sat"};
  constexpr std::array kMonths{"Jan", "Feb", "Mar", "Apr", "May", "Jun",
                               "Jul", "Aug", "Sep", "Oct", "Nov", "Dec"};
  const std::tm utc = fmt::gmtime(static_cast<std::time_t>(time_s));
  return fmt::format("{}, {:02} {} {} {:02}:{:02}:{:02} +0000", kDays[static_cast<std::size_t>(utc.tm_wday)],
                     utc.tm_mday, kMonths[static_cast<std::size_t>(utc.tm_mon)], utc.tm_year + 1900,
                     utc.tm_hour, utc.tm_min, utc.tm_sec);
}

void append_html(std::string& html, std::string_view text) {
  for (const char c : text) {
    if (c == '&')
      html += "&amp;";
    else if (c == '<')
      html += "&lt;";
    else if (c == '>')
      html += "&gt;";
    else if (c == '"')
      html += "&quot;";
    else if (c == '\n')
      html += "<br>\n";
    else
      html += c;
  }
}

/// Base64 in lines of the length that RFC 2045, section 6.8, allows.
std::string in_lines(std::string_view base64) {
  std::string lines;
  for (; !base64.empty(); base64.remove_prefix(std::min(base64.size(), kLineMax))) {
    if (!lines.empty()) lines += "\r\n";
    lines += base64.substr(0, kLineMax);
  }
  return lines;
}

/// A picture's name, which no other picture of any mail has.
std::string content_id(std::size_t picture, const std::string& mail, std::string_view from) {
  return fmt::format("plot-{}.{}@{}", picture + 1, mail, from.substr(from.find('@') + 1));
}

/// The text for people who look at it on a screen: its first sentence large, pictures below the text, nothing from
/// elsewhere in it.
std::string html_of(std::string_view text, std::string_view closing, const std::vector<Picture>& pictures,
                    const std::vector<std::string>& ids) {
  const std::size_t first = first_sentence_bytes(text);
  std::string html =
      "<!doctype html>\n<html><body style=\"font-family:sans-serif;line-height:1.4\">\n<p "
      "style=\"font-size:140%;font-weight:bold\">";
  append_html(html, text.substr(0, first));
  html += "</p>\n";
  const std::size_t next = text.find_first_not_of(" \n", first);
  const auto paragraph = [&](std::string_view style, std::string_view words) {
    html += fmt::format("<p{}>", style);
    append_html(html, words);
    html += "</p>\n";
  };
  if (next != std::string_view::npos) paragraph("", text.substr(next));
  for (std::size_t i = 0; i < pictures.size(); ++i) {
    html += fmt::format("<p><img src=\"cid:{}\" width=\"{}\" style=\"max-width:100%;height:auto\" alt=\"", ids[i], kPlotWidth);
    append_html(html, pictures[i].alt);
    html += "\"></p>\n";
  }
  if (!closing.empty()) paragraph(" style=\"color:#555\"", closing);
  return html + "</body></html>\n";
}

}  // namespace

std::string address_trouble(std::string_view address) {
  constexpr std::string_view kLocalSigns = "!#$%&'*+-/=?^_`{|}~.";
  constexpr std::string_view kDomainSigns = "-.";
  const auto fits = [](std::string_view part, std::string_view signs) {
    return !part.empty() && std::all_of(part.begin(), part.end(), [&](char c) {
      return (c >= '0' && c <= '9') || (c >= 'a' && c <= 'z') || (c >= 'A' && c <= 'Z') ||
             signs.find(c) != std::string_view::npos;
    });
  };
  const std::size_t at = address.find('@');
  if (at == std::string_view::npos) return "is no mail address";
  if (!fits(address.substr(0, at), kLocalSigns) || !fits(address.substr(at + 1), kDomainSigns) ||
      address.size() > 254) {
    return "is no mail address that every server takes";
  }
  return {};
}

std::string subject_of(std::string_view text) {
  std::string line(text.substr(0, first_sentence_bytes(text)));
  std::replace_if(
      line.begin(), line.end(), [](char c) { return static_cast<unsigned char>(c) < 0x20 || c == 0x7f; },
      ' ');
  while (line.ends_with(' ')) line.pop_back();
  const std::size_t most = byte_of_character(line, kSubjectCharacters);
  if (most == line.size()) return line;
  // Room for the sign that says that it goes on.
  line.resize(byte_of_character(line, kSubjectCharacters - 1));
  if (const std::size_t space = line.rfind(' '); space != std::string::npos && space > 0) line.resize(space);
  return line + "…";
}

std::string header_text(std::string_view text) {
  if (std::all_of(text.begin(), text.end(), is_ascii_printable)) return std::string(text);
  std::string words;
  while (!text.empty()) {
    std::size_t bytes = std::min(text.size(), kWordBytesMax);
    // A character is never cut in two (RFC 2047, section 5); text that is no UTF-8 still gets on.
    while (bytes < text.size() && bytes > 1 && continues_character(text[bytes])) --bytes;
    words += fmt::format("{}=?UTF-8?B?{}?=", words.empty() ? "" : "\r\n ", base64(text.substr(0, bytes)));
    text.remove_prefix(bytes);
  }
  return words;
}

std::string quoted_printable(std::string_view text) {
  std::string out;
  std::size_t column = 0;
  for (std::size_t i = 0; i < text.size(); ++i) {
    const char c = text[i];
    if (c == '\n') {
      out += "\r\n";
      column = 0;
      continue;
    }
    const bool ends_line = i + 1 == text.size() || text[i + 1] == '\n';
    const bool plain = is_ascii_printable(c) && c != '=' && !(c == ' ' && ends_line);
    const std::string written =
        plain ? std::string(1, c) : fmt::format("={:02X}", static_cast<unsigned char>(c));
    if (column + written.size() + (ends_line ? 0 : 1) > kLineMax) {
      out += "=\r\n";
      column = 0;
    }
    out += written;
    column += written.size();
  }
  return out;
}

std::string message_id(const Delivery& delivery, std::string_view from) {
  return fmt::format("<{}@{}>", fingerprint(delivery), from.substr(from.find('@') + 1));
}

std::string mail_text(const Delivery& delivery, const MailStyle& style, double time_s,
                      const std::vector<Picture>& pictures) {
  const std::string unique = fingerprint(delivery);
  const std::string boundary = "part-" + unique, inner = "pictures-" + unique;
  std::string mail;
  const auto header = [&](std::string_view name, std::string_view value) {
    mail += fmt::format("{}: {}\r\n", name, value);
  };
  header("Date", date_text(time_s));
  header("From", style.from_name.empty() ? style.from
                                         : fmt::format("{} <{}>", display_name(style.from_name), style.from));
  header("To", delivery.to);
  header("Subject", header_text(subject_of(delivery.text)));
  header("Message-ID", message_id(delivery, style.from));
  header("Auto-Submitted", "auto-generated");                       // RFC 3834: no holiday notes in answer
  if (delivery.priority == "urgent") header("Importance", "high");  // RFC 2156
  header("MIME-Version", "1.0");
  header("Content-Type", fmt::format("multipart/alternative; boundary=\"{}\"", boundary));
  const auto part = [&](std::string_view within, std::string_view type, std::string_view text) {
    mail += fmt::format(
        "\r\n--{}\r\nContent-Type: {}; charset=utf-8\r\nContent-Transfer-Encoding: "
        "quoted-printable\r\n\r\n{}",
        within, type, quoted_printable(text));
  };
  part(boundary, "text/plain",
       style.closing.empty() ? delivery.text : fmt::format("{}\n\n{}", delivery.text, style.closing));
  if (!pictures.empty()) {
    mail += fmt::format("\r\n--{}\r\nContent-Type: multipart/related; type=\"text/html\"; boundary=\"{}\"\r\n", boundary, inner);
  }
  std::vector<std::string> ids;
  for (std::size_t i = 0; i < pictures.size(); ++i) ids.push_back(content_id(i, unique, style.from));
  part(pictures.empty() ? boundary : inner, "text/html", html_of(delivery.text, style.closing, pictures, ids));
  for (std::size_t i = 0; i < pictures.size(); ++i) {
    mail += fmt::format(
        "\r\n--{}\r\nContent-Type: image/png\r\nContent-Transfer-Encoding: base64\r\nContent-ID: <{}>\r\n"
        "Content-Disposition: inline; filename=\"plot-{}.png\"\r\n\r\n{}",
        inner, ids[i], i + 1, in_lines(pictures[i].png));
  }
  if (!pictures.empty()) mail += fmt::format("\r\n--{}--\r\n", inner);
  mail += fmt::format("\r\n--{}--\r\n", boundary);
  return mail;
}

}  // namespace underwing
