// The languages of a farm: which are spoken, and whether what is wrong fits on a locked screen in each.
#include <fmt/format.h>

#include <algorithm>

#include "rules/files/farm_loader.hpp"
#include "rules/languages/gsm.hpp"
#include "rules/languages/texts.hpp"

namespace underwing {
namespace {

constexpr std::size_t kHouseMax = 8;  // a house's name in short
/// In kg or L: rules show what a meter counted within a week at most, not where it stands.
constexpr double kCountedMax = 999'999;

/// The longest that a value of this measure is in a text.
std::size_t longest_value(const Measure& measure, Units units) {
  std::size_t longest = 0;
  const double high = measure.kind == MeasureKind::counter ? std::min(measure.plausible_high, kCountedMax) : measure.plausible_high;
  for (const double value : {measure.plausible_low, measure.plausible_low + 0.1, high - 0.1, high}) {
    longest = std::max(longest, gsm_length(to_gsm(with_unit(measure.unit.to_canonical(value), shown_in(measure.unit, units)))));
  }
  return longest;
}

}  // namespace

void FarmLoader::open_languages() {
  std::vector<std::string> names{"en"};
  std::map<std::string, const YamlNode*> shipped;
  for (const auto& [path, text] : files_.languages) {
    const YamlNode& root = open(path, text);
    if (root.kind == YamlNode::Kind::wrong) continue;
    LanguageDraft draft = read_language(root, log_);
    if (draft.name.empty()) continue;
    names.push_back(draft.name);
    if (languages_.contains(draft.name)) {
      report(log_, root.find("language")->value, fmt::format("language '{}' stands in {} already", draft.name, languages_[draft.name].root->source->path()));
      continue;
    }
    languages_[draft.name] = std::move(draft);
  }
  // A shipped language is judged when somebody speaks it.
  for (const auto& [path, text] : files_.shipped_languages) {
    const YamlNode& root = open(path, text);
    const YamlNode::Entry* name = root.find("language");
    if (name == nullptr || !name->value.is_scalar()) continue;
    shipped[name->value.text] = &root;
    names.push_back(name->value.text);
  }
  for (const NamedNode& spoken : farm_.languages) {
    if (languages_.contains(spoken.name)) continue;
    const auto found = shipped.find(spoken.name);
    if (found != shipped.end()) languages_[spoken.name] = read_language(*found->second, log_);
    else if (spoken.name != "en") report(log_, *spoken.node, with_nearest(fmt::format("no language named '{}'", spoken.name), spoken.name, names));
  }
  for (const auto& [name, draft] : languages_) set_->languages[name] = draft.language;
}

void FarmLoader::judge_languages() {
  std::vector<std::string> known;
  for (const Measure& measure : set_->measures) known.push_back(measure.name);
  for (const auto& [name, draft] : languages_) {
    const std::size_t again = 1 + gsm_length(say(*draft.language, "again"));
    for (const YamlNode* key : draft.measures) {
      const auto measure = set_->find_measure(key->text);
      if (!measure) {
        if (packs_read_) report(log_, *key, with_nearest(fmt::format("no measure named '{}'", key->text), key->text, known));
        continue;
      }
      const YamlNode::Entry* wrong = draft.root->find("wrong");
      const YamlNode::Entry* entry = wrong == nullptr ? nullptr : wrong->value.find(key->text);
      const auto words = draft.language->wrong.find(key->text);
      if (entry == nullptr || &entry->key != key || words == draft.language->wrong.end()) continue;
      for (const std::string& word : {words->second.low, words->second.high}) {
        const std::size_t length = kHouseMax + 1 + gsm_length(word) + again + 1 + longest_value(set_->measures[*measure], set_->farm.units);
        if (length <= kLockedScreen) continue;
        report(log_, *key, fmt::format("'{}' leaves no room for its value: with the longest house and value there are {} characters, and a locked screen shows {}",
                                       word, length, kLockedScreen));
        break;
      }
    }
  }
}

}  // namespace underwing
