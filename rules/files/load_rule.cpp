#include <fmt/format.h>

#include <algorithm>

#include "rules/base/limits.hpp"
#include "rules/files/drafts.hpp"
#include "rules/languages/gsm.hpp"
#include "rules/languages/language.hpp"

namespace underwing {
namespace {

/// Reads one rule's map into a draft; each function looks after one concern.
class RuleReader {
 public:
  RuleReader(const YamlNode::Entry& entry, IssueLog& log) : entry_(entry), log_(log), fields_(entry.value) {}

  RuleDraft run() {
    draft_.key = &entry_.key;
    draft_.map = &entry_.value;
    draft_.rule.name = read_name(entry_.key, log_).value_or("");
    const auto fields = read_fields(entry_.value, rule_keys(), log_);
    if (!fields) return std::move(draft_);
    fields_ = *fields;
    read_texts();
    read_condition();
    read_delays();
    read_ages();
    read_switches();
    judge_response();
    return std::move(draft_);
  }

 private:
  void text(const char* key, std::string& target) {
    if (const YamlNode* node = fields_.value(key)) target = read_text(*node, log_).value_or("");
  }

  /// The first words of a text: they have to stand in it as they are, with the house, AGAIN and the value.
  std::string read_head(const YamlNode& node) {
    const std::string head = read_gsm_text(node, log_).value_or("");
    const std::size_t length = gsm_length(capitals(head));
    if (length <= kHeadSeptetsMax) return head;
    report(log_, node, fmt::format("a head has room for {} characters, and this one has {}; say what is wrong in one to three words", kHeadSeptetsMax, length));
    return "";
  }

  void read_texts() {
    if (const YamlNode* node = fields_.value("head")) draft_.rule.head = read_head(*node);
    text("about", draft_.rule.about);
    text("cause", draft_.rule.cause);
    text("consequence", draft_.rule.consequence);
    text("do", draft_.rule.action);
    text("source", draft_.rule.source);
    if (const YamlNode* node = fields_.value("in")) read_words(*node);
  }

  void read_words(const YamlNode& node) {
    const YamlNode* map = read_map(node, "in", log_);
    if (map == nullptr) return;
    for (const YamlNode::Entry& entry : map->entries) {
      const auto language = read_name(entry.key, log_);
      const auto fields = read_fields(entry.value, rule_words_keys(), log_);
      if (!language || !fields) continue;
      WatchedRule::Words& words = draft_.rule.in[*language];
      if (const YamlNode* head = fields->value("head")) words.head = read_head(*head);
      if (const YamlNode* about = fields->value("about")) words.about = read_text(*about, log_).value_or("");
      if (const YamlNode* action = fields->value("do")) words.action = read_text(*action, log_).value_or("");
    }
  }

  void read_condition() {
    if (const YamlNode* node = fields_.value("priority")) priority_ = read_priority(*node, log_);
    if (const YamlNode* node = fields_.value("watch")) draft_.watch = read_expression(*node, log_);
    if (draft_.watch) draft_.rule.watch_text = draft_.watch->text;
    if (const YamlNode* node = fields_.value("only_if")) draft_.only_if = read_expression(*node, log_);
    if (fields_.has("when")) {
      read_when();
    } else if (!fields_.has("watch")) {
      report(log_, fields_.map(), "a rule needs 'watch' with 'low', 'high' or 'limits', or it needs 'when'");
    } else if (fields_.has("limits")) {
      read_limits();
    } else if (!fields_.has("low") && !fields_.has("high")) {
      report(log_, fields_.map(),
             "this rule watches a value but sets it no limit; it needs 'low', 'high' or 'limits'");
    } else {
      add_limit(fields_, "low", Limit::Side::low, priority_.value_or(Priority::note));
      add_limit(fields_, "high", Limit::Side::high, priority_.value_or(Priority::note));
    }
    if (!fields_.has("priority") && !fields_.has("limits")) {
      report(log_, fields_.map(), "a rule needs the key 'priority': urgent, soon or note");
    }
  }

  void read_when() {
    for (const char* key : {"watch", "low", "high", "limits", "ahead", "deadband"}) {
      if (const YamlNode* other = fields_.key(key)) {
        report(log_, *other, fmt::format("'{}' does not go with 'when'; a rule has one or the other", key));
      }
    }
    add_limit(fields_, "when", Limit::Side::when, priority_.value_or(Priority::note));
  }

  void add_limit(const Fields& fields, const char* key, Limit::Side side, Priority priority) {
    const YamlNode* node = fields.value(key);
    if (node == nullptr) return;
    if (auto expression = read_expression(*node, log_))
      draft_.limits.push_back({side, priority, *expression});
  }

  void read_limits() {
    draft_.rule.staged = true;
    for (const char* key : {"low", "high", "priority"}) {
      if (const YamlNode* other = fields_.key(key)) {
        report(log_, *other, fmt::format("'{}' stands in each of 'limits', not beside them", key));
      }
    }
    const YamlNode& list = *fields_.value("limits");
    if (list.kind == YamlNode::Kind::wrong) return;
    if (!list.is_list() || list.items.empty()) {
      report(log_, list, "a list of limits is needed here, as in [{high: 10 ppm, priority: note}]");
      return;
    }
    std::optional<Priority> before;
    for (const YamlNode& item : list.items) {
      const auto fields = read_fields(item, limit_keys(), log_);
      if (!fields) continue;
      if (fields->has("low") == fields->has("high")) {
        report(log_, item, "each of 'limits' has 'low' or 'high', and not both");
        continue;
      }
      const YamlNode* node = fields->value("priority");
      const auto priority = node == nullptr ? std::nullopt : read_priority(*node, log_);
      if (priority && before && *priority < *before) {
        report(log_, *node,
               fmt::format("limits rise in priority; {} comes after {}", to_string(*priority),
                           to_string(*before)));
      }
      if (priority) before = priority;
      add_limit(*fields, "low", Limit::Side::low, priority.value_or(Priority::note));
      add_limit(*fields, "high", Limit::Side::high, priority.value_or(Priority::note));
    }
  }

  std::optional<Duration> duration(const char* key, Sign sign) {
    const YamlNode* node = fields_.value(key);
    if (node == nullptr) return std::nullopt;
    const auto span = read_duration(*node, sign, log_);
    if (span && sign != Sign::any && *span > limits::kDelay) {
      report(
          log_, *node,
          fmt::format("this is longer than {}, the longest that a rule may wait", to_words(limits::kDelay)));
    }
    return span;
  }

  void read_delays() {
    WatchedRule& rule = draft_.rule;
    rule.on_delay = duration("on_delay", Sign::not_negative).value_or(Duration::zero());
    rule.off_delay = duration("off_delay", Sign::not_negative).value_or(Duration::zero());
    rule.ahead = duration("ahead", Sign::positive);
    rule.respond_within = duration("respond_within", Sign::positive);
    if (auto span = duration("blind_after", Sign::positive)) rule.blind_after = *span;
    if (const YamlNode* node = fields_.value("deadband")) {
      draft_.deadband = read_quantity(*node, log_);
      draft_.deadband_node = node;
      if (draft_.deadband && draft_.deadband->value < 0) report(log_, *node, "a deadband cannot be negative");
    }
  }

  void read_ages() {
    WatchedRule& rule = draft_.rule;
    rule.from = duration("from", Sign::any);
    rule.until = duration("until", Sign::any);
    // Rules of a flock begin a day before the birds come, so that the house is watched while it warms up.
    const Duration begin = rule.from.value_or(std::chrono::hours(-24));
    if (rule.until && begin >= *rule.until) {
      const char* key = fields_.has("from") ? "from" : "until";
      report(log_, *fields_.value(key),
             fmt::format("this rule would end ({}) before it begins ({})", to_words(*rule.until),
                         to_words(begin)));
    }
  }

  void read_switches() {
    if (const YamlNode* node = fields_.value("even_during_work"))
      draft_.rule.even_during_work = read_boolean(*node, log_).value_or(false);
    if (const YamlNode* node = fields_.value("latch"))
      draft_.rule.latch = read_boolean(*node, log_).value_or(false);
    if (const YamlNode* node = fields_.value("each")) {
      draft_.each = node;
      draft_.each_probe = read_one_of(*node, {"house", "probe"}, log_) == 1u;
    }
    if (const YamlNode* node = fields_.value("follows")) {
      for (const YamlNode* item : one_or_list(*node)) {
        if (auto name = read_name(*item, log_)) draft_.follows.push_back({*name, item});
      }
    }
  }

  /// ISA-18.2: an alarm is there to be answered, so what wakes people says what to do and how soon.
  void judge_response() {
    Priority worst = priority_.value_or(Priority::note);
    for (const LimitDraft& limit : draft_.limits) worst = std::max(worst, limit.priority);
    if (worst == Priority::note) return;
    for (const char* key : {"do", "respond_within"}) {
      if (fields_.has(key)) continue;
      report(log_, fields_.map(),
             fmt::format(
                 "a rule that is {} needs the key '{}'; what asks for nobody's timely response is a note",
                 to_string(worst), key));
    }
    const WatchedRule& rule = draft_.rule;
    if (rule.respond_within && rule.on_delay * 4 > *rule.respond_within && fields_.has("on_delay")) {
      report_caution(
          log_, *fields_.value("on_delay"),
          fmt::format("this delay takes up more than a quarter of the {} within which somebody has to act",
                      to_words(*rule.respond_within)));
    }
  }

  const YamlNode::Entry& entry_;
  IssueLog& log_;
  Fields fields_;
  RuleDraft draft_;
  std::optional<Priority> priority_;
};

}  // namespace

RuleDraft read_rule(const YamlNode::Entry& entry, IssueLog& log) {
  return RuleReader(entry, log).run();
}

}  // namespace underwing
