#pragma once

#include <curl/curl.h>

#include <array>
#include <chrono>
#include <initializer_list>
#include <memory>
#include <optional>
#include <string>
#include <string_view>

namespace underwing {

/// Where a URL leads.
struct Place {
  std::string scheme;     ///< "https"
  std::string host;       ///< as written, an IPv6 address in brackets
  std::string port;       ///< the scheme's own where the URL names none
  bool own_port = false;  ///< the URL names it
  bool loopback = false;  ///< this machine: 127.0.0.0/8, [::1] or localhost

  [[nodiscard]] std::string text() const { return host + ":" + port; }
};

/// Takes a URL apart that must have one of `schemes`. On failure `error` is what is wrong with it, to follow
/// its name in a sentence ("must begin with https://").
[[nodiscard]] std::optional<Place> read_place(const std::string& url,
                                              std::initializer_list<std::string_view> schemes,
                                              std::string& error);

/// One use of libcurl, by one thread: its handle, its own words for what went wrong, and what all our uses
/// have in common: a deadline, certificates checked, TLS 1.2 at least, no proxy, no redirects.
class Transfer {
 public:
  using Clock = std::chrono::steady_clock;

  /// `ca_file` empty: the certificates that this machine trusts. Past `until` it ends.
  Transfer(const std::string& url, const Place& place, const std::string& ca_file, Clock::time_point until);

  /// Options are ours alone, so that a refused one is our mistake: it ends the process.
  template <typename Value>
  void set(CURLoption option, Value value) {
    check(curl_easy_setopt(handle_.get(), option, value));
  }

  [[nodiscard]] CURLcode perform();
  [[nodiscard]] long response_code() const;
  /// Whether a request, or a mail, may have been begun: the connection stood, with TLS.
  [[nodiscard]] bool connected() const;
  [[nodiscard]] std::int64_t retry_after_s() const;

  /// A sentence's words for failures before anything could be asked of the other end: no name, no connection,
  /// no trusted TLS. nullopt: it was another failure.
  [[nodiscard]] std::optional<std::string> cannot_reach(CURLcode code) const;
  /// libcurl's own words.
  [[nodiscard]] std::string words(CURLcode code) const;

 private:
  static void check(CURLcode code);

  std::unique_ptr<CURL, decltype(&curl_easy_cleanup)> handle_;
  std::array<char, CURL_ERROR_SIZE> error_{};
  std::string place_;
};

/// Text from outside for one line: signs that are no plain text become spaces; at most `most` bytes.
[[nodiscard]] std::string on_one_line(std::string_view text, std::size_t most = 200);

}  // namespace underwing
