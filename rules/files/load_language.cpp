// A language's file: the texts that people are sent, held against those of English.
#include <fmt/format.h>

#include <algorithm>

#include "rules/files/built_in.hpp"
#include "rules/files/drafts.hpp"
#include "rules/languages/gsm.hpp"
#include "rules/languages/texts.hpp"

namespace underwing {
namespace {

/// What the longest alarm must still have room for of what to do, in septets: half a line.
constexpr std::size_t kActionLeft = 24;

/// How long what goes into a slot can be, as far as that is known: a house in short, a code of a busy week.
std::string longest_in(std::string_view slot) {
  static const std::map<std::string_view, std::string> kLongest{
      {"house", "HOUSE123"}, {"code", "K7K7"}, {"time", "00:00"}, {"since", "00:00"}, {"from", "00:00"}, {"value", "-19.9 C"},
      {"day", "100"}, {"count", "100"}, {"do", ""}};
  const auto found = kLongest.find(slot);
  return found == kLongest.end() ? "0123456789" : found->second;
}

/// What people answer in every language; in capitals it is what they write.
std::vector<std::string> answer_keys() { return {"help", "here", "ok", "pass", "shelve", "status", "undo", "work"}; }

/// Measures that people enter.
std::vector<std::string> round_keys() {
  std::vector<std::string> names;
  for (const Measure& measure : built_in_measures()) {
    if (measure.kind == MeasureKind::round || measure.kind == MeasureKind::tally) names.push_back(measure.name);
  }
  return names;
}

class LanguageReader {
 public:
  LanguageReader(const YamlNode& root, IssueLog& log) : log_(log) { draft_.root = &root; }

  LanguageDraft run() {
    const auto fields = read_fields(*draft_.root, language_keys(), log_);
    draft_.language = std::make_shared<Language>(english());
    Language& language = *draft_.language;
    language.wrong.clear();
    if (!fields) return std::move(draft_);
    check_format(*fields, log_);
    if (const YamlNode* node = fields->value("language")) draft_.name = language.name = read_name(*node, log_).value_or("");
    if (const YamlNode* node = fields->value("about")) (void)read_text(*node, log_);
    if (const YamlNode* node = fields->value("texts")) read_texts(*node);
    if (const YamlNode* node = fields->value("measures")) read_measure_words(*node);
    if (const YamlNode* node = fields->value("wrong")) read_wrong(*node);
    if (const YamlNode* node = fields->value("answers")) read_synonyms(*node, "answers", answer_keys(), language.answers);
    if (const YamlNode* node = fields->value("rounds")) read_synonyms(*node, "rounds", round_keys(), language.rounds);
    if (const YamlNode* node = fields->value("texts"); node != nullptr && fine_) judge_alarm(*node);
    return std::move(draft_);
  }

 private:
  void wrong(const YamlNode& node, std::string text) {
    fine_ = false;
    report(log_, node, std::move(text));
  }

  /// A text of the file, all of whose characters a text message has; nullopt where it is wrong.
  std::optional<std::string> read_words(const YamlNode& node) {
    auto text = read_gsm_text(node, log_);
    fine_ = fine_ && text.has_value();
    return text;
  }

  void read_texts(const YamlNode& node) {
    const YamlNode* map = read_map(node, "texts", log_);
    if (map == nullptr) return;
    std::vector<std::string> keys;
    for (const TextRow& row : kTexts) keys.emplace_back(row.key);
    for (const YamlNode::Entry& entry : map->entries) {
      const std::size_t index = text_index(entry.key.text);
      if (index == kTexts.size()) {
        wrong(entry.key, with_nearest(fmt::format("there is no text '{}'", entry.key.text), entry.key.text, keys));
        continue;
      }
      std::erase(keys, entry.key.text);
      read_text_of(kTexts[index], draft_.language->texts[index], entry.value);
    }
    if (keys.empty()) return;
    std::string missing;
    for (const std::string& key : keys) missing += (missing.empty() ? "'" : ", '") + key + "'";
    wrong(node, fmt::format("{} missing: {}", keys.size() == 1 ? "a text is" : "texts are", missing));
  }

  void read_text_of(const TextRow& row, Language::Text& text, const YamlNode& node) {
    if (node.kind == YamlNode::Kind::wrong) return;
    text = {};
    if (row.many.empty()) return read_form(row.one, text.one, node, Form::only);
    if (!node.is_map()) return wrong(node, "this text has two forms, as in {one: \"…\", many: \"…\"}");
    for (const YamlNode::Entry& entry : node.entries) {
      if (entry.key.text == "one") read_form(row.many, text.one, entry.value, Form::one);
      else if (entry.key.text == "many") read_form(row.many, text.many, entry.value, Form::only);
      else wrong(entry.key, fmt::format("a text has the forms 'one' and 'many', not '{}'", entry.key.text));
    }
    if (text.one.empty() || text.many.empty()) wrong(node, "this text needs both forms, 'one' and 'many'");
  }

  /// The form for one may leave the count out: "one alarm".
  enum class Form { only, one };
  void read_form(std::string_view pattern, std::string& target, const YamlNode& node, Form form) {
    const auto text = read_words(node);
    if (!text) return;
    target = *text;
    const std::vector<std::string_view> wanted = slots_of(pattern);
    std::vector<std::string> names(wanted.begin(), wanted.end());
    for (const std::string_view slot : slots_of(*text)) {
      if (std::find(wanted.begin(), wanted.end(), slot) != wanted.end()) continue;
      fine_ = false;
      const std::string sorry = fmt::format("this text has no slot '{{{}}}'", slot);
      report(log_, node, Problem{text->find("{" + std::string(slot) + "}"), slot.size() + 2, with_nearest(sorry, slot, names)});
    }
    const std::vector<std::string_view> there = slots_of(*text);
    for (const std::string_view slot : wanted) {
      const bool may_lack = form == Form::one && slot == "count";
      if (!may_lack && std::find(there.begin(), there.end(), slot) == there.end()) wrong(node, fmt::format("this text lacks the slot '{{{}}}'", slot));
    }
    if (text->find_first_of("{}") != std::string::npos && there.empty()) wrong(node, "a brace without its other half");
    if (const std::size_t length = longest(*text); length > kTextSeptetsMax) {
      wrong(node, fmt::format("with the longest values in its slots this has {} characters; a text message has room for {}", length, kTextSeptetsMax));
    }
  }

  static std::size_t longest(const std::string& text) {
    std::size_t length = gsm_length(text);
    for (const std::string_view slot : slots_of(text)) {
      // A brace counts twice in that alphabet, and is not sent.
      const std::string written = "{" + std::string(slot) + "}";
      for (std::size_t at = text.find(written); at != std::string::npos; at = text.find(written, at + 1)) {
        length = length + gsm_length(longest_in(slot)) - gsm_length(written);
      }
    }
    return length;
  }

  void read_measure_words(const YamlNode& node) {
    const YamlNode* map = read_map(node, "measures", log_);
    if (map == nullptr) return;
    std::vector<std::string> missing;
    for (const Measure& measure : built_in_measures()) missing.push_back(measure.name);
    for (const YamlNode::Entry& entry : map->entries) {
      const auto words = read_words(entry.value);
      draft_.measures.push_back(&entry.key);
      std::erase(missing, entry.key.text);
      if (words) draft_.language->measures[entry.key.text] = *words;
    }
    say_missing(node, missing);
  }

  void read_wrong(const YamlNode& node) {
    const YamlNode* map = read_map(node, "wrong", log_);
    if (map == nullptr) return;
    std::vector<std::string> missing;
    for (const auto& [measure, words] : english().wrong) missing.push_back(measure);
    for (const YamlNode::Entry& entry : map->entries) {
      std::erase(missing, entry.key.text);
      draft_.measures.push_back(&entry.key);
      const auto fields = read_fields(entry.value, wrong_keys(), log_);
      if (!fields) continue;
      Language::Wrong& words = draft_.language->wrong[entry.key.text];
      if (const YamlNode* low = fields->value("low")) words.low = read_words(*low).value_or("");
      if (const YamlNode* high = fields->value("high")) words.high = read_words(*high).value_or("");
    }
    say_missing(node, missing);
  }

  void say_missing(const YamlNode& node, const std::vector<std::string>& measures) {
    std::string all;
    for (const std::string& measure : measures) all += (all.empty() ? "'" : ", '") + measure + "'";
    if (!measures.empty()) wrong(node, fmt::format("{} missing: {}", measures.size() == 1 ? "a measure is" : "measures are", all));
  }

  /// Words that mean the same as one that every language knows. No word may mean two things.
  void read_synonyms(const YamlNode& node, const char* what, const std::vector<std::string>& keys,
                     std::map<std::string, std::vector<std::string>>& target) {
    const YamlNode* map = read_map(node, what, log_);
    if (map == nullptr) return;
    for (const YamlNode::Entry& entry : map->entries) {
      const std::string& key = entry.key.text;
      if (std::find(keys.begin(), keys.end(), key) == keys.end()) {
        wrong(entry.key, with_nearest(fmt::format("'{}' is nothing that people {}", key, what == std::string_view("answers") ? "answer" : "enter"), key, keys));
        continue;
      }
      for (const YamlNode* item : one_or_list(entry.value)) {
        const auto word = read_text(*item, log_);
        if (word && judge_word(*item, *word, key)) target[key].push_back(*word);
      }
    }
  }

  bool judge_word(const YamlNode& node, const std::string& word, const std::string& key) {
    const auto is_letter = [](char c) { return c >= 'A' && c <= 'Z'; };
    if (word.size() < 2 || !std::all_of(word.begin(), word.end(), is_letter)) {
      wrong(node, fmt::format("'{}' cannot be told from a number or a code; a word of at least two letters A to Z in capitals is needed", word));
      return false;
    }
    const auto taken = words_.try_emplace(word, key);
    if (taken.first->second == key) return true;
    wrong(node, fmt::format("'{}' means '{}' already", word, taken.first->second));
    return false;
  }

  /// The words that every language knows.
  static std::map<std::string, std::string> known_words() {
    std::map<std::string, std::string> words{{"I", "I am"}, {"AM", "I am"}, {"IM", "I am"}};
    for (const std::string& key : answer_keys()) words[capitals(key)] = key;
    for (const std::string& name : round_keys()) words[capitals(name.substr(0, name.find('_')))] = name;
    return words;
  }

  /// The parts of an alarm together: with a head that fills the locked screen there is still room for how fast, or for
  /// some of what to do.
  void judge_alarm(const YamlNode& texts) {
    const Language& language = *draft_.language;
    const auto length = [&](TextKey key) { return longest(language.texts[key.index].one); };
    const std::size_t day = language.texts[TextKey("day").index].one.empty() ? 0 : length("day") + 3;
    const std::size_t frame = kLockedScreen + 2 + length("wants") + day + 1 + 1 + length("reply_or_pass");
    const auto judge = [&](const char* key, std::size_t total) {
      if (total <= kTextSeptetsMax) return;
      const YamlNode::Entry* entry = texts.find(key);
      report(log_, entry->value, fmt::format("with the longest names, units and values an alarm is {} characters too long; shorten this, 'wants', 'day' or 'reply_or_pass'",
                                             total - kTextSeptetsMax));
    };
    judge("go_now", frame + 1 + length("go_now") + kActionLeft);
    for (const char* key : {"falling_since", "rising_since", "falling_below", "rising_above"}) {
      judge(key, frame + 1 + longest(language.texts[text_index(key)].one));
    }
  }

  IssueLog& log_;
  LanguageDraft draft_;
  std::map<std::string, std::string> words_ = known_words();  ///< and what each of them means
  bool fine_ = true;
};

}  // namespace

LanguageDraft read_language(const YamlNode& root, IssueLog& log) { return LanguageReader(root, log).run(); }

}  // namespace underwing
