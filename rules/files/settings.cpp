#include "rules/files/settings.hpp"

#include <fmt/format.h>

namespace underwing {
namespace {

void append_string(std::string& out, std::string_view text) {
  out += '"';
  for (const char c : text) {
    if (c == '"' || c == '\\') {
      out += '\\';
      out += c;
    } else if (static_cast<unsigned char>(c) < 0x20) {
      out += fmt::format("\\u{:04x}", static_cast<unsigned>(c));
    } else {
      out += c;
    }
  }
  out += '"';
}

/// Whether a plain scalar is a number just as JSON writes numbers (RFC 8259, section 6): 010 and +1 are not.
bool is_json_number(std::string_view text) {
  const auto digits = [&] {
    std::size_t count = 0;
    while (count < text.size() && text[count] >= '0' && text[count] <= '9') ++count;
    text.remove_prefix(count);
    return count;
  };
  const auto take = [&](std::string_view any) {
    if (text.empty() || any.find(text.front()) == std::string_view::npos) return false;
    text.remove_prefix(1);
    return true;
  };
  take("-");
  const bool zero = !text.empty() && text.front() == '0';
  const std::size_t whole = digits();
  if (whole == 0 || (zero && whole > 1)) return false;
  if (take(".") && digits() == 0) return false;
  if (take("eE")) {
    take("+-");
    if (digits() == 0) return false;
  }
  return text.empty();
}

void append_scalar(std::string& out, const YamlNode& node) {
  const bool plain = node.style == YamlNode::Style::plain;
  if (plain && (node.text == "true" || node.text == "false" || is_json_number(node.text))) {
    out += node.text;
  } else {
    append_string(out, node.text);
  }
}

void append(std::string& out, const YamlNode& node) {
  switch (node.kind) {
    case YamlNode::Kind::scalar:
      append_scalar(out, node);
      return;
    case YamlNode::Kind::list: {
      out += '[';
      for (const YamlNode& item : node.items) {
        if (out.back() != '[') out += ',';
        append(out, item);
      }
      out += ']';
      return;
    }
    case YamlNode::Kind::map: {
      out += '{';
      for (const YamlNode::Entry& entry : node.entries) {
        if (out.back() != '{') out += ',';
        append_string(out, entry.key.text);
        out += ':';
        append(out, entry.value);
      }
      out += '}';
      return;
    }
    default:
      out += "null";
  }
}

}  // namespace

std::string settings_as_json(const YamlNode& node) {
  std::string out;
  append(out, node);
  return out;
}

}  // namespace underwing
