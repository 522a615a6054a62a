#include "rules/files/yaml_tree.hpp"

#include <fmt/format.h>
#include <yaml-cpp/eventhandler.h>
#include <yaml-cpp/exceptions.h>
#include <yaml-cpp/parser.h>

#include <algorithm>
#include <sstream>

#include "rules/base/limits.hpp"
#include "rules/files/scan.hpp"

namespace underwing {
namespace {

constexpr const char* kRestNotJudged = "the rest of this file is not judged";

/// Thrown by the builder to end the parse after an issue that makes going on pointless.
struct StopReading {};

/// Builds the tree from yaml-cpp's events. Marks of yaml-cpp 0.7 count bytes from 0.
class TreeBuilder : public YAML::EventHandler {
 public:
  TreeBuilder(const Source& source, IssueLog& log) : source_(source), log_(log) {}

  YamlNode root() { return std::move(root_); }

  void OnDocumentStart(const YAML::Mark& mark) override {
    if (++documents_ < 2) return;
    log_.error(source_, offset(mark), 3,
               std::string("a second document begins here; a file holds one, and ") + kRestNotJudged);
    throw StopReading{};
  }
  void OnDocumentEnd() override {}

  void OnNull(const YAML::Mark& mark, YAML::anchor_t) override {
    YamlNode node = begin(mark, YamlNode::Kind::empty);
    const std::string word = null_word(node.offset);
    if (!word.empty()) {
      node.kind = YamlNode::Kind::scalar;
      node.text = word;
      node.length = word.size();
    } else if (!open_.empty() && open_.back().has_key) {
      node.offset = open_.back().key.offset;
      node.length = open_.back().key.length;
    }
    place(std::move(node));
  }

  void OnAlias(const YAML::Mark& mark, YAML::anchor_t) override {
    YamlNode node = begin(mark, YamlNode::Kind::wrong);
    log_.error(source_, node.offset, word_length(node.offset),
               "aliases ('*') are not allowed; write the text out");
    place(std::move(node));
  }

  void OnAnchor(const YAML::Mark& mark, const std::string& name) override {
    log_.error(source_, offset(mark), name.size() + 1,
               "anchors ('&') are not allowed; write the text out where it is needed");
  }

  void OnScalar(const YAML::Mark& mark, const std::string& tag, YAML::anchor_t,
                const std::string& value) override {
    YamlNode node = begin(mark, YamlNode::Kind::scalar);
    node.text = value;
    check_tag(node, tag);
    node.style = style_at(node.offset);
    node.length = std::max<std::size_t>(1, value.size());
    if (node.style == YamlNode::Style::literal || node.style == YamlNode::Style::folded) {
      node.length = 1;
    } else if (!value.empty() && node.kind == YamlNode::Kind::scalar) {
      const std::size_t last = offset_in_file(node, value.size() - 1);
      node.length = last + 1 - node.offset + (node.style == YamlNode::Style::plain ? 0 : 1);
    } else if (node.style != YamlNode::Style::plain) {
      node.length = 2;
    }
    place(std::move(node));
  }

  void OnSequenceStart(const YAML::Mark& mark, const std::string& tag, YAML::anchor_t,
                       YAML::EmitterStyle::value) override {
    open(mark, tag, YamlNode::Kind::list);
  }
  void OnSequenceEnd() override { close(); }
  void OnMapStart(const YAML::Mark& mark, const std::string& tag, YAML::anchor_t,
                  YAML::EmitterStyle::value) override {
    open(mark, tag, YamlNode::Kind::map);
  }
  void OnMapEnd() override { close(); }

 private:
  struct Open {
    YamlNode node;
    YamlNode key;
    bool has_key = false;
  };

  std::size_t offset(const YAML::Mark& mark) const {
    return mark.pos < 0 ? 0 : std::min(static_cast<std::size_t>(mark.pos), source_.text().size());
  }

  YamlNode begin(const YAML::Mark& mark, YamlNode::Kind kind) {
    if (++nodes_ > limits::kYamlNodes) {
      log_.error(source_, offset(mark), 1, fmt::format("this file has too many parts; {}", kRestNotJudged));
      throw StopReading{};
    }
    YamlNode node;
    node.kind = kind;
    node.source = &source_;
    node.offset = offset(mark);
    return node;
  }

  char at(std::size_t offset) const { return offset < source_.text().size() ? source_.text()[offset] : '\n'; }

  std::size_t word_length(std::size_t offset) const {
    const std::size_t end = source_.text().find_first_of(" \t\r\n,]}:", offset + 1);
    return std::min(end, source_.text().size()) - offset;
  }

  YamlNode::Style style_at(std::size_t offset) const {
    switch (at(offset)) {
      case '\'':
        return YamlNode::Style::single_quoted;
      case '"':
        return YamlNode::Style::double_quoted;
      case '|':
        return YamlNode::Style::literal;
      case '>':
        return YamlNode::Style::folded;
      default:
        return YamlNode::Style::plain;
    }
  }

  void check_tag(YamlNode& node, const std::string& tag) {
    const char first = at(node.offset);
    if (first == '!' || (tag != "?" && tag != "!" && !tag.empty())) {
      log_.error(source_, node.offset, word_length(node.offset),
                 "tags ('!') are not allowed; every text is read as it stands");
      node.kind = YamlNode::Kind::wrong;
    } else if (first == '&') {
      node.kind = YamlNode::Kind::wrong;
    }
  }

  /// yaml-cpp reads `~` and `null` as nothing; here they are texts. Its mark for nothing at all is that of
  /// whatever comes next, so the word has to stand on the line of its key, or be the key.
  std::string null_word(std::size_t offset) const {
    for (const char* word : {"~", "null", "Null", "NULL"}) {
      const std::string_view rest = std::string_view(source_.text()).substr(offset);
      if (!rest.starts_with(word)) continue;
      const bool expects_key = !open_.empty() && open_.back().node.is_map() && !open_.back().has_key;
      const bool same_line = open_.empty() || !open_.back().has_key ||
                             source_.place_of(open_.back().key.offset).line == source_.place_of(offset).line;
      const std::size_t after = rest.find_first_not_of(' ', std::string_view(word).size());
      const bool is_key = after != std::string_view::npos && rest[after] == ':';
      if (same_line && is_key == expects_key) return word;
    }
    return {};
  }

  void open(const YAML::Mark& mark, const std::string& tag, YamlNode::Kind kind) {
    if (open_.size() >= limits::kYamlDepth) {
      log_.error(
          source_, offset(mark), 1,
          fmt::format("lists and maps are nested more than {} deep; {}", limits::kYamlDepth, kRestNotJudged));
      throw StopReading{};
    }
    Open level;
    level.node = begin(mark, kind);
    check_tag(level.node, tag);
    level.node.kind = kind;
    open_.push_back(std::move(level));
  }

  void close() {
    Open level = std::move(open_.back());
    open_.pop_back();
    YamlNode& node = level.node;
    if (node.is_map() && !node.entries.empty() && at(node.offset) != '{')
      node.length = node.entries[0].key.length;
    place(std::move(node));
  }

  void place(YamlNode node) {
    if (open_.empty()) {
      root_ = std::move(node);
      return;
    }
    Open& level = open_.back();
    if (level.node.is_list()) {
      level.node.items.push_back(std::move(node));
    } else if (!level.has_key) {
      level.key = std::move(node);
      level.has_key = true;
    } else {
      level.has_key = false;
      add_entry(level, std::move(node));
    }
  }

  void add_entry(Open& level, YamlNode value) {
    const YamlNode& key = level.key;
    if (key.kind == YamlNode::Kind::wrong) return;
    if (!key.is_scalar()) {
      log_.error(source_, key.offset, 1, "a key is one word or text, not a list, a map or nothing");
      return;
    }
    if (key.text == "<<" && key.style == YamlNode::Style::plain) {
      log_.error(source_, key.offset, 2, "merging with '<<' is not allowed; write the keys out");
      return;
    }
    if (const YamlNode::Entry* first = level.node.find(key.text)) {
      log_.error(source_, key.offset, key.length,
                 fmt::format("'{}' stands here twice; the first is on line {}", key.text,
                             source_.place_of(first->key.offset).line));
      return;
    }
    level.node.entries.push_back({key, std::move(value)});
  }

  const Source& source_;
  IssueLog& log_;
  std::vector<Open> open_;
  YamlNode root_;
  std::size_t documents_ = 0;
  std::size_t nodes_ = 0;
};

/// yaml-cpp's words for a syntax error, in words for people.
std::string in_plain_words(const std::string& message, char sign) {
  if (message.find("referenced anchor") != std::string::npos)
    return "aliases ('*') are not allowed; write the text out";
  if (message == "unknown token")
    return fmt::format("a text that begins with '{}' has to stand in quotes", sign);
  if (message == "illegal map value")
    return "a ':' does not fit here; is the indentation right, or does a text need quotes?";
  if (message == "end of map flow not found") return "a '{' is not closed with '}' before this";
  if (message == "end of sequence flow not found") return "a '[' is not closed with ']' before this";
  if (message == "end of map not found" || message == "end of sequence not found")
    return "the indentation does not fit what stands above";
  return fmt::format("this cannot be read as YAML ({})", message);
}

/// A line just above that stands at the same depth and has no ':' with a space after it: YAML takes the two for one text,
/// and is surprised only by the second. Its first sign.
std::optional<std::size_t> line_without_colon(const Source& source, std::size_t offset) {
  const std::string& text = source.text();
  const auto begin_of = [&](std::size_t at) { return at == 0 ? 0 : text.rfind('\n', at - 1) + 1; };
  const auto depth_at = [&](std::size_t begin) { return text.find_first_not_of(' ', begin) - begin; };
  const std::size_t here = begin_of(offset);
  if (here == 0) return std::nullopt;
  const std::size_t above = begin_of(here - 1);
  const std::string line = text.substr(above, here - 1 - above);
  const std::size_t depth = depth_at(above);
  if (depth >= line.size() || depth != depth_at(here) || line[depth] == '#' || line[depth] == '-') return std::nullopt;
  if (line.find(": ") != std::string::npos || line.ends_with(':')) return std::nullopt;
  return above + depth;
}

void report_syntax(const YAML::Exception& error, const Source& source, const Scan& scanned, IssueLog& log) {
  const std::size_t length = source.text().size();
  std::size_t offset = error.mark.pos < 0 ? 0 : std::min(static_cast<std::size_t>(error.mark.pos), length);
  // At the end of the file the place is the last character, not the empty line below.
  while (offset > 0 && offset >= length) --offset;
  for (const Scan::LongQuote& quote : scanned.long_quotes) {
    if (quote.offset > offset) continue;
    log.error(source, quote.offset, 1,
              fmt::format("this quote is closed only on line {}, and the file cannot be read like that; {}",
                          quote.end_line, kRestNotJudged));
    return;
  }
  if (const auto colonless = error.msg == "illegal map value" ? line_without_colon(source, offset) : std::nullopt) {
    log.error(source, *colonless, 1, fmt::format("a key needs a ':' and a space after it, as in 'birds: 17000'; {}", kRestNotJudged));
    return;
  }
  const std::size_t line = source.place_of(offset).line;
  const auto& lines = scanned.error_lines;
  const bool explained = std::find(lines.begin(), lines.end(), line) != lines.end();
  const char sign = offset < length ? source.text()[offset] : ' ';
  const std::string what = explained ? "this line cannot be read" : in_plain_words(error.msg, sign);
  log.error(source, offset, 1, fmt::format("{}; {}", what, kRestNotJudged));
}

}  // namespace

const YamlNode::Entry* YamlNode::find(std::string_view key) const {
  const auto found =
      std::find_if(entries.begin(), entries.end(), [key](const Entry& it) { return it.key.text == key; });
  return found == entries.end() ? nullptr : &*found;
}

YamlNode read_yaml(const Source& source, IssueLog& log) {
  YamlNode wrong;
  wrong.kind = YamlNode::Kind::wrong;
  wrong.source = &source;
  const Scan scanned = scan(source, log);
  if (!scanned.readable) return wrong;
  std::istringstream stream(source.text());
  TreeBuilder builder(source, log);
  try {
    YAML::Parser parser(stream);
    while (parser.HandleNextDocument(builder)) {
    }
  } catch (const StopReading&) {
    return wrong;
  } catch (const YAML::Exception& error) {
    report_syntax(error, source, scanned, log);
    return wrong;
  }
  for (const std::size_t line : scanned.error_lines) log.mute(source, line);
  YamlNode root = builder.root();
  root.source = &source;
  return root;
}

}  // namespace underwing
