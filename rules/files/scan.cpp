#include "rules/files/scan.hpp"

#include <fmt/format.h>

#include "rules/base/limits.hpp"

namespace underwing {
namespace {

constexpr const char* kRestNotJudged = "; the rest of this file is not judged";

/// Length of the UTF-8 sequence at `at`; 0 where it is invalid (overlong forms and surrogates included).
std::size_t utf8_length(const std::string& text, std::size_t at) {
  const auto byte = [&](std::size_t i) { return i < text.size() ? static_cast<unsigned char>(text[i]) : 0u; };
  const auto follows = [&](std::size_t i) { return (byte(i) & 0xC0u) == 0x80u; };
  const unsigned first = byte(at);
  if (first < 0x80) return first == 0 ? 0 : 1;
  if (first >= 0xC2 && first <= 0xDF) return follows(at + 1) ? 2 : 0;
  if (first >= 0xE0 && first <= 0xEF) {
    if (!follows(at + 1) || !follows(at + 2)) return 0;
    if (first == 0xE0 && byte(at + 1) < 0xA0) return 0;
    if (first == 0xED && byte(at + 1) > 0x9F) return 0;
    return 3;
  }
  if (first >= 0xF0 && first <= 0xF4) {
    if (!follows(at + 1) || !follows(at + 2) || !follows(at + 3)) return 0;
    if (first == 0xF0 && byte(at + 1) < 0x90) return 0;
    if (first == 0xF4 && byte(at + 1) > 0x8F) return 0;
    return 4;
  }
  return 0;
}

/// Walks the text with just enough of YAML in mind to know quotes, comments and block texts.
class Scanner {
 public:
  Scanner(const Source& source, IssueLog& log) : source_(source), text_(source.text()), log_(log) {}

  Scan run() {
    if (text_.size() > limits::kFileBytes) {
      stop(0, 1, fmt::format("this file is longer than {} bytes{}", limits::kFileBytes, kRestNotJudged));
      return result_;
    }
    while (at_ < text_.size() && result_.readable) step();
    if (quote_ != 0 && result_.readable) {
      stop(quote_begin_, 1, std::string("this quote is never closed") + kRestNotJudged);
    }
    return result_;
  }

 private:
  void stop(std::size_t offset, std::size_t length, std::string text) {
    report(offset, length, std::move(text));
    result_.readable = false;
  }

  void report(std::size_t offset, std::size_t length, std::string text) {
    result_.error_lines.push_back(source_.place_of(offset).line);
    log_.error(source_, offset, length, std::move(text));
  }

  void step() {
    const std::size_t length = utf8_length(text_, at_);
    if (length == 0) {
      stop(at_, 1, std::string("this is not valid UTF-8; save the file as UTF-8") + kRestNotJudged);
      return;
    }
    const char c = text_[at_];
    if (c == '\n') {
      end_line();
    } else if (quote_ != 0) {
      in_quotes(c);
    } else if (!in_comment_) {
      outside(c, length);
    }
    at_ += length;
  }

  void in_quotes(char c) {
    if (c == '\\' && quote_ == '"') {
      ++at_;
    } else if (c == quote_ && quote_ == '\'' && at_ + 1 < text_.size() && text_[at_ + 1] == '\'') {
      ++at_;
    } else if (c == quote_) {
      if (quote_begin_ < line_begin_)
        result_.long_quotes.push_back({quote_begin_, source_.place_of(at_).line});
      quote_ = 0;
      may_begin_ = false;
    }
  }

  void outside(char c, std::size_t length) {
    if (c == '\t') {
      report(at_, 1, line_blank_ ? "a tab; indent with spaces" : "a tab; write spaces");
    } else if (length == 2 && text_.compare(at_, 2, "\xC2\xA0") == 0) {
      report(at_, 2, "a no-break space; write a plain space");
    }
    if (in_block_) {
      if (c != ' ') line_blank_ = false;
      return;
    }
    const bool after_space =
        at_ == 0 || text_[at_ - 1] == ' ' || text_[at_ - 1] == '\n' || text_[at_ - 1] == '\t';
    if (c == '#' && after_space) {
      begin_comment();
    } else if ((c == '"' || c == '\'') && may_begin_) {
      quote_ = c;
      quote_begin_ = at_;
    }
    if (c == ' ') return;
    if (line_blank_) indent_ = at_ - line_begin_;
    line_blank_ = false;
    plain_ends_here_ = c != ':' && c != '|' && c != '>' && c != '-' && c != ',' && c != '[' && c != '{' &&
                       c != ']' && c != '}' && c != '"' && c != '\'';
    const char next = at_ + 1 < text_.size() ? text_[at_ + 1] : '\n';
    const bool next_blank = next == ' ' || next == '\n' || next == '\r';
    may_begin_ = (c == ':' && next_blank) || (c == '-' && next_blank) || c == ',' || c == '[' || c == '{';
    block_header_ = block_header_ ? ((c >= '0' && c <= '9') || c == '+' || c == '-')
                                  : (begins_value_ && (c == '|' || c == '>'));
    if (c != '\r') begins_value_ = may_begin_ && (c == ':' || c == '-');
  }

  void begin_comment() {
    in_comment_ = true;
    const char next = at_ + 1 < text_.size() ? text_[at_ + 1] : '\n';
    if (!line_blank_ && plain_ends_here_ && next != ' ' && next != '\n' && next != '\r' && next != '#') {
      log_.caution(source_, at_, 1,
                   "the text is cut short here: what follows ' #' is a comment; put the text in quotes if it "
                   "belongs to it");
    }
  }

  void end_line() {
    if (quote_ == 0 && block_header_) {
      in_block_ = true;
      block_indent_ = indent_;
    }
    block_header_ = false;
    in_comment_ = false;
    plain_ends_here_ = false;
    line_blank_ = true;
    line_begin_ = at_ + 1;
    if (quote_ == 0) {
      may_begin_ = true;
      begins_value_ = false;
    }
    if (in_block_) in_block_ = block_goes_on();
  }

  /// A block text goes on over blank lines and lines that are indented further than its key.
  bool block_goes_on() const {
    std::size_t at = line_begin_;
    while (at < text_.size() && (text_[at] == ' ' || text_[at] == '\t')) ++at;
    if (at >= text_.size() || text_[at] == '\n' || text_[at] == '\r') return true;
    return at - line_begin_ > block_indent_;
  }

  const Source& source_;
  const std::string& text_;
  IssueLog& log_;
  Scan result_;
  std::size_t at_ = 0;
  std::size_t line_begin_ = 0;
  std::size_t indent_ = 0;
  std::size_t block_indent_ = 0;
  std::size_t quote_begin_ = 0;
  char quote_ = 0;
  bool in_comment_ = false;
  bool in_block_ = false;
  bool line_blank_ = true;
  bool may_begin_ = true;         ///< a quoted text may begin here
  bool begins_value_ = false;     ///< the last sign was the ':' or '-' before a value
  bool block_header_ = false;     ///< inside `|`, `>-`, `|2` …
  bool plain_ends_here_ = false;  ///< the last sign belongs to a plain text
};

}  // namespace

Scan scan(const Source& source, IssueLog& log) {
  return Scanner(source, log).run();
}

}  // namespace underwing
