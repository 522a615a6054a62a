// underwing explain against a running daemon: why a rule is or is not watching now.
#include <fmt/format.h>

#include <filesystem>

#include "daemon/control_client.hpp"
#include "daemon/json_text.hpp"
#include "daemon/tool/explain.hpp"
#include "daemon/tool/terminal.hpp"
#include "rules/explain/words.hpp"

namespace underwing::tool {

namespace {

using nlohmann::json;

constexpr std::size_t kLabelColumns = 16;

std::string value_at(const json& entry, const char* key, Units units) {
  const auto found = entry.find(key);
  if (found == entry.end() || !found->is_number()) return "unknown";
  const std::string text = text_of(entry, "unit");
  const auto unit = parse_unit(text);
  if (!unit) return plain_number(found->get<double>()) + " " + text;
  return with_its_unit(unit->to_canonical(found->get<double>()), shown_in(*unit, units));
}

void print_labelled(const std::string& label, const std::string& text) {
  if (!text.empty()) fmt::print("{}", wrapped(text, text_columns(), left_aligned(label, kLabelColumns)));
}

std::string age_of_reading(const json& probe) {
  const auto age = probe.find("age_s");
  if (age == probe.end() || !age->is_number()) return "";
  const auto seconds = std::chrono::seconds(static_cast<std::int64_t>(age->get<double>()));
  return seconds < std::chrono::seconds(1) ? ", just now" : fmt::format(", {} ago", to_words(seconds));
}

std::string probe_in_words(const json& probe, Units units) {
  std::string words = text_of(probe, "probe") + ": ";
  if (const json value = probe.value("value", json()); value.is_number()) {
    const bool on_or_off = probe.value("state", false);
    words += (on_or_off ? std::string(value.get<double>() >= 0.5 ? "on" : "off") : value_at(probe, "value", units)) + age_of_reading(probe);
  }
  const std::string trouble = text_of(probe, "text");
  if (!probe.value("counts", true)) return fmt::format("{}{}{}", words, words.ends_with(": ") ? "" : "; ", trouble);
  if (probe.value("usable", false)) return words;
  return fmt::format("{}{}not to be believed now, {}", words, words.ends_with(": ") ? "" : "; ", trouble);
}

std::string value_and_limits(const json& entry) {
  if (entry.at("limits").empty()) return "";
  const Units units = units_of(entry);
  std::string words = value_at(entry, "value", units);
  for (const json& limit : entry.at("limits")) {
    const json shown{{"value", limit.at("limit")}, {"unit", entry.at("unit")}};
    words += fmt::format("; {} {}{}", text_of(limit, "side"), value_at(shown, "value", units),
                         limit.value("active", false) ? ", broken" : "");
  }
  return words;
}

}  // namespace

std::optional<LiveFacts> ask_about(const std::string& socket, const std::string& rule, std::string& refusal) {
  auto client = ControlClient::connect(socket);
  if (!client.ok()) {
    refusal = client.error();
    return std::nullopt;
  }
  const auto answer = client->call("explain", {{"rule", rule}});
  if (!answer.ok()) {
    refusal = answer.error();
    return std::nullopt;
  }
  return LiveFacts{text_of(*answer, "rules"), answer->at("now")};
}

void print_now(const json& entry) {
  std::string place = text_of(entry, "house");
  if (!text_of(entry, "flock").empty()) place += ", flock " + text_of(entry, "flock");
  if (!text_of(entry, "probe").empty()) place += ", probe " + text_of(entry, "probe");
  fmt::print("\nNow, {}: {}\n", text_of(entry, "time_local"), place);
  std::string why;
  for (const json& sentence : entry.at("why")) why += " " + sentence.get<std::string>();
  print_labelled("Watching", (entry.value("watching", false) ? "Yes." : "No.") + why);
  print_labelled("Value", value_and_limits(entry));
  std::string label = "Probes";
  for (const json& probe : entry.at("probes")) {
    print_labelled(label, probe_in_words(probe, units_of(entry)));
    label.clear();
  }
}

}  // namespace underwing::tool
