#include "plugins/web-hook/template.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <array>

#include "plugins/shared/clock.hpp"

namespace underwing {
namespace {

struct PlaceName {
  std::string_view name;
  std::string (*value)(const Filling&);
};

constexpr std::array kPlaces{
    PlaceName{"delivery", [](const Filling& f) { return f.delivery.id; }},
    PlaceName{"to", [](const Filling& f) { return f.delivery.to; }},
    PlaceName{"by", [](const Filling& f) { return f.delivery.by; }},
    PlaceName{"who", [](const Filling& f) { return f.delivery.who; }},
    PlaceName{"priority", [](const Filling& f) { return f.delivery.priority; }},
    PlaceName{"text", [](const Filling& f) { return f.delivery.text; }},
    PlaceName{"time", [](const Filling& f) { return write_rfc3339(f.time_s); }},
};

const PlaceName* find_place(std::string_view name) {
  const auto found =
      std::find_if(kPlaces.begin(), kPlaces.end(), [&](const PlaceName& p) { return p.name == name; });
  return found == kPlaces.end() ? nullptr : &*found;
}

std::string known_places() {
  std::string text;
  for (const PlaceName& place : kPlaces)
    text += fmt::format("{}{{{}}}", text.empty() ? "" : ", ", place.name);
  return text;
}

/// Takes a template apart: `on_text` has what stays as it is, `on_place` the name of a place. Returns the
/// trouble, if any; then parts of it may have been handed out.
template <typename OnText, typename OnPlace>
std::string take_apart(std::string_view text, OnText on_text, OnPlace on_place) {
  for (std::size_t at = 0; at < text.size();) {
    const std::size_t bracket = std::min(text.find_first_of("{}", at), text.size());
    on_text(text.substr(at, bracket - at));
    if (bracket == text.size()) break;
    if (text.substr(bracket, 2) == "{{" || text.substr(bracket, 2) == "}}") {
      on_text(text.substr(bracket, 1));
      at = bracket + 2;
      continue;
    }
    if (text[bracket] == '}') return "holds a } that closes nothing; the sign itself is written }}";
    const std::size_t end = text.find('}', bracket);
    if (end == std::string_view::npos) return "holds a { that is not closed; the sign itself is written {{";
    const std::string_view name = text.substr(bracket + 1, end - bracket - 1);
    const PlaceName* place = find_place(name);
    if (place == nullptr) {
      return fmt::format("holds the place {{{}}}, which nobody knows; there are {}", name, known_places());
    }
    on_place(*place);
    at = end + 1;
  }
  return {};
}

nlohmann::json filled(const nlohmann::json& value, const Filling& filling) {
  if (value.is_string()) return fill(value.get_ref<const std::string&>(), filling);
  if (!value.is_structured()) return value;
  nlohmann::json copy = value;
  for (auto& part : copy) part = filled(part, filling);
  return copy;
}

void append_form_encoded(std::string& form, std::string_view text) {
  for (const char c : text) {
    const bool plain = (c >= '0' && c <= '9') || (c >= 'a' && c <= 'z') || (c >= 'A' && c <= 'Z') ||
                       std::string_view("*-._").find(c) != std::string_view::npos;
    if (plain)
      form += c;
    else if (c == ' ')
      form += '+';
    else
      form += fmt::format("%{:02X}", static_cast<unsigned char>(c));
  }
}

}  // namespace

std::string template_trouble(std::string_view text) {
  return take_apart(
      text, [](std::string_view) {}, [](const PlaceName&) {});
}

std::string template_trouble(const nlohmann::json& value) {
  if (value.is_string()) return template_trouble(std::string_view(value.get_ref<const std::string&>()));
  if (!value.is_structured()) return {};
  for (const auto& part : value) {
    if (std::string trouble = template_trouble(part); !trouble.empty()) return trouble;
  }
  return {};
}

nlohmann::json as_template(const nlohmann::json& value) {
  if (value.is_string()) {
    std::string text;
    for (const char c : value.get_ref<const std::string&>()) text.append(c == '{' || c == '}' ? 2 : 1, c);
    return text;
  }
  if (!value.is_structured()) return value;
  nlohmann::json copy = value;
  for (auto& part : copy) part = as_template(part);
  return copy;
}

std::string fill(std::string_view text, const Filling& filling) {
  std::string result;
  // Its trouble was looked for when it was read.
  [[maybe_unused]] const std::string trouble = take_apart(
      text, [&](std::string_view part) { result += part; },
      [&](const PlaceName& place) { result += place.value(filling); });
  return result;
}

std::string fill_json(const nlohmann::json& value, const Filling& filling) {
  return filled(value, filling).dump(-1, ' ', false, nlohmann::json::error_handler_t::replace);
}

std::string fill_form(const nlohmann::json& map, const Filling& filling) {
  std::string form;
  for (const auto& [key, value] : map.items()) {
    if (!form.empty()) form += '&';
    append_form_encoded(form, key);
    form += '=';
    append_form_encoded(
        form, value.is_string() ? fill(value.get_ref<const std::string&>(), filling) : value.dump());
  }
  return form;
}

}  // namespace underwing
