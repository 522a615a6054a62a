#include "rules/files/read.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <charconv>
#include <cmath>

#include "rules/base/limits.hpp"
#include "rules/languages/gsm.hpp"

namespace underwing {
namespace {

bool is_digit(char c) {
  return c >= '0' && c <= '9';
}

std::string kind_in_words(const YamlNode& node) {
  switch (node.kind) {
    case YamlNode::Kind::empty:
      return "nothing";
    case YamlNode::Kind::list:
      return "a list";
    case YamlNode::Kind::map:
      return "a map";
    default:
      return fmt::format("'{}'", node.text);
  }
}

/// Text of a scalar; reports anything else. `wanted`: "a time such as 5 min".
const std::string* scalar(const YamlNode& node, std::string_view wanted, IssueLog& log) {
  if (node.kind == YamlNode::Kind::wrong) return nullptr;
  if (!node.is_scalar()) {
    report(log, node, fmt::format("{} is needed here, not {}", wanted, kind_in_words(node)));
    return nullptr;
  }
  return &node.text;
}

/// A number at the front of `text`: sign, digits, one point, exponent. Reads `010` as ten.
std::optional<double> leading_number(std::string_view text, std::size_t& length) {
  std::size_t at = 0;
  if (at < text.size() && (text[at] == '-' || text[at] == '+')) ++at;
  const std::size_t begin = text.starts_with('+') ? 1 : 0;
  if (at >= text.size() || !is_digit(text[at])) return std::nullopt;
  double value = 0;
  const auto [end, error] = std::from_chars(text.data() + begin, text.data() + text.size(), value);
  if (error != std::errc{} || !std::isfinite(value)) return std::nullopt;
  length = static_cast<std::size_t>(end - text.data());
  return value;
}

}  // namespace

void report(IssueLog& log, const YamlNode& at, std::string text) {
  log.error(*at.source, at.offset, at.length, std::move(text));
}

void report_caution(IssueLog& log, const YamlNode& at, std::string text) {
  log.caution(*at.source, at.offset, at.length, std::move(text));
}

void report_danger(IssueLog& log, const YamlNode& at, std::string text) {
  log.add(Issue::Severity::danger, *at.source, at.offset, at.length, std::move(text));
}

void report(IssueLog& log, const YamlNode& expression, const Problem& problem) {
  const std::size_t begin = offset_in_file(expression, problem.offset);
  const std::size_t last =
      offset_in_file(expression, problem.offset + std::max<std::size_t>(1, problem.length) - 1);
  log.error(*expression.source, begin, last >= begin ? last + 1 - begin : 1, problem.text);
}

std::string with_nearest(std::string text, std::string_view word,
                         const std::vector<std::string>& candidates) {
  if (auto near = nearest(word, candidates)) text += fmt::format("; did you mean '{}'?", *near);
  return text;
}

const YamlNode* Fields::value(std::string_view key) const {
  const YamlNode::Entry* entry = map_->find(key);
  return entry == nullptr ? nullptr : &entry->value;
}

const YamlNode* Fields::key(std::string_view key) const {
  const YamlNode::Entry* entry = map_->find(key);
  return entry == nullptr ? nullptr : &entry->key;
}

std::optional<Fields> read_fields(const YamlNode& node, const KeyTable& table, IssueLog& log) {
  if (node.kind == YamlNode::Kind::wrong) return std::nullopt;
  if (!node.is_map()) {
    report(log, node, fmt::format("{} is a map of keys, not {}", table.what, kind_in_words(node)));
    return std::nullopt;
  }
  std::vector<std::string> known;
  for (const Key& key : table.keys) known.emplace_back(key.name);
  for (const YamlNode::Entry& entry : node.entries) {
    if (table.find(entry.key.text) == nullptr) {
      report(
          log, entry.key,
          // In braces a comma ends the value before it.
          entry.key.text.find(')') != std::string::npos
              ? fmt::format("{} has no key '{}'; in braces an expression with a comma has to stand in quotes", table.what, entry.key.text)
              : with_nearest(fmt::format("{} has no key '{}'", table.what, entry.key.text), entry.key.text, known));
    }
  }
  for (const Key& key : table.keys) {
    if (key.required && node.find(key.name) == nullptr) {
      report(log, node, fmt::format("{} needs the key '{}': {}", table.what, key.name, key.help));
    }
  }
  return Fields(node);
}

const YamlNode* read_map(const YamlNode& node, std::string_view what, IssueLog& log) {
  if (node.is_map()) return &node;
  if (node.kind != YamlNode::Kind::wrong) {
    report(log, node, fmt::format("'{}' is a map of names, not {}", what, kind_in_words(node)));
  }
  return nullptr;
}

std::vector<const YamlNode*> one_or_list(const YamlNode& node) {
  std::vector<const YamlNode*> all;
  if (!node.is_list()) return {&node};
  for (const YamlNode& item : node.items) all.push_back(&item);
  return all;
}

std::optional<std::string> read_text(const YamlNode& node, IssueLog& log) {
  const std::string* text = scalar(node, "a text", log);
  if (text == nullptr) return std::nullopt;
  const std::size_t end = text->find_last_not_of(" \n\r\t");
  if (end == std::string::npos) {
    report(log, node, "a text is needed here; this one is empty");
    return std::nullopt;
  }
  return text->substr(0, end + 1);
}

std::optional<std::string> read_gsm_text(const YamlNode& node, IssueLog& log) {
  auto text = read_text(node, log);
  const std::size_t at = text ? first_not_gsm(*text) : std::string::npos;
  if (at == std::string::npos) return text;
  const std::string_view character = character_at(*text, at);
  const std::string instead = to_gsm(character);
  const std::string hint = instead == "?" || instead.empty() ? "" : fmt::format("; write '{}'", instead);
  report(log, node, Problem{at, character.size(), fmt::format("the alphabet of text messages has no '{}'{}", character, hint)});
  return std::nullopt;
}

std::optional<std::string> read_name(const YamlNode& node, IssueLog& log, NameKind kind) {
  const std::string* text = scalar(node, "a name", log);
  if (text == nullptr) return std::nullopt;
  const bool hyphens = kind == NameKind::with_hyphens;
  const bool begins = !text->empty() && (*text)[0] >= 'a' && (*text)[0] <= 'z';
  const bool fits = begins && std::all_of(text->begin(), text->end(), [hyphens](char c) {
                      return (c >= 'a' && c <= 'z') || is_digit(c) || c == '_' || (hyphens && c == '-');
                    });
  if (fits) return *text;
  report(
      log, node,
      fmt::format("'{}' cannot be a name; names are small letters, digits{} and '_', and begin with a letter",
                  *text, hyphens ? ", '-'" : ""));
  return std::nullopt;
}

std::optional<bool> read_boolean(const YamlNode& node, IssueLog& log) {
  const std::string* text = scalar(node, "true or false", log);
  if (text == nullptr) return std::nullopt;
  if (*text == "true") return true;
  if (*text == "false") return false;
  report(log, node, fmt::format("true or false is needed here, not '{}'", *text));
  return std::nullopt;
}

std::optional<double> read_number(const YamlNode& node, IssueLog& log) {
  const std::string* text = scalar(node, "a number", log);
  if (text == nullptr) return std::nullopt;
  std::size_t length = 0;
  const auto value = leading_number(*text, length);
  if (value && length == text->size()) return value;
  report(log, node, fmt::format("a plain number is needed here, not '{}'", *text));
  return std::nullopt;
}

std::optional<std::size_t> read_one_of(const YamlNode& node, const std::vector<std::string_view>& words,
                                       IssueLog& log) {
  std::string list;
  for (std::size_t i = 0; i < words.size(); ++i) {
    list += i == 0 ? "" : i + 1 == words.size() ? " or " : ", ";
    list += words[i];
  }
  const std::string* text = scalar(node, list, log);
  if (text == nullptr) return std::nullopt;
  const auto found = std::find(words.begin(), words.end(), *text);
  if (found != words.end()) return static_cast<std::size_t>(found - words.begin());
  report(log, node, fmt::format("{} is needed here, not '{}'", list, *text));
  return std::nullopt;
}

std::optional<Priority> read_priority(const YamlNode& node, IssueLog& log) {
  const auto index = read_one_of(node, {"note", "soon", "urgent"}, log);
  if (!index) return std::nullopt;
  return static_cast<Priority>(*index);
}

std::optional<Unit> read_unit(const YamlNode& node, IssueLog& log) {
  if (node.kind == YamlNode::Kind::empty) {
    report(log, node, "a unit is needed here; for none write \"\"");
    return std::nullopt;
  }
  const std::string* text = scalar(node, "a unit", log);
  if (text == nullptr) return std::nullopt;
  auto unit = parse_unit(*text);
  if (!unit) report(log, node, unknown_unit(*text));
  return unit;
}

std::optional<Quantity> read_quantity(const YamlNode& node, IssueLog& log) {
  const std::string* text = scalar(node, "a number with its unit", log);
  if (text == nullptr) return std::nullopt;
  std::size_t length = 0;
  const auto value = leading_number(*text, length);
  if (!value) {
    report(log, node, fmt::format("a number with its unit is needed here, not '{}'", *text));
    return std::nullopt;
  }
  const std::size_t begin = std::min(text->find_first_not_of(' ', length), text->size());
  const std::string word = text->substr(begin);
  auto unit = parse_unit(word);
  if (!unit) {
    report(log, node, Problem{begin, word.size(), unknown_unit(word)});
    return std::nullopt;
  }
  return Quantity{*value, *unit};
}

std::optional<Duration> read_duration(const YamlNode& node, Sign sign, IssueLog& log) {
  const std::string* text = scalar(node, "a time such as 5 min", log);
  if (text == nullptr) return std::nullopt;
  std::size_t length = 0;
  if (!leading_number(*text, length)) {
    report(log, node, fmt::format("a time such as 5 min is needed here, not '{}'", *text));
    return std::nullopt;
  }
  const auto quantity = read_quantity(node, log);
  if (!quantity) return std::nullopt;
  Dimension time;
  time.exponent[Dimension::time] = 1;
  if (quantity->unit.dimension.none()) {
    report(log, node, fmt::format("this time needs a unit: s, min, h or d, as in {} min", *text));
    return std::nullopt;
  }
  if (quantity->unit.dimension != time) {
    report(log, node,
           fmt::format("a time is needed here, in s, min, h or d, not in {}", quantity->unit.text));
    return std::nullopt;
  }
  const double ms = quantity->canonical() * 3'600'000.0;
  if (std::fabs(ms) > static_cast<double>(Duration(limits::kAge).count())) {
    report(log, node,
           fmt::format("'{}' is longer than {}, the longest time that can be meant", *text,
                       to_words(limits::kAge)));
    return std::nullopt;
  }
  const Duration span(static_cast<Duration::rep>(std::llround(ms)));
  if (sign != Sign::any && span < Duration::zero()) {
    report(log, node, "this time cannot be negative");
    return std::nullopt;
  }
  if (sign == Sign::positive && span == Duration::zero()) {
    report(log, node, "this time has to be longer than nothing");
    return std::nullopt;
  }
  return span;
}

void check_format(const Fields& fields, IssueLog& log) {
  const YamlNode* node = fields.value("format");
  if (node == nullptr || node->kind == YamlNode::Kind::wrong) return;
  if (!node->is_scalar() || node->text != "1") {
    report(log, *node, fmt::format("this version reads 'format: 1' only, not {}", kind_in_words(*node)));
  }
}

std::optional<WrittenExpression> read_expression(const YamlNode& node, IssueLog& log) {
  const std::string* text = scalar(node, "an expression", log);
  if (text == nullptr) return std::nullopt;
  Parsed parsed = parse_expression(*text);
  if (parsed.problem) report(log, node, *parsed.problem);
  const std::size_t end = text->find_last_not_of(" \n\r\t");
  return WrittenExpression{std::shared_ptr<const Syntax>(std::move(parsed.syntax)), &node,
                           end == std::string::npos ? "" : text->substr(0, end + 1)};
}

}  // namespace underwing
