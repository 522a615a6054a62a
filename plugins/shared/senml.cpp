#include "plugins/shared/senml.hpp"

#include <fmt/format.h>
#include <simdjson.h>

#include <array>
#include <charconv>
#include <cmath>
#include <cstddef>

namespace underwing {
namespace {

constexpr double kVersion = 10;  // RFC 8428, section 4.4

constexpr std::array<UnitOnTheLine, 22> kUnits = {{
    {"", "", 1, 0},           {"–", "", 1, 0},
    {"°C", "Cel", 1, 0},      {"°F", "Cel", 5.0 / 9.0, -160.0 / 9.0},
    {"K", "K", 1, 0},         {"%", "%RH", 1, 0},
    {"ppm", "ppm", 1, 0},     {"L", "l", 1, 0},
    {"mL", "l", 0.001, 0},    {"m3", "l", 1000, 0},
    {"m³", "l", 1000, 0},     {"kg", "kg", 1, 0},
    {"g", "g", 1, 0},         {"t", "kg", 1000, 0},
    {"lx", "lx", 1, 0},       {"Pa", "Pa", 1, 0},
    {"hPa", "Pa", 100, 0},    {"kPa", "Pa", 1000, 0},
    {"bar", "Pa", 100000, 0}, {"mbar", "Pa", 100, 0},
    {"m/s", "m/s", 1, 0},     {"W", "W", 1, 0},
}};

/// The base fields in force (4.1): each holds from its record on until it is replaced.
struct Base {
  std::string name;
  std::string unit;
  double time = 0;
  double value = 0;
  double sum = 0;
};

bool is_alphanumeric(char c) {
  return (c >= 'a' && c <= 'z') || (c >= 'A' && c <= 'Z') || (c >= '0' && c <= '9');
}

/// One record as it stands, before the base fields are worked in.
struct Raw {
  std::string name;
  std::optional<std::string> unit;
  std::optional<double> value, sum;
  std::optional<bool> boolean;
  double time = 0;
  bool other = false;
  bool has_own_fields = false;
};

bool take_base(std::string_view label, simdjson::dom::element field, Base& base, std::string& error) {
  double number = 0;
  std::string_view text;
  if (label == "bn" || label == "bu") {
    if (field.get(text) != simdjson::SUCCESS) {
      error = fmt::format("'{}' is no text", label);
      return false;
    }
    (label == "bn" ? base.name : base.unit) = text;
    return true;
  }
  if (field.get(number) != simdjson::SUCCESS) {
    error = fmt::format("'{}' is no number", label);
    return false;
  }
  if (label == "bt") base.time = number;
  if (label == "bv") base.value = number;
  if (label == "bs") base.sum = number;
  if (label != "bver" || number <= kVersion) return true;
  error = fmt::format("its version {} is not known", number);
  return false;
}

bool take_own(std::string_view label, simdjson::dom::element field, Raw& raw, std::string& error) {
  double number = 0;
  std::string_view text;
  bool truth = false;
  auto wrong = [&](const char* what) {
    error = fmt::format("'{}' is no {}", label, what);
    return false;
  };
  raw.has_own_fields = true;
  if (label == "n" || label == "u") {
    if (field.get(text) != simdjson::SUCCESS) return wrong("text");
    if (label == "n") raw.name = text;
    if (label == "u") raw.unit = std::string(text);
  } else if (label == "v" || label == "s" || label == "t") {
    if (field.get(number) != simdjson::SUCCESS) return wrong("number");
    if (label == "v") raw.value = number;
    if (label == "s") raw.sum = number;
    if (label == "t") raw.time = number;
  } else if (label == "vb") {
    if (field.get(truth) != simdjson::SUCCESS) return wrong("true or false");
    raw.boolean = truth;
  } else if (label == "vs" || label == "vd") {
    raw.other = true;
  } else if (!label.empty() && label.back() == '_') {
    error = fmt::format("the label '{}' must be understood and is not", label);  // 4.4
    return false;
  }
  return true;
}

bool resolve(const Raw& raw, const Base& base, SenmlRecord& record, std::string& error) {
  auto refuse = [&](const char* what) {
    error = fmt::format("'{}' {}", record.name, what);
    return false;
  };
  record.name = base.name + raw.name;
  if (!is_senml_name(record.name)) return refuse("is no SenML name");
  record.unit = raw.unit ? *raw.unit : base.unit;
  record.time = base.time + raw.time;
  const int values = int{raw.value.has_value()} + int{raw.boolean.has_value()} + int{raw.other};
  if (values > 1) return refuse("has several values");
  if (raw.value || (values == 0 && !raw.sum && base.value != 0)) {
    record.kind = SenmlRecord::Kind::number;
    record.value = base.value + raw.value.value_or(0);
  } else if (raw.boolean) {
    record.kind = SenmlRecord::Kind::boolean;
    record.value = *raw.boolean ? 1 : 0;
  } else if (raw.sum && !raw.other) {
    record.kind = SenmlRecord::Kind::sum;
    record.value = base.sum + *raw.sum;
  }
  if (!std::isfinite(record.value) || !std::isfinite(record.time)) {
    return refuse("has a number that is not finite");
  }
  return true;
}

}  // namespace

std::optional<std::vector<SenmlRecord>> read_senml(std::string_view pack, std::string& error) {
  thread_local simdjson::dom::parser parser;
  simdjson::dom::array records;
  if (parser.parse(pack.data(), pack.size()).get(records) != simdjson::SUCCESS) {
    error = "it is no JSON array";
    return std::nullopt;
  }
  std::vector<SenmlRecord> result;
  Base base;
  for (simdjson::dom::element element : records) {
    simdjson::dom::object fields;
    if (element.get(fields) != simdjson::SUCCESS) {
      error = "a record is no JSON object";
      return std::nullopt;
    }
    Raw raw;
    for (const auto& field : fields) {
      const bool is_base = field.key == "bn" || field.key == "bt" || field.key == "bu" || field.key == "bv" ||
                           field.key == "bs" || field.key == "bver";
      const bool fine = is_base ? take_base(field.key, field.value, base, error)
                                : take_own(field.key, field.value, raw, error);
      if (!fine) return std::nullopt;
    }
    if (!raw.has_own_fields) continue;
    SenmlRecord record;
    if (!resolve(raw, base, record, error)) return std::nullopt;
    result.push_back(std::move(record));
  }
  return result;
}

bool is_senml_name(std::string_view name) {
  if (name.empty() || !is_alphanumeric(name.front())) return false;
  for (const char c : name) {
    if (!is_alphanumeric(c) && c != '-' && c != ':' && c != '.' && c != '/' && c != '_') return false;
  }
  return true;
}

void append_number(std::string& text, double value) {
  std::array<char, 32> digits{};
  const auto end =
      std::to_chars(digits.data(), digits.data() + digits.size(), std::isfinite(value) ? value : 0.0);
  text.append(digits.data(), end.ptr);
}

void append_seconds(std::string& text, double seconds) {
  // Whole milliseconds first: a double near 1.8e9 has more digits than any probe's clock is worth.
  const long long ms = std::llround(seconds * 1000.0);
  const long long size = ms < 0 ? -ms : ms;
  std::array<char, 24> digits{};
  if (ms < 0) text.push_back('-');
  const auto end = std::to_chars(digits.data(), digits.data() + digits.size(), size / 1000);
  text.append(digits.data(), end.ptr);
  const auto part = static_cast<int>(size % 1000);
  if (part == 0) return;
  text.push_back('.');
  text.push_back(static_cast<char>('0' + part / 100));
  if (part % 100 == 0) return;
  text.push_back(static_cast<char>('0' + part / 10 % 10));
  if (part % 10 != 0) text.push_back(static_cast<char>('0' + part % 10));
}

namespace {

void append_head(std::string& lines, std::string_view name, std::string_view unit) {
  lines += R"([{"n":")";
  lines += name;
  if (!unit.empty()) {
    lines += R"(","u":")";
    lines += unit;
  }
  lines += '"';
}

void append_tail(std::string& lines, double time) {
  if (time != 0) {
    lines += R"(,"t":)";
    append_seconds(lines, time);
  }
  lines += "}]\n";
}

}  // namespace

void append_senml(std::string& lines, std::string_view name, std::string_view unit, double value,
                  double time) {
  append_head(lines, name, unit);
  lines += R"(,"v":)";
  append_number(lines, value);
  append_tail(lines, time);
}

void append_senml(std::string& lines, const SenmlRecord& record) {
  if (record.kind == SenmlRecord::Kind::other) return;
  append_head(lines, record.name, record.unit);
  if (record.kind == SenmlRecord::Kind::boolean) {
    lines += record.value != 0 ? R"(,"vb":true)" : R"(,"vb":false)";
  } else {
    lines += record.kind == SenmlRecord::Kind::sum ? R"(,"s":)" : R"(,"v":)";
    append_number(lines, record.value);
  }
  append_tail(lines, record.time);
}

const UnitOnTheLine* find_unit(std::string_view text) {
  for (const UnitOnTheLine& unit : kUnits) {
    if (text == unit.text) return &unit;
  }
  return nullptr;
}

std::string known_units() {
  std::string text;
  for (const UnitOnTheLine& unit : kUnits) {
    if (*unit.text == '\0') continue;
    if (!text.empty()) text += ", ";
    text += unit.text;
  }
  return text;
}

}  // namespace underwing
