#include "plugins/web-hook/hook.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <cctype>
#include <string_view>

#include "plugins/shared/secret_file.hpp"
#include "plugins/web-hook/signature.hpp"

namespace underwing {
namespace {

constexpr std::size_t kHeaderBytesMax = 2000;
constexpr std::size_t kShownBytes = 120;  ///< of an answer, in a receipt's text

std::string in_small_letters(std::string text) {
  std::transform(text.begin(), text.end(), text.begin(),
                 [](unsigned char c) { return static_cast<char>(std::tolower(c)); });
  return text;
}

/// RFC 9110, section 5.6.2.
bool is_header_name(std::string_view name) {
  return !name.empty() && std::all_of(name.begin(), name.end(), [](unsigned char c) {
    return std::isalnum(c) != 0 ||
           std::string_view("!#$%&'*+-.^_`|~").find(static_cast<char>(c)) != std::string_view::npos;
  });
}

void read_headers(Settings& settings, Hook& hook) {
  constexpr std::array kOwn{"authorization",
                            "connection",
                            "content-digest",
                            "content-length",
                            "content-type",
                            "expect",
                            "host",
                            "idempotency-key",
                            "signature",
                            "signature-input",
                            "te",
                            "transfer-encoding",
                            "upgrade"};
  const nlohmann::json* headers = settings.raw("headers");
  if (headers == nullptr) return;
  if (!headers->is_object()) settings.refuse("headers", "must be a map of names and texts");
  for (const auto& [name, value] : headers->items()) {
    if (!is_header_name(name))
      settings.refuse("headers", fmt::format("has '{}', which is no name for a header", name));
    if (std::find(kOwn.begin(), kOwn.end(), in_small_letters(name)) != kOwn.end()) {
      settings.refuse("headers", fmt::format("has '{}', which this plugin writes itself", name));
    }
    if (value.is_structured() || value.is_null())
      settings.refuse("headers", fmt::format("has no text for '{}'", name));
    std::string text = value.is_string() ? value.get<std::string>() : value.dump();
    if (const std::string trouble = template_trouble(std::string_view(text)); !trouble.empty()) {
      settings.refuse("headers", fmt::format("has the text '{}', which {}", text, trouble));
    }
    hook.headers.emplace_back(name, std::move(text));
  }
}

/// What goes out where the settings do not say: everything that there is.
nlohmann::json whole_body() {
  return {{"delivery", "{delivery}"}, {"to", "{to}"},     {"by", "{by}"},    {"who", "{who}"},
          {"priority", "{priority}"}, {"text", "{text}"}, {"time", "{time}"}};
}

void read_body(Settings& settings, Hook& hook) {
  const nlohmann::json* json = settings.raw("json");
  const nlohmann::json* form = settings.raw("form");
  if (json != nullptr && form != nullptr) settings.refuse("form", "and json exclude each other");
  hook.form = form != nullptr;
  const char* key = hook.form ? "form" : "json";
  hook.body = hook.form ? *form : json != nullptr ? *json : whole_body();
  if (const std::string trouble = template_trouble(hook.body); !trouble.empty())
    settings.refuse(key, trouble);
  if (!hook.form) return;
  const bool flat = hook.body.is_object() &&
                    std::none_of(hook.body.begin(), hook.body.end(),
                                 [](const auto& value) { return value.is_structured() || value.is_null(); });
  if (!flat) settings.refuse("form", "must be a map of names and texts");
}

void read_secrets(Settings& settings, Hook& hook) {
  hook.ca_file = settings.text("ca_file", "");
  hook.user = settings.text("user", "");
  hook.password = read_secret(settings, "password_file", "web-hook");
  hook.token = read_secret(settings, "token_file", "web-hook");
  if (hook.user.empty() != hook.password.empty())
    settings.refuse("user", "and password_file go together: either both or none");
  if (!hook.user.empty() && !hook.token.empty()) settings.refuse("token_file", "and user exclude each other");
  hook.sign_key = read_secret(settings, "sign_key_file", "web-hook");
  hook.sign_key_name = settings.text("sign_key_name", "underwing");
  const bool plain = std::all_of(hook.sign_key_name.begin(), hook.sign_key_name.end(),
                                 [](char c) { return c >= 0x20 && c < 0x7f; });
  if (!plain) settings.refuse("sign_key_name", "must be plain ASCII");
}

std::vector<std::string> texts_of(const Settings& settings, const nlohmann::json* value, const char* key) {
  std::vector<std::string> texts;
  if (value == nullptr) return texts;
  const auto add = [&](const nlohmann::json& one) {
    if (one.is_structured()) settings.refuse(key, "must be a text or a list of texts");
    texts.push_back(one.is_string() ? one.get<std::string>() : one.dump());
  };
  if (value->is_array())
    std::for_each(value->begin(), value->end(), add);
  else
    add(*value);
  return texts;
}

void read_answer(Settings& settings, Hook& hook) {
  auto map = settings.map("answer");
  if (!map) return;
  Hook::AnswerRule rule;
  const std::string at = map->text("at");
  try {
    rule.at = nlohmann::json::json_pointer(at);
  } catch (const nlohmann::json::exception&) {
    map->refuse("at", fmt::format("'{}' is no JSON Pointer, such as /status", at));
  }
  rule.sent = texts_of(*map, map->raw("sent"), "sent");
  rule.delivered = texts_of(*map, map->raw("delivered"), "delivered");
  if (rule.sent.empty() && rule.delivered.empty())
    map->refuse("sent", "is missing, and so is delivered: no answer would be good");
  map->finish();
  hook.answer = std::move(rule);
}

std::string url_part(const std::string& url, CURLUPart which) {
  const std::unique_ptr<CURLU, decltype(&curl_url_cleanup)> parts(curl_url(), &curl_url_cleanup);
  char* text = nullptr;
  if (curl_url_set(parts.get(), CURLUPART_URL, url.c_str(), 0) != CURLUE_OK ||
      curl_url_get(parts.get(), which, &text, 0) != CURLUE_OK) {
    return {};
  }
  std::string found(text);
  curl_free(text);
  return found;
}

/// RFC 9421: the derived parts of section 2.2, then the headers that say what it is about.
void sign(const Hook& hook, HookRequest& request, double time_s) {
  const std::string digest = content_digest(request.body);
  request.headers.emplace_back("Content-Digest", digest);
  const bool usual_port = request.place.port == (request.place.scheme == "https" ? "443" : "80");
  Signed what;
  what.created_s = static_cast<std::int64_t>(time_s);
  what.key_name = hook.sign_key_name;
  what.parts = {{"@method", request.method},
                {"@authority", in_small_letters(usual_port ? request.place.host : request.place.text())},
                {"@path", url_part(request.url, CURLUPART_PATH)}};
  if (const std::string query = url_part(request.url, CURLUPART_QUERY); !query.empty()) {
    what.parts.push_back({"@query", "?" + query});
  }
  for (const auto& [name, value] : request.headers) {
    const std::string small = in_small_letters(name);
    if (small == "content-type" || small == "content-digest" || small == "idempotency-key")
      what.parts.push_back({small, value});
  }
  const std::string parameters = signature_parameters(what);
  request.headers.emplace_back("Signature-Input", "underwing=" + parameters);
  request.headers.emplace_back("Signature",
                               "underwing=" + signature(signature_base(what, parameters), hook.sign_key));
}

/// Whether a status speaks of the way (who we are, where it leads, that it is out of order) and not of this
/// text.
bool speaks_of_the_way(long status) {
  return status < 400 || status == 401 || status == 403 || status == 404 || status == 407 || status == 429 ||
         status >= 500;
}

Judged judge_body(const Hook::AnswerRule& rule, const HookAnswer& answer) {
  const auto json = nlohmann::json::parse(answer.body, nullptr, false);
  if (json.is_discarded() || !json.contains(rule.at)) {
    return {Verdict::failed, fmt::format("{} without {}", answer.text, rule.at.to_string()), false};
  }
  const nlohmann::json& value = json.at(rule.at);
  const std::string word = value.is_string() ? value.get<std::string>() : value.dump();
  const auto is_in = [&](const std::vector<std::string>& words) {
    return std::find(words.begin(), words.end(), word) != words.end();
  };
  const std::string text =
      fmt::format("{} with {} '{}'", answer.text, rule.at.to_string(), on_one_line(word, kShownBytes));
  if (is_in(rule.delivered)) return {Verdict::delivered, text, true};
  if (is_in(rule.sent)) return {Verdict::sent, text, true};
  return {Verdict::failed, text, true};
}

}  // namespace

std::string url_trouble(const Hook& hook, const std::string& url, Place& place) {
  std::string error;
  const auto found = read_place(url, {"https", "http"}, error);
  if (!found) return error;
  place = *found;
  if (place.scheme == "https") return {};
  if (!hook.without_tls) return "must begin with https://, or 'without_tls: true' must stand beside it";
  const bool holds_secret = !hook.user.empty() || !hook.token.empty();
  if (holds_secret && !place.loopback)
    return "must begin with https://: a password or token never crosses the network in the clear";
  return {};
}

Hook read_hook(Settings& settings) {
  Hook hook;
  hook.url = settings.text("url", "");
  hook.without_tls = settings.flag("without_tls", false);
  hook.method = settings.text("method", "POST");
  if (hook.method != "POST" && hook.method != "PUT") settings.refuse("method", "must be POST or PUT");
  read_headers(settings, hook);
  read_body(settings, hook);
  read_secrets(settings, hook);
  read_answer(settings, hook);
  if (hook.url.empty()) return hook;
  Place place;
  if (const std::string trouble = url_trouble(hook, hook.url, place); !trouble.empty()) {
    settings.refuse("url", fmt::format("'{}' {}", hook.url, trouble));
  }
  return hook;
}

Hook heartbeat_hook(const Hook& hook, const std::string& to, const nlohmann::json& says) {
  std::string error;
  const auto there = read_place(to, {"https", "http"}, error);
  const auto home = read_place(hook.url, {"https", "http"}, error);
  const bool at_home = hook.url.empty() || (there && home && there->scheme == home->scheme && there->text() == home->text());
  Hook beat;
  if (at_home) beat = hook;
  beat.method = "POST";
  beat.without_tls = hook.without_tls;
  beat.ca_file = hook.ca_file;
  beat.form = false;
  beat.body = as_template(says);
  beat.answer.reset();
  return beat;
}

HookRequest make_request(const Hook& hook, const std::string& url, const Place& place,
                         const Filling& filling) {
  HookRequest request;
  request.url = url;
  request.place = place;
  request.method = hook.method;
  request.user = hook.user;
  request.password = hook.password;
  request.ca_file = hook.ca_file;
  request.body = hook.form ? fill_form(hook.body, filling) : fill_json(hook.body, filling);
  request.headers.emplace_back("Content-Type",
                               hook.form ? "application/x-www-form-urlencoded" : "application/json");
  request.headers.emplace_back("Idempotency-Key", fmt::format("\"{}\"", on_one_line(filling.delivery.id)));
  if (!hook.token.empty()) request.headers.emplace_back("Authorization", "Bearer " + hook.token);
  for (const auto& [name, text] : hook.headers) {
    request.headers.emplace_back(name, on_one_line(fill(text, filling), kHeaderBytesMax));
  }
  if (!hook.sign_key.empty()) sign(hook, request, filling.time_s);
  return request;
}

Judged judge(const Hook& hook, const HookAnswer& answer) {
  if (answer.kind != HookAnswer::Kind::answered) return {Verdict::failed, answer.text, false};
  if (answer.status >= 200 && answer.status < 300) {
    if (hook.answer) return judge_body(*hook.answer, answer);
    return {Verdict::sent, answer.text, true};
  }
  if (answer.status < 400) {
    return {Verdict::failed, fmt::format("{}, which leads elsewhere; that is not followed", answer.text),
            false};
  }
  const std::string says = on_one_line(answer.body, kShownBytes);
  return {Verdict::failed, says.empty() ? answer.text : fmt::format("{}: {}", answer.text, says),
          !speaks_of_the_way(answer.status)};
}

}  // namespace underwing
