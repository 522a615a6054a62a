#include "plugins/shared/network.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cstdlib>
#include <cstring>

namespace underwing {
namespace {

struct UrlText {
  char* text = nullptr;
  ~UrlText() { curl_free(text); }
};

std::string part(CURLU* url, CURLUPart which, unsigned flags = 0) {
  UrlText found;
  return curl_url_get(url, which, &found.text, flags) == CURLUE_OK ? std::string(found.text) : std::string();
}

bool is_loopback(const std::string& host) {
  if (host == "localhost" || host == "[::1]") return true;
  // Digits and dots only: a name such as 127.example.org is somebody else's.
  return host.starts_with("127.") && host.find_first_not_of("0123456789.") == std::string::npos;
}

std::string begin_of(std::initializer_list<std::string_view> schemes) {
  std::string text;
  for (const std::string_view scheme : schemes)
    text += fmt::format("{}{}://", text.empty() ? "" : " or ", scheme);
  return text;
}

}  // namespace

std::optional<Place> read_place(const std::string& url, std::initializer_list<std::string_view> schemes,
                                std::string& error) {
  const bool begins = std::any_of(schemes.begin(), schemes.end(), [&](std::string_view scheme) {
    return url.starts_with(fmt::format("{}://", scheme));
  });
  if (!begins) {
    error = fmt::format("must begin with {}", begin_of(schemes));
    return std::nullopt;
  }
  const std::unique_ptr<CURLU, decltype(&curl_url_cleanup)> parts(curl_url(), &curl_url_cleanup);
  if (const CURLUcode code = curl_url_set(parts.get(), CURLUPART_URL, url.c_str(), 0); code != CURLUE_OK) {
    error = fmt::format("is no address: {}", curl_url_strerror(code));
    return std::nullopt;
  }
  if (!part(parts.get(), CURLUPART_USER).empty() || !part(parts.get(), CURLUPART_PASSWORD).empty()) {
    error = "holds a user or password; those are settings of their own";
    return std::nullopt;
  }
  Place place{part(parts.get(), CURLUPART_SCHEME), part(parts.get(), CURLUPART_HOST),
              part(parts.get(), CURLUPART_PORT, CURLU_DEFAULT_PORT),
              !part(parts.get(), CURLUPART_PORT).empty(), false};
  place.loopback = is_loopback(place.host);
  return place;
}

Transfer::Transfer(const std::string& url, const Place& place, const std::string& ca_file,
                   Clock::time_point until)
    : handle_(curl_easy_init(), &curl_easy_cleanup), place_(place.text()) {
  if (!handle_) std::abort();
  const auto left = std::chrono::duration_cast<std::chrono::milliseconds>(until - Clock::now()).count();
  set(CURLOPT_ERRORBUFFER, error_.data());
  set(CURLOPT_URL, url.c_str());
  set(CURLOPT_PROTOCOLS_STR, place.scheme.c_str());
  set(CURLOPT_TIMEOUT_MS, static_cast<long>(std::max<std::int64_t>(left, 1)));
  set(CURLOPT_NOSIGNAL, 1L);
  set(CURLOPT_QUICK_EXIT, 1L);  // A name server that hangs must not hold the outcome back.
  set(CURLOPT_PROXY, "");
  set(CURLOPT_FRESH_CONNECT, 1L);
  set(CURLOPT_FORBID_REUSE, 1L);
  set(CURLOPT_SSLVERSION, long{CURL_SSLVERSION_TLSv1_2});  // RFC 8996 forbids what is older.
  set(CURLOPT_SSL_VERIFYPEER, 1L);
  set(CURLOPT_SSL_VERIFYHOST, 2L);
  if (!ca_file.empty()) {
    set(CURLOPT_CAINFO, ca_file.c_str());
    set(CURLOPT_CAPATH, nullptr);
  }
}

void Transfer::check(CURLcode code) {
  if (code == CURLE_OK) return;
  fmt::print(stderr, "libcurl refuses an option: {}\n", curl_easy_strerror(code));
  std::abort();
}

CURLcode Transfer::perform() {
  return curl_easy_perform(handle_.get());
}

long Transfer::response_code() const {
  long code = 0;
  curl_easy_getinfo(handle_.get(), CURLINFO_RESPONSE_CODE, &code);
  return code;
}

bool Transfer::connected() const {
  curl_off_t since_us = 0;
  curl_easy_getinfo(handle_.get(), CURLINFO_PRETRANSFER_TIME_T, &since_us);
  return since_us > 0;
}

std::int64_t Transfer::retry_after_s() const {
  curl_off_t seconds = 0;
  curl_easy_getinfo(handle_.get(), CURLINFO_RETRY_AFTER, &seconds);
  return seconds;
}

std::string Transfer::words(CURLcode code) const {
  return error_[0] != '\0' ? std::string(error_.data()) : std::string(curl_easy_strerror(code));
}

std::optional<std::string> Transfer::cannot_reach(CURLcode code) const {
  long os_errno = 0;
  curl_easy_getinfo(handle_.get(), CURLINFO_OS_ERRNO, &os_errno);
  switch (code) {
    case CURLE_COULDNT_RESOLVE_HOST:
      return fmt::format("the name in {} leads nowhere", place_);
    case CURLE_COULDNT_CONNECT:
      return fmt::format("cannot connect to {}: {}", place_,
                         os_errno != 0 ? std::strerror(static_cast<int>(os_errno)) : words(code));
    case CURLE_USE_SSL_FAILED:
      return fmt::format("{} offers no TLS, and without TLS nothing is sent", place_);
    case CURLE_PEER_FAILED_VERIFICATION:
      return fmt::format("the certificate of {} cannot be trusted: {}", place_, words(code));
    case CURLE_SSL_CACERT_BADFILE:
      return fmt::format("the certificates to trust cannot be read: {}", words(code));
    case CURLE_SSL_CONNECT_ERROR:
      return fmt::format("no TLS with {}: {}", place_, words(code));
    default:
      return std::nullopt;
  }
}

std::string on_one_line(std::string_view text, std::size_t most) {
  std::string line(text.substr(0, most));
  std::replace_if(
      line.begin(), line.end(), [](char c) { return static_cast<unsigned char>(c) < 0x20 || c == 0x7f; },
      ' ');
  while (line.ends_with(' ')) line.pop_back();
  return line;
}

}  // namespace underwing
