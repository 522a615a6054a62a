#include "plugins/mqtt/mapping.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cctype>
#include <charconv>

#include "plugins/shared/clock.hpp"

namespace underwing {
namespace {

constexpr std::size_t kTopicsKnownMax = 10'000;
constexpr std::size_t kPayloadBytesMax = std::size_t{1} << 20;
constexpr double kMillisecondsFrom = 1e11;  // Seconds since 1970 reach this in the year 5138.
constexpr std::array<const char*, 3> kSlotNames = {"house", "measure", "probe"};

/// "on" and "off" as many switches send them, in any case.
std::optional<double> switch_value(std::string_view text) {
  std::string lower(text);
  std::transform(lower.begin(), lower.end(), lower.begin(),
                 [](unsigned char c) { return static_cast<char>(std::tolower(c)); });
  if (lower == "on" || lower == "true") return 1;
  if (lower == "off" || lower == "false") return 0;
  return std::nullopt;
}

std::optional<double> number_in(std::string_view text) {
  double value = 0;
  const auto [end, failure] = std::from_chars(text.data(), text.data() + text.size(), value);
  if (failure != std::errc() || end != text.data() + text.size() || !(value - value == 0))
    return std::nullopt;
  return value;
}

/// A number; a text that holds nothing but one; true, false, "on", "off".
std::optional<double> value_of(simdjson::dom::element element) {
  double number = 0;
  bool truth = false;
  std::string_view text;
  if (element.get(number) == simdjson::SUCCESS) return number;
  if (element.get(truth) == simdjson::SUCCESS) return truth ? 1 : 0;
  if (element.get(text) != simdjson::SUCCESS) return std::nullopt;
  const auto found = number_in(text);
  return found ? found : switch_value(text);
}

/// Seconds since 1970.
std::optional<double> time_of(simdjson::dom::element element) {
  double number = 0;
  std::string_view text;
  if (element.get(text) == simdjson::SUCCESS) {
    const auto time = read_rfc3339(text);
    if (time) return time;
    const auto seconds = number_in(text);
    if (!seconds) return std::nullopt;
    number = *seconds;
  } else if (element.get(number) != simdjson::SUCCESS) {
    return std::nullopt;
  }
  if (number < SenmlRecord::kAbsoluteFrom || number >= kMillisecondsFrom) return std::nullopt;
  return number;
}

std::string_view trimmed(std::string_view text) {
  const std::size_t begin = text.find_first_not_of(" \t\r\n");
  if (begin == std::string_view::npos) return {};
  return text.substr(begin, text.find_last_not_of(" \t\r\n") - begin + 1);
}

JsonPointer read_pointer(Settings& entry, const char* key) {
  const auto pointer = JsonPointer::parse(entry.text(key));
  if (!pointer) {
    entry.refuse(
        key, fmt::format("'{}' is no JSON Pointer; it looks like /temp or /data/0/value", entry.text(key)));
  }
  return *pointer;
}

}  // namespace

void Mapping::read_settings(Settings& settings) {
  for (Settings& entry : settings.list("read")) read_entry(entry);
}

void Mapping::read_entry(Settings& settings) {
  std::string error;
  const std::string topic = settings.text("topic");
  auto pattern = TopicPattern::parse(topic, error);
  if (!pattern) settings.refuse("topic", fmt::format("'{}' {}", topic, error));
  Entry entry{std::move(*pattern), {}, {}, {}, nullptr};
  std::string missing;
  for (std::size_t slot = 0; slot < kSlots; ++slot) {
    const char* key = kSlotNames[slot];
    entry.fixed[slot] = settings.text(key, "");
    if (entry.fixed[slot].empty() && !entry.topic.names(key)) missing += fmt::format(" {}", key);
    if (!entry.fixed[slot].empty() && entry.topic.names(key)) {
      settings.refuse(key, fmt::format("is given, and the topic has {{{}}} too; keep one of them", key));
    }
    if (!entry.fixed[slot].empty() && !is_senml_name(entry.fixed[slot])) {
      settings.refuse(key, fmt::format("'{}' is no name", entry.fixed[slot]));
    }
  }
  const bool may_be_pack = !settings.has("value") && !settings.has("unit");
  if (!missing.empty() && !may_be_pack) {
    settings.refuse(
        "topic",
        fmt::format("'{}' does not say which{}; write {{name}} for a level, or add the key", topic, missing));
  }
  if (settings.has("value")) entry.value = read_pointer(settings, "value");
  if (settings.has("time")) entry.time = read_pointer(settings, "time");
  const std::string unit = settings.text("unit", "");
  entry.unit = find_unit(unit);
  if (entry.unit == nullptr) {
    settings.refuse("unit", fmt::format("'{}' is not known; known are {}", unit, known_units()));
  }
  const auto qos = static_cast<int>(settings.number("qos", 1, 0, 2));
  settings.finish();
  int& wanted = filters_[entry.topic.filter()];
  wanted = std::max(wanted, qos);
  entries_.push_back(std::move(entry));
}

Mapping::Outcome Mapping::refuse(std::string why) {
  reason_ = std::move(why);
  return Outcome::not_understood;
}

const std::vector<Mapping::Target>& Mapping::targets(std::string_view topic) {
  if (const auto found = known_.find(topic); found != known_.end()) return found->second;
  std::vector<Target> result;
  for (const Entry& entry : entries_) {
    const auto levels = entry.topic.match(topic);
    if (!levels) continue;
    Target target{&entry, entry.fixed, {}};
    for (const auto& [name, level] : *levels) {
      for (std::size_t slot = 0; slot < kSlots; ++slot) {
        if (name == kSlotNames[slot]) target.slots[slot] = level;
      }
    }
    const bool whole =
        std::none_of(target.slots.begin(), target.slots.end(), [](auto& s) { return s.empty(); });
    if (whole) target.name = fmt::format("{}", fmt::join(target.slots, "/"));
    if (whole && !is_senml_name(target.name)) continue;
    result.push_back(std::move(target));
  }
  // Somebody who publishes ever new topics must not fill the memory.
  if (known_.size() >= kTopicsKnownMax) known_.clear();
  return known_.emplace(std::string(topic), std::move(result)).first->second;
}

Mapping::Outcome Mapping::take(std::string_view topic, std::string_view payload, bool retained,
                               std::string& lines) {
  const std::vector<Target>& found = targets(topic);
  if (found.empty()) {
    reason_ = "no entry of 'read' fits it";
    return Outcome::fits_no_pattern;
  }
  payload = trimmed(payload);
  if (payload.empty()) return refuse("it is empty");
  if (payload.size() > kPayloadBytesMax) return refuse("it is longer than 1 MiB");
  simdjson::dom::element document;
  if (parser_.parse(payload.data(), payload.size()).get(document) != simdjson::SUCCESS) {
    const auto value = switch_value(payload);
    if (!value) return refuse("it is no JSON");
    // A bare word of a switch, which JSON does not know: read it as true or false.
    if (parser_.parse(*value != 0 ? std::string("true") : std::string("false")).get(document) !=
        simdjson::SUCCESS) {
      return refuse("it is no JSON");
    }
  }
  Outcome worst = Outcome::taken;
  bool any_taken = false;
  for (const Target& target : found) {
    const Outcome outcome = take_one(target, document, payload, retained, lines);
    any_taken = any_taken || outcome == Outcome::taken;
    if (outcome != Outcome::taken) worst = outcome;
  }
  // Several entries may share a topic and each take its own part of the payload.
  return any_taken ? Outcome::taken : worst;
}

Mapping::Outcome Mapping::take_one(const Target& target, simdjson::dom::element document,
                                   std::string_view payload, bool retained, std::string& lines) {
  const Entry& entry = *target.entry;
  if (!entry.value && document.is_array()) return take_pack(target, payload, retained, lines);
  if (target.name.empty()) return refuse("it is no SenML pack, and the topic does not name a probe");
  const auto place = entry.value ? entry.value->find(document) : document;
  if (!place) return refuse("it has nothing where 'value' points");
  const auto value = value_of(*place);
  if (!value) return refuse("what 'value' points at is no number");
  double time = 0;
  if (entry.time) {
    const auto stamp = entry.time->find(document);
    if (!stamp) return refuse("it has nothing where 'time' points");
    const auto seconds = time_of(*stamp);
    if (!seconds) return refuse("what 'time' points at is neither RFC 3339 nor seconds since 1970");
    time = *seconds;
  }
  if (retained && time == 0) {
    reason_ = "it was kept by the broker and does not carry its own time";
    return Outcome::kept_without_time;
  }
  append_senml(lines, target.name, entry.unit->senml, *value * entry.unit->scale + entry.unit->offset, time);
  return Outcome::taken;
}

Mapping::Outcome Mapping::take_pack(const Target& target, std::string_view payload, bool retained,
                                    std::string& lines) {
  std::string error;
  auto records = read_senml(payload, error);
  if (!records) return refuse(fmt::format("it is no SenML pack: {}", error));
  // Under a topic that names the probe, one name in the pack is as good as another.
  const bool one_name = std::all_of(records->begin(), records->end(),
                                    [&](const SenmlRecord& r) { return r.name == records->front().name; });
  std::string taken;
  for (SenmlRecord& record : *records) {
    if (record.kind == SenmlRecord::Kind::other) continue;
    if (retained && !record.time_is_absolute()) {
      reason_ = "it was kept by the broker and does not carry its own time";
      return Outcome::kept_without_time;
    }
    const bool topic_names_it = one_name && !target.name.empty();
    auto name = topic_names_it ? target.name : full_name(target, record.name);
    if (!name) return refuse(fmt::format("'{}' and the topic do not make house/measure/probe", record.name));
    record.name = std::move(*name);
    append_senml(taken, record);
  }
  if (taken.empty()) return refuse("the pack holds no number");
  lines += taken;
  return Outcome::taken;
}

/// A name of three levels stands for itself. Else its levels go, in order, where the topic leaves a gap.
std::optional<std::string> Mapping::full_name(const Target& target, std::string_view name) const {
  if (std::count(name.begin(), name.end(), '/') == 2) return std::string(name);
  std::array<std::string, kSlots> slots = target.slots;
  for (std::string& slot : slots) {
    if (!slot.empty()) continue;
    if (name.empty()) return std::nullopt;
    const std::size_t end = name.find('/');
    slot = name.substr(0, end);
    name = end == std::string_view::npos ? std::string_view() : name.substr(end + 1);
  }
  if (!name.empty()) return std::nullopt;
  return fmt::format("{}", fmt::join(slots, "/"));
}

}  // namespace underwing
