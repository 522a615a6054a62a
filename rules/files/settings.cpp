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

void append(std::string& out, const YamlNode& node) {
  switch (node.kind) {
    case YamlNode::Kind::scalar:
      append_string(out, node.text);
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
