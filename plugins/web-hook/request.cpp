#include "plugins/web-hook/request.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <cmath>
#include <memory>

namespace underwing {
namespace {

using HeaderList = std::unique_ptr<curl_slist, decltype(&curl_slist_free_all)>;

HeaderList to_list(const std::vector<std::pair<std::string, std::string>>& headers) {
  HeaderList list(nullptr, &curl_slist_free_all);
  const auto add = [&](const std::string& line) {
    curl_slist* longer = curl_slist_append(list.get(), line.c_str());
    if (longer != nullptr && !list) list.reset(longer);
  };
  for (const auto& [name, value] : headers)
    add(value.empty() ? name + ";" : fmt::format("{}: {}", name, value));
  add("Expect:");  // Without it libcurl waits for a word from the server before a long body.
  return list;
}

/// Keeps the beginning and lets the rest go by, so that no answer can fill the memory.
std::size_t keep_begin(char* bytes, std::size_t, std::size_t count, void* body) {
  auto& kept = *static_cast<std::string*>(body);
  kept.append(bytes, std::min(count, kAnswerBytesMax - kept.size()));
  return count;
}

HookAnswer failure(CURLcode code, const Transfer& transfer, const Place& place,
                   Transfer::Clock::duration given) {
  HookAnswer answer;
  if (const auto words = transfer.cannot_reach(code)) {
    const bool distrusted = code == CURLE_PEER_FAILED_VERIFICATION || code == CURLE_SSL_CACERT_BADFILE;
    answer.kind = distrusted ? HookAnswer::Kind::distrusted : HookAnswer::Kind::unreachable;
    answer.text = *words;
    return answer;
  }
  const bool asked = transfer.connected();
  answer.kind = asked ? HookAnswer::Kind::lost : HookAnswer::Kind::unreachable;
  const char* perhaps = asked ? "; it may have been taken all the same" : "";
  if (code == CURLE_OPERATION_TIMEDOUT) {
    const auto seconds = std::chrono::duration<double>(given).count();
    answer.text = fmt::format("{} did not answer within {:g} s{}", place.text(), std::round(10 * seconds) / 10, perhaps);
  } else {
    answer.text =
        fmt::format("the connection to {} broke off ({}){}", place.text(), transfer.words(code), perhaps);
  }
  return answer;
}

}  // namespace

HookAnswer send_request(const HookRequest& request, Transfer::Clock::time_point until) {
  const auto begun = Transfer::Clock::now();
  Transfer transfer(request.url, request.place, request.ca_file, until);
  const HeaderList headers = to_list(request.headers);
  HookAnswer answer;
  transfer.set(CURLOPT_POST, 1L);
  transfer.set(CURLOPT_CUSTOMREQUEST, request.method.c_str());
  transfer.set(CURLOPT_POSTFIELDSIZE, static_cast<long>(request.body.size()));
  transfer.set(CURLOPT_POSTFIELDS, request.body.c_str());
  transfer.set(CURLOPT_HTTPHEADER, headers.get());
  transfer.set(CURLOPT_WRITEFUNCTION, &keep_begin);
  transfer.set(CURLOPT_WRITEDATA, &answer.body);
  if (!request.user.empty()) {
    transfer.set(CURLOPT_HTTPAUTH, long{CURLAUTH_BASIC});
    transfer.set(CURLOPT_USERNAME, request.user.c_str());
    transfer.set(CURLOPT_PASSWORD, request.password.c_str());
  }
  const CURLcode code = transfer.perform();
  // The status decides; an answer whose body breaks off has one, too.
  const long status = transfer.response_code();
  if (status < 200) return failure(code, transfer, request.place, until - begun);
  answer.kind = HookAnswer::Kind::answered;
  answer.status = status;
  answer.retry_after_s = transfer.retry_after_s();
  answer.text = fmt::format("{} answers {}", request.place.text(), status);
  return answer;
}

HookAnswer try_connection(const std::string& url, const Place& place, const std::string& ca_file,
                          Transfer::Clock::time_point until) {
  const auto begun = Transfer::Clock::now();
  Transfer transfer(url, place, ca_file, until);
  transfer.set(CURLOPT_CONNECT_ONLY, 1L);
  const CURLcode code = transfer.perform();
  if (code != CURLE_OK) return failure(code, transfer, place, until - begun);
  HookAnswer answer;
  answer.kind = HookAnswer::Kind::answered;
  return answer;
}

bool may_try_again(const HookAnswer& answer) {
  constexpr std::array<long, 6> kNotDone{408, 425, 429, 502, 503, 504};
  if (answer.kind == HookAnswer::Kind::unreachable) return true;
  return answer.kind == HookAnswer::Kind::answered &&
         std::find(kNotDone.begin(), kNotDone.end(), answer.status) != kNotDone.end();
}

}  // namespace underwing
