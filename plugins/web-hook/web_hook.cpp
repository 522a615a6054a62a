#include <fmt/format.h>
#include <sodium.h>
#include <unistd.h>

#include <algorithm>
#include <cstdio>
#include <thread>

#include "plugins/shared/carrier.hpp"
#include "plugins/shared/clock.hpp"
#include "plugins/web-hook/hook.hpp"

namespace underwing {
namespace {

constexpr std::string_view kHelp =
    R"(underwing-web-hook: a channel that hands each text to a web server, over TLS.

It speaks Underwing's line protocol on standard input and output; plugins/README.md describes it and every
setting. By hand:

  { echo '{"jsonrpc":"2.0","method":"settings","params":{"url":"https://texts.example.org/send",
     "json":{"number":"{to}","message":"{text}"}}}' | tr -d '\n'; echo
    echo '{"jsonrpc":"2.0","method":"deliver","params":{"delivery":"d-1","to":"+44 7700 900101","by":"web-hook",
     "who":"ines","text":"hello"}}' | tr -d '\n'; echo; cat; } | underwing-web-hook

Options: --help, --version.
)";

constexpr std::chrono::seconds kFirstPause{1};

class WebHook final : public Carrier {
 public:
  WebHook() : Carrier("web-hook") {}

 private:
  void on_settings(Settings& settings) override {
    read_timing(settings);
    hook_ = read_hook(settings);
    tries_ = static_cast<int>(settings.number("tries", 3, 1, 10));
  }

  void carry(const Delivery& delivery, Clock::time_point until, const Say& say) const override {
    const std::string& url = hook_.url.empty() ? delivery.to : hook_.url;
    Place place;
    if (const std::string trouble = url_trouble(hook_, url, place); !trouble.empty()) {
      return say({Outcome::failed, fmt::format("'{}' {}", on_one_line(url), trouble), Way::unknown});
    }
    const HookRequest request = make_request(hook_, url, place, {delivery, wall_seconds()});
    say(to_result(send_with_patience(request, until)));
  }

  /// To the heartbeat's own address, with what it says and nothing of the template.
  void pass_on(const Beat& beat, Clock::time_point until, const Say& say) const override {
    const Hook hook = heartbeat_hook(hook_, beat.to, beat.says);
    Place place;
    if (const std::string trouble = url_trouble(hook, beat.to, place); !trouble.empty()) {
      return say({Outcome::failed, fmt::format("'{}' {}", on_one_line(beat.to), trouble), Way::unknown});
    }
    Delivery delivery;
    delivery.id = "heartbeat-" + text_of(beat.says, "time");
    const Judged judged = judge(hook, send_request(make_request(hook, beat.to, place, {delivery, wall_seconds()}), until));
    say({judged.verdict == Verdict::failed ? Outcome::failed : Outcome::sent, judged.text, Way::unknown});
  }

  /// Again only where that cannot make two texts of one, and where there is time for it.
  HookAnswer send_with_patience(const HookRequest& request, Clock::time_point until) const {
    Clock::duration pause = kFirstPause;
    for (int left = tries_;; pause *= 2) {
      HookAnswer answer = send_request(request, until);
      if (--left == 0 || !may_try_again(answer)) return answer;
      const Clock::duration wanted =
          std::max<Clock::duration>(pause, std::chrono::seconds(answer.retry_after_s));
      if (wanted >= until - Clock::now()) return answer;
      std::this_thread::sleep_for(wanted);
    }
  }

  void check(Clock::time_point until, const Say& say) const override {
    if (hook_.url.empty()) return;
    Place place;
    // Its trouble was looked for when it was read.
    [[maybe_unused]] const std::string trouble = url_trouble(hook_, hook_.url, place);
    const HookAnswer answer = try_connection(hook_.url, place, hook_.ca_file, until);
    const bool works = answer.kind == HookAnswer::Kind::answered;
    say({Outcome::failed, answer.text, works ? Way::works : Way::broken});
  }

  Result to_result(const HookAnswer& answer) const {
    const Judged judged = judge(hook_, answer);
    const auto outcome = judged.verdict == Verdict::delivered ? Outcome::delivered
                         : judged.verdict == Verdict::sent    ? Outcome::sent
                                                              : Outcome::failed;
    // Where each person has a server of their own, one that is down says nothing of the others.
    const Way way = hook_.url.empty() ? Way::unknown : judged.works ? Way::works : Way::broken;
    return {outcome, judged.text, way};
  }

  [[nodiscard]] std::string works_text() const override {
    Place place;
    [[maybe_unused]] const std::string trouble = url_trouble(hook_, hook_.url, place);
    return fmt::format("reaches {}", place.text());
  }

  Hook hook_;
  int tries_ = 1;
};

}  // namespace
}  // namespace underwing

int main(int argc, char** argv) {
  if (const auto status = underwing::answer_options(argc, argv, "underwing-web-hook", underwing::kHelp)) {
    return *status;
  }
  if (sodium_init() < 0 || curl_global_init(CURL_GLOBAL_DEFAULT) != CURLE_OK) return 2;
  // Not destroyed: a thread may still be at work.
  auto* plugin = new underwing::WebHook();
  const int status = plugin->run();
  std::fflush(stderr);
  _exit(status);
}
