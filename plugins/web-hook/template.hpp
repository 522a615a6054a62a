#pragma once

#include <nlohmann/json.hpp>
#include <string>
#include <string_view>

#include "plugins/shared/plugin.hpp"

namespace underwing {

/// What the named places of a template stand for.
struct Filling {
  const Delivery& delivery;
  double time_s;  ///< seconds since 1970; `{time}` is RFC 3339 in UTC
};

/// Why a text is no template, to follow its name in a sentence; empty: it is one. Places are `{delivery}`,
/// `{to}`, `{by}`,
/// `{who}`, `{priority}`, `{text}` and `{time}`; `{{` and `}}` stand for the brackets themselves.
[[nodiscard]] std::string template_trouble(std::string_view text);
/// The same for every text of a JSON value; keys are no templates.
[[nodiscard]] std::string template_trouble(const nlohmann::json& value);

/// JSON that fills to exactly this value.
[[nodiscard]] nlohmann::json as_template(const nlohmann::json& value);

/// A template without trouble, with its places filled.
[[nodiscard]] std::string fill(std::string_view text, const Filling& filling);

/// JSON with every text filled, escaped as JSON wants it.
[[nodiscard]] std::string fill_json(const nlohmann::json& value, const Filling& filling);

/// A map of texts and numbers as application/x-www-form-urlencoded (WHATWG URL, section 5.2), filled.
[[nodiscard]] std::string fill_form(const nlohmann::json& map, const Filling& filling);

}  // namespace underwing
