#pragma once

#include <nlohmann/json.hpp>
#include <optional>
#include <string>
#include <utility>
#include <vector>

#include "plugins/shared/settings.hpp"
#include "plugins/web-hook/request.hpp"
#include "plugins/web-hook/template.hpp"

namespace underwing {

/// What the settings say of a web-hook.
struct Hook {
  std::string url;     ///< empty: each delivery's own `to` is one
  std::string method;  ///< POST or PUT
  bool without_tls = false;
  std::vector<std::pair<std::string, std::string>> headers;  ///< names, and templates
  bool form = false;                                         ///< else JSON
  nlohmann::json body;                                       ///< every text in it is a template
  std::string user, password, token, ca_file;
  std::string sign_key, sign_key_name;  ///< no key: not signed

  /// Where in a JSON answer it says what became of the text.
  struct AnswerRule {
    nlohmann::json::json_pointer at;
    std::vector<std::string> sent, delivered;
  };
  std::optional<AnswerRule> answer;
};

/// Reads it. Throws SettingsError.
[[nodiscard]] Hook read_hook(Settings& settings);

/// The hook for a heartbeat to `to` that says `says`. Headers, passwords and the signature are meant for the server of
/// `url`, and go nowhere else.
[[nodiscard]] Hook heartbeat_hook(const Hook& hook, const std::string& to, const nlohmann::json& says);

/// Why this is no address for a hook, to follow it in a sentence; empty: it is one, and `place` says where it
/// leads.
[[nodiscard]] std::string url_trouble(const Hook& hook, const std::string& url, Place& place);

/// The request for a delivery to `url`, signed where the hook has a key. `time_s`: seconds since 1970.
[[nodiscard]] HookRequest make_request(const Hook& hook, const std::string& url, const Place& place,
                                       const Filling& filling);

/// What an answer means for a text.
enum class Verdict : std::uint8_t { failed, sent, delivered };
struct Judged {
  Verdict verdict = Verdict::failed;
  std::string text;    ///< a sentence's words
  bool works = false;  ///< nothing is wrong with the way itself, whatever became of this text
};
[[nodiscard]] Judged judge(const Hook& hook, const HookAnswer& answer);

}  // namespace underwing
