#pragma once

#include <string>
#include <string_view>
#include <vector>

#include "rules/files/source.hpp"

namespace underwing {

/// A YAML file as a tree of our own: entries in the order of the file, every part with its place, scalars as
/// the text that stands there. A tree may be put together from several files (a flock's `adjust`), so each
/// node knows its source, which must outlive it.
struct YamlNode {
  enum class Kind {
    empty,  ///< nothing stands after the colon
    scalar,
    list,
    map,
    wrong  ///< refused already; whoever reads it stays silent
  };
  enum class Style { plain, single_quoted, double_quoted, literal, folded };
  struct Entry;

  Kind kind = Kind::empty;
  Style style = Style::plain;
  std::string text;             ///< of a scalar
  std::vector<YamlNode> items;  ///< of a list
  std::vector<Entry> entries;   ///< of a map; no key stands twice
  const Source* source = nullptr;
  std::size_t offset = 0;  ///< of `empty`: that of its key
  std::size_t length = 1;

  [[nodiscard]] const Entry* find(std::string_view key) const;
  [[nodiscard]] bool is_scalar() const { return kind == Kind::scalar; }
  [[nodiscard]] bool is_map() const { return kind == Kind::map; }
  [[nodiscard]] bool is_list() const { return kind == Kind::list; }
};

struct YamlNode::Entry {
  YamlNode key;  ///< always a scalar
  YamlNode value;
};

/// Reads a file into a tree. Syntax errors, tabs, duplicate keys, anchors, aliases, tags, `<<` and further
/// documents go to the log. A file that cannot be read gives a node of kind `wrong`.
[[nodiscard]] YamlNode read_yaml(const Source& source, IssueLog& log);

/// Where the byte `at` of a scalar's text stands in its file: quotes, escapes and folded lines are undone.
[[nodiscard]] std::size_t offset_in_file(const YamlNode& scalar, std::size_t at);

}  // namespace underwing
