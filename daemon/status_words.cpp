#include "daemon/status_words.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <vector>

#include "daemon/json_text.hpp"
#include "rules/explain/words.hpp"

namespace underwing {

namespace {

using nlohmann::json;

constexpr std::size_t kLabel = 10;

/// "  label     words …", folded between words, further lines under the words.
void put(std::string& out, const std::string& label, const std::string& words, std::size_t indent = 2) {
  if (words.empty()) return;
  const std::size_t under = label.empty() ? indent : indent + kLabel;
  std::string line = std::string(indent, ' ') + (label.empty() ? "" : label + std::string(kLabel - std::min(kLabel, columns_of(label)), ' '));
  bool fresh = true;
  for (std::size_t at = 0; at <= words.size();) {
    const std::size_t end = std::min(words.find(' ', at), words.size());
    const std::string word = words.substr(at, end - at);
    if (!fresh && columns_of(line) + 1 + columns_of(word) > kStatusColumns) {
      out += line + "\n";
      line = std::string(under, ' ');
      fresh = true;
    }
    line += (fresh ? "" : " ") + word;
    fresh = false;
    at = end + 1;
  }
  out += line + "\n";
}

std::string number(const json& object, const char* key, const char* format = "{:.1f}") {
  const auto found = object.find(key);
  return found != object.end() && found->is_number() ? fmt::format(fmt::runtime(format), found->get<double>()) : "?";
}

/// A number of `object` that is in `unit`, in what people are shown for it. Pounds and gallons have decimals of their own.
std::string number_shown(const json& object, const char* key, const std::string& unit, Units units, const char* format = "{:.1f}") {
  const auto found = object.find(key);
  const auto written = parse_unit(unit);
  if (found == object.end() || !found->is_number() || !written) return number(object, key, format);
  const Unit shown = shown_in(*written, units);
  const double value = shown.from_canonical(written->to_canonical(found->get<double>()));
  const bool small = shown.text != unit && !shown.dimension.none() && !shown.dimension.exponent[Dimension::temperature] && std::abs(value) < 10;
  return small ? fmt::format("{}", rounded(value, shown)) : fmt::format(fmt::runtime(format), value);
}

bool has_number(const json& object, const char* key) {
  const auto found = object.find(key);
  return found != object.end() && found->is_number();
}

std::string in_a_row(const std::vector<std::string>& items) {
  std::string all;
  for (const std::string& item : items) all += (all.empty() ? "" : ", ") + item;
  return all;
}

std::string spaced(std::string name) {
  std::replace(name.begin(), name.end(), '_', ' ');
  return name;
}

/// "2026-03-03 02:16 to 02:44", in the farm's zone; the date once where it is the same.
std::string span_of(const json& alarm) {
  const std::string since = text_of(alarm, "since_local");
  std::string returned = text_of(alarm, "returned_local");
  if (returned.empty()) return "since " + since;
  constexpr std::size_t kDate = 11;
  if (returned.substr(0, kDate) == since.substr(0, kDate)) returned.erase(0, kDate);
  return since + " to " + returned;
}

// --- what a house shows ---------------------------------------------------------------------------------------

void put_birds(std::string& out, const json& view) {
  if (!view.contains("birds")) return;
  const json& birds = view.at("birds");
  put(out, "birds", number(birds, "alive", "{:.0f}") + " alive, " + number(birds, "lost_24_h", "{:.0f}") + " lost in 24 h");
  put(out, "losses", number(birds, "daily_percent", "{:.2f}") + " % a day, " + number(birds, "cumulative_percent", "{:.2f}") + " % so far");
}

void put_air(std::string& out, const json& view, Units units) {
  if (view.contains("air")) {
    const json& air = view.at("air");
    const auto degrees = [&](const char* key) { return number_shown(air, key, "°C", units); };
    std::string words = degrees("value") + " " + unit_shown("°C", units);
    const bool low = has_number(air, "low"), high = has_number(air, "high");
    if (low && high) words += fmt::format(" ({} to {})", degrees("low"), degrees("high"));
    else if (low || high) words += low ? fmt::format(" (from {})", degrees("low")) : fmt::format(" (to {})", degrees("high"));
    put(out, air.value("felt", false) ? "felt air" : "air", words);
  }
  if (view.contains("humidity_percent")) put(out, "humidity", number(view, "humidity_percent", "{:.0f}") + " %");
  std::vector<std::string> gases;
  for (const json& gas : view.value("gases", json::array())) {
    const std::string name = text_of(gas, "gas");
    gases.push_back((name == "carbon_dioxide" ? "CO2 " : name == "ammonia" ? "NH3 " : "CO ") + number(gas, "value", "{:.0f}"));
  }
  if (!gases.empty()) put(out, "gases", in_a_row(gases) + " ppm");
}

void put_meters(std::string& out, const json& view, Units units) {
  const bool ratio = has_number(view, "water_to_feed");
  if (has_number(view, "water_today_l"))
    put(out, "water", number_shown(view, "water_today_l", "L", units, "{:.0f}") + " " + unit_shown("L", units) + " today" +
                           (ratio ? ", " + number_shown(view, "water_to_feed", "L/kg", units) + " " + unit_shown("L/kg", units) + " feed" : ""));
  if (has_number(view, "feed_today_kg")) put(out, "feed", number_shown(view, "feed_today_kg", "kg", units, "{:.0f}") + " " + unit_shown("kg", units) + " today");
}

/// "3 to 8 h behind", "2 h ahead": what is certain of it.
std::string lag_of(const json& behind) {
  const double middle = behind.at("middle").get<double>();
  const bool ahead = middle < 0;
  const double near = std::max(0.0, ahead ? -behind.at("high").get<double>() : behind.at("low").get<double>());
  const double far = ahead ? -behind.at("low").get<double>() : behind.at("high").get<double>();
  return fmt::format("{:.0f} h {} ({:.0f} to {:.0f} h)", std::abs(middle), ahead ? "ahead" : "behind", near, far);
}

void put_weight(std::string& out, const json& view, Units units) {
  if (!view.contains("weight")) return;
  const json& weight = view.at("weight");
  const json half{{"width", (weight.at("high").get<double>() - weight.at("low").get<double>()) / 2}};
  const auto grams = [&](const json& object, const char* key) { return number_shown(object, key, "g", units, "{:.0f}"); };
  const std::string unit = unit_shown("g", units);
  put(out, "weight", fmt::format("{} {} ±{}, CV {} %, {} % even, {} weighings", grams(weight, "mean"), unit, number_shown(half, "width", "g", units), number(weight, "variation_percent"),
                                 number(weight, "uniformity_percent", "{:.0f}"), weight.value("count", 0)));
  if (weight.at("behind_h").is_object()) put(out, "lag", lag_of(weight.at("behind_h")) + ", " + text_of(weight, "curve"));
  if (weight.at("day_7").is_object()) {
    const json& then = weight.at("day_7");
    std::string words = fmt::format("{} {} ({} to {}), ×{}", grams(then, "middle"), unit, grams(then, "low"), grams(then, "high"),
                                    number(weight, "times_placed"));
    if (has_number(weight, "goal_day_7")) words += ", goal " + grams(weight, "goal_day_7") + " " + unit;
    put(out, "day 7", words);
  }
  if (weight.value("scale_cut", false)) put(out, "scale", "its weights look cut off: it takes only what is near its own curve");
}

/// "14:05" of a local time of today; with the date on other days.
std::string time_of(std::string local, const std::string& now) {
  constexpr std::size_t kDate = 11;
  if (local.substr(0, kDate) == now.substr(0, kDate)) local.erase(0, kDate);
  return local;
}

/// What is due, and the next one: the others can wait for their time.
void put_rounds(std::string& out, const json& view, const std::string& now) {
  std::string words;
  for (const json& name : view.value("rounds_due", json::array())) words += (words.empty() ? "" : ", ") + name.get<std::string>();
  if (!words.empty()) words += " due now";
  if (view.contains("next_round")) {
    const json& round = view.at("next_round");
    words += (words.empty() ? "" : "; ") + text_of(round, "what") + " by " + time_of(text_of(round, "due_local"), now);
  }
  put(out, "rounds", words);
}

void put_danger(std::string& out, const json& view, Units units) {
  for (const json& danger : view.value("danger", json::array())) {
    const std::string label = text_of(danger, "if") == "fans stay off" ? "fans off" : "heat off";
    const std::string limit = number_shown(danger, "limit", "°C", units) + " " + unit_shown("°C", units);
    if (!danger.at("minutes").is_number()) {
      put(out, label, text_of(danger, "by") == "unknown" ? "not to be told" : "12 h or more to " + limit);
      continue;
    }
    const double minutes = danger.at("minutes").get<double>();
    put(out, label, minutes <= 0 ? "past " + limit + " now"
                                 : fmt::format("{} by {}, {:.0f} min", limit, text_of(danger, "at_local"), minutes));
  }
}

// --- probes and rules -----------------------------------------------------------------------------------------

bool shown_above(const std::string& measure) {
  for (const char* name : {"relative_humidity", "carbon_dioxide", "ammonia", "carbon_monoxide", "water", "feed", "bird_weight"}) {
    if (measure == name) return true;
  }
  return false;
}

/// A line a measure: from the lowest to the highest of its probes that can be believed. The others are told by name.
void put_probes(std::string& out, const json& probes, Units units) {
  struct Measure {
    std::string name, unit;
    bool is_state = false;
    std::vector<double> values;
  };
  std::vector<Measure> measures;
  std::vector<std::string> silent, unheard, waiting;
  for (const json& probe : probes) {
    if (probe.value("entered", false)) continue;  // told with the rounds and the birds
    const std::string full = text_of(probe, "probe");
    if (const std::string waits = text_of(probe, "waits"); !waits.empty()) {
      waiting.push_back(fmt::format("{} ({})", full, waits));
      continue;
    }
    const std::string name = full.substr(0, full.find('/'));
    if (!probe.value("usable", false)) {
      (probe.contains("value") ? silent : unheard).push_back(full);
      continue;
    }
    if (shown_above(name)) continue;
    if (measures.empty() || measures.back().name != name) measures.push_back({name, text_of(probe, "unit"), probe.value("state", false), {}});
    measures.back().values.push_back(probe.at("value").get<double>());
  }
  for (const Measure& measure : measures) {
    const auto [low, high] = std::minmax_element(measure.values.begin(), measure.values.end());
    const json ends{{"low", *low}, {"high", *high}};
    std::string words = number_shown(ends, "low", measure.unit, units);
    if (*low != *high) words += " to " + number_shown(ends, "high", measure.unit, units);
    words += measure.unit.empty() ? "" : " " + unit_shown(measure.unit, units);
    if (measure.is_state) {
      const auto on = std::count_if(measure.values.begin(), measure.values.end(), [](double value) { return value >= 0.5; });
      words = on > 0 && on < std::ssize(measure.values) ? fmt::format("{} of {} on", on, measure.values.size()) : on == 0 ? "off" : "on";
    }
    put(out, "", fmt::format("{:<20} {}", spaced(measure.name), words));
  }
  put(out, "silent", in_a_row(silent));
  if (!unheard.empty()) put(out, "", "never heard: " + in_a_row(unheard));
  put(out, "later", in_a_row(waiting));
}

void put_rules(std::string& out, const json& house, Units units) {
  std::vector<std::string> alarms, blind, waits, unwatched;
  std::size_t fine = 0;
  for (const json& rule : house.at("rules")) {
    if (!rule.value("in_force", false)) continue;
    std::string words = text_of(rule, "rule") + (text_of(rule, "probe").empty() ? "" : " " + text_of(rule, "probe"));
    if (has_number(rule, "value")) words += " " + number_shown(rule, "value", text_of(rule, "unit"), units);
    if (rule.value("standing", false)) alarms.push_back(words);
    else if (rule.value("blind", false)) blind.push_back(words);
    else if (rule.value("unknown", false)) waits.push_back(words);
    else ++fine;
  }
  for (const json& rule : house.at("unwatched")) unwatched.push_back(text_of(rule, "rule"));
  put(out, "ALARM", in_a_row(alarms));
  put(out, "BLIND", in_a_row(blind));
  put(out, "no view", in_a_row(waits));
  put(out, "no probe", in_a_row(unwatched));
  if (fine > 0) put(out, "watched", counted(fine, "rule") + ", all well");
}

void put_house(std::string& out, const json& house, const std::string& now, Units units) {
  std::string head = "empty";
  if (house.contains("flock")) {
    const double age_h = house.at("age_h").get<double>();
    const std::string age = age_h < 0 ? fmt::format("{:.0f} h before placement", -age_h) : age_h < 48 ? fmt::format("{:.0f} h old", age_h) : fmt::format("{:.1f} days old", age_h / 24);
    head = text_of(house, "day") + ", " + age;
  }
  out += "\n";
  put(out, "", text_of(house, "house") + ": " + head, 0);
  if (house.contains("work_until_local")) put(out, "", "People work here until " + text_of(house, "work_until_local") + ".");
  for (const json& rule : house.value("shelved", json::array())) {
    put(out, "", fmt::format("Shelved until {}: {} ({}: {}).", text_of(rule, "until_local"), text_of(rule, "rule"), text_of(rule, "who"), text_of(rule, "why")));
  }
  const json view = house.value("view", json::object());
  put_birds(out, view);
  put_air(out, view, units);
  put_meters(out, view, units);
  put_weight(out, view, units);
  put_rounds(out, view, now);
  put_danger(out, view, units);
  put_probes(out, house.at("probes"), units);
  put_rules(out, house, units);
}

/// What shows that the watch is heard of outside, and people by it.
void put_proofs(std::string& out, const json& status) {
  if (const json beat = status.value("heartbeat", json()); beat.is_object()) {
    const std::string why = text_of(beat, "text");
    put(out, "", fmt::format("Outside heartbeat over {}: {} {}{}", text_of(beat, "over"), beat.value("answered", false) ? "answered, last" : "NOT answered since",
                             text_of(beat, "since_local"), why.empty() ? "" : ": " + why), 0);
  }
  const json drills = status.value("drills", json::object());
  const std::string next = text_of(drills, "next_local"), answered = text_of(drills, "answered_local");
  if (!next.empty() || !answered.empty()) {
    put(out, "", fmt::format("Call-out drilled: {}{}", answered.empty() ? "never with an answer" : "last answered " + answered, next.empty() ? "" : ", next " + next), 0);
  }
  std::string people;
  for (const json& who : drills.value("not_woken", json::array())) people += (people.empty() ? "" : ", ") + who.get<std::string>();
  if (!people.empty()) put(out, "", "Not drilled at night yet: " + people, 0);
}

void put_farm(std::string& out, const json& status) {
  for (const json& plugin : status.at("plugins")) {
    put(out, "", fmt::format("plugin {} is {}{}{}", text_of(plugin, "plugin"), text_of(plugin, "state"), text_of(plugin, "text").empty() ? "" : ": ", text_of(plugin, "text")), 0);
    if (plugin.value("not_understood", 0) > 0)
      put(out, "", fmt::format("{} not understood, the last: {}", counted(plugin.value("not_understood", std::uint64_t{0}), "line"), text_of(plugin, "not_understood_last")));
    if (plugin.value("dropped", 0) > 0) put(out, "", counted(plugin.value("dropped", std::uint64_t{0}), "reading") + " dropped");
  }
  for (const json& path : status.at("paths")) {
    const std::string local = text_of(path, text_of(path, "proven_local").empty() ? "sent_local" : "proven_local");
    const std::string proven = time_of(local, text_of(status, "time_local"));
    put(out, "", fmt::format("People are reached by {}: {}{}", text_of(path, "path"), text_of(path, "state"), proven.empty() ? "" : ", last success " + proven), 0);
  }
  put_proofs(out, status);
  for (const json& name : status.at("unknown_names"))
    put(out, "", fmt::format("{} ({}): {}", text_of(name, "name"), counted(name.value("count", std::uint64_t{0}), "reading"), text_of(name, "text")), 0);
  if (status.value("refused_ahead", 0) > 0)
    put(out, "", fmt::format("{} readings refused: their time is more than 2 min ahead", status.value("refused_ahead", 0)), 0);
}

}  // namespace

std::string alarms_in_words(const json& alarms) {
  if (alarms.empty()) return "No alarms.\n";
  std::string out;
  for (const json& alarm : alarms) {
    const std::string house = text_of(alarm, "house");
    const std::string probe = text_of(alarm, "probe");
    std::string what = text_of(alarm, "rule");
    if (text_of(alarm, "subject") == "blindness") what += " cannot tell";
    if (!text_of(alarm, "text").empty()) what = text_of(alarm, "text");
    const Units units = units_of(alarm);
    const std::string unit = text_of(alarm, "unit");
    const std::string value = has_number(alarm, "value") ? " " + number_shown(alarm, "value", unit, units) + " " + unit_shown(unit, units) : "";
    const std::string by = text_of(alarm, "answered_by");
    put(out, "", fmt::format("{} {} {}{}: {}{}", text_of(alarm, "code"), text_of(alarm, "priority"), house.empty() ? "farm" : house, probe.empty() ? "" : " " + probe, what, value), 0);
    put(out, "", fmt::format("{}, {}{}", text_of(alarm, "state"), span_of(alarm), by.empty() ? "" : ", answered by " + by));
  }
  return out;
}

std::string status_in_words(const json& status) {
  std::string out;
  const std::string now = text_of(status, "time_local");
  put(out, "", fmt::format("{} at {}. On duty: {}.", text_of(status, "farm"), now, text_of(status, "on_duty")), 0);
  if (!status.value("clock_trusted", true)) put(out, "", "The gateway's clock is not to be trusted: readings count when they come.", 0);
  if (!text_of(status, "disk").empty()) put(out, "", "The disk does not take what is written: " + text_of(status, "disk"), 0);
  for (const json& house : status.at("houses")) put_house(out, house, now, units_of(status));
  out += "\n";
  put_farm(out, status);
  return out + "\n" + alarms_in_words(status.at("alarms"));
}

}  // namespace underwing
