#include "rules/engine/event.hpp"

#include <fmt/format.h>

#include <cmath>

namespace underwing {

namespace {

/// JSON string; names hold no characters that need more than this.
std::string quoted(const std::string& text) {
  std::string out = "\"";
  for (const char c : text) {
    if (c == '"' || c == '\\') out += '\\';
    out += c;
  }
  return out + '"';
}

std::string number(double value) {
  const double rounded = std::round(value * 1e6) / 1e6;
  return fmt::format("{}", rounded == 0.0 ? 0.0 : rounded);
}

std::string number_or_null(const std::optional<double>& value, const Unit& unit) {
  return value ? number(unit.from_canonical(*value)) : "null";
}

}  // namespace

const char* to_string(Reason reason) {
  switch (reason) {
    case Reason::none: return "";
    case Reason::low: return "low";
    case Reason::high: return "high";
    case Reason::when: return "when";
    case Reason::ahead: return "ahead";
    case Reason::not_watched: return "not watched";
  }
  return "";
}

const char* to_string(Event::Kind kind) {
  switch (kind) {
    case Event::Kind::raised: return "raised";
    case Event::Kind::worsened: return "worsened";
    case Event::Kind::eased: return "eased";
    case Event::Kind::returned: return "returned";
    case Event::Kind::blind: return "blind";
    case Event::Kind::sees: return "sees";
    case Event::Kind::rejected: return "rejected";
    case Event::Kind::accepted: return "accepted";
    case Event::Kind::suspect: return "suspect";
    case Event::Kind::ran_back: return "ran back";
  }
  return "";
}

std::string to_json(const Event& event, const RuleSet& rules) {
  std::string out = fmt::format(R"({{"time":"{}","event":"{}","house":{})", to_rfc3339(event.time),
                                to_string(event.kind), quoted(rules.houses[event.house].name));
  if (!event.rule) {
    const Probe& probe = rules.probes[*event.probe];
    const Measure& measure = rules.measures[probe.measure];
    out += fmt::format(R"(,"series":{})", quoted(measure.name + "/" + probe.name));
    if (event.test != QualityTest::none) out += fmt::format(R"(,"test":"{}")", to_string(event.test));
    if (event.value) out += fmt::format(R"(,"value":{},"unit":{})", number(*event.value), quoted(measure.unit.text));
    return out + "}";
  }
  const WatchedRule& rule = rules.rules[*event.rule];
  out += fmt::format(R"(,"rule":{},"probe":{},"priority":"{}","reason":{})", quoted(rule.name),
                     event.probe ? quoted(rules.probes[*event.probe].name) : "null", to_string(event.priority),
                     event.reason == Reason::none ? "null" : quoted(to_string(event.reason)));
  const bool alarm = event.kind != Event::Kind::blind && event.kind != Event::Kind::sees;
  if (alarm) {
    out += fmt::format(R"(,"value":{},"limit":{},"unit":{})", number_or_null(event.value, rule.unit),
                       number_or_null(event.limit, rule.unit), quoted(rule.unit.text));
  }
  if (event.minutes_left) out += fmt::format(R"(,"minutes_left":{})", number(*event.minutes_left));
  if (event.age_h) out += fmt::format(R"(,"age_h":{})", std::round(*event.age_h * 10.0) / 10.0);
  return out + "}";
}

}  // namespace underwing
