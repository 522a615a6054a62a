#include <fmt/format.h>

#include <algorithm>
#include <array>

#include "rules/files/drafts.hpp"

namespace underwing {
namespace {

constexpr std::array<const char*, 4> kSections = {"rules", "curves", "values", "measures"};

YamlNode* section_of(YamlNode& pack, const char* section) {
  for (YamlNode::Entry& entry : pack.entries) {
    if (entry.key.text == section && entry.value.is_map()) return &entry.value;
  }
  return nullptr;
}

YamlNode::Entry* entry_of(YamlNode& map, std::string_view name) {
  for (YamlNode::Entry& entry : map.entries) {
    if (entry.key.text == name) return &entry;
  }
  return nullptr;
}

const KeyTable& table_of(std::string_view section) {
  return section == "rules" ? rule_keys() : section == "curves" ? curve_keys() : measure_keys();
}

/// How many of the adjusted keys belong to that kind of thing: a rule may bear the name of its measure.
std::size_t fit(std::string_view section, const YamlNode& adjusted) {
  if (section == "values") return adjusted.is_scalar() ? 1 : 0;
  if (!adjusted.is_map()) return 0;
  const KeyTable& table = table_of(section);
  return static_cast<std::size_t>(
      std::count_if(adjusted.entries.begin(), adjusted.entries.end(),
                    [&](const YamlNode::Entry& entry) { return table.find(entry.key.text) != nullptr; }));
}

/// A flock's own words are not those that the pack has in other languages.
void drop_other_words(YamlNode& target, const YamlNode& adjusted) {
  YamlNode::Entry* in = entry_of(target, "in");
  if (in == nullptr || adjusted.find("in") != nullptr) return;
  for (YamlNode::Entry& language : in->value.entries) {
    std::erase_if(language.value.entries, [&](const YamlNode::Entry& words) { return adjusted.find(words.key.text) != nullptr; });
  }
}

void lay_over(YamlNode& target, const YamlNode& adjusted) {
  if (!target.is_map() || !adjusted.is_map()) {
    target = adjusted;
    return;
  }
  drop_other_words(target, adjusted);
  for (const YamlNode::Entry& change : adjusted.entries) {
    if (YamlNode::Entry* entry = entry_of(target, change.key.text)) {
      *entry = change;
    } else {
      target.entries.push_back(change);
    }
  }
}

class Adjuster {
 public:
  Adjuster(std::vector<YamlNode>& packs, const std::vector<Measure>& measures, bool complete, IssueLog& log)
      : packs_(packs), measures_(measures), complete_(complete), log_(log) {}

  void apply(const YamlNode::Entry& change) {
    if (change.value.kind == YamlNode::Kind::wrong) return;
    const char* section = best_section(change);
    if (section == nullptr && !complete_) return;
    if (section == nullptr) {
      report(log_, change.key,
             with_nearest(fmt::format("no rule, curve, value or measure of this flock's packs is named '{}'",
                                      change.key.text),
                          change.key.text, names()));
      return;
    }
    const bool is_value = std::string_view(section) == "values";
    if (is_value && change.value.is_map()) {
      report(log_, change.value,
             fmt::format("'{}' is a value of these packs and takes an expression; points belong to a curve, and these have {}", change.key.text, curves()));
      return;
    }
    if (!is_value && !change.value.is_map()) {
      report(log_, change.key,
             fmt::format("what is adjusted in '{}' is a map of keys, as in {{on_delay: 3 min}}",
                         change.key.text));
      return;
    }
    if (std::string_view(section) == "measures") {
      for (const YamlNode::Entry& entry : change.value.entries) {
        if (entry.key.text == "unit" || entry.key.text == "kind") {
          report(log_, entry.key,
                 fmt::format(
                     "the {} of a measure is the same on the whole farm and cannot be adjusted for one flock",
                     entry.key.text));
          return;
        }
      }
    }
    put(section, change);
  }

 private:
  bool has(const char* section, const std::string& name) {
    for (YamlNode& pack : packs_) {
      YamlNode* map = section_of(pack, section);
      if (map != nullptr && entry_of(*map, name) != nullptr) return true;
    }
    if (std::string_view(section) != "measures") return false;
    return std::any_of(measures_.begin(), measures_.end(),
                       [&](const Measure& it) { return it.name == name; });
  }

  const char* best_section(const YamlNode::Entry& change) {
    const char* best = nullptr;
    std::size_t most = 0;
    for (const char* section : kSections) {
      if (!has(section, change.key.text)) continue;
      const std::size_t fits = fit(section, change.value);
      if (best != nullptr && fits <= most) continue;
      best = section;
      most = fits;
    }
    return best;
  }

  void put(const char* section, const YamlNode::Entry& change) {
    bool found = false;
    for (YamlNode& pack : packs_) {
      YamlNode* map = section_of(pack, section);
      YamlNode::Entry* entry = map == nullptr ? nullptr : entry_of(*map, change.key.text);
      if (entry == nullptr) continue;
      lay_over(entry->value, change.value);
      found = true;
    }
    if (found || packs_.empty()) return;
    // A built-in measure that no pack mentions: the first pack speaks for it.
    if (section_of(packs_[0], section) == nullptr) {
      YamlNode::Entry entry;
      entry.key = change.key;
      entry.key.text = section;
      entry.value = change.value;
      entry.value.entries.clear();
      packs_[0].entries.push_back(std::move(entry));
    }
    section_of(packs_[0], section)->entries.push_back(change);
  }

  std::string curves() {
    std::string list;
    for (YamlNode& pack : packs_) {
      const YamlNode* map = section_of(pack, "curves");
      for (const YamlNode::Entry& entry : map == nullptr ? std::vector<YamlNode::Entry>() : map->entries) list += (list.empty() ? "'" : ", '") + entry.key.text + "'";
    }
    return list.empty() ? "none" : list;
  }

  std::vector<std::string> names() {
    std::vector<std::string> all;
    for (YamlNode& pack : packs_) {
      for (const char* section : kSections) {
        if (const YamlNode* map = section_of(pack, section)) {
          for (const YamlNode::Entry& entry : map->entries) all.push_back(entry.key.text);
        }
      }
    }
    for (const Measure& measure : measures_) all.push_back(measure.name);
    return all;
  }

  std::vector<YamlNode>& packs_;
  const std::vector<Measure>& measures_;
  bool complete_;
  IssueLog& log_;
};

}  // namespace

std::vector<YamlNode> adjusted(const std::vector<const YamlNode*>& packs, const YamlNode& adjust,
                               const std::vector<Measure>& measures, bool complete, IssueLog& log) {
  std::vector<YamlNode> trees;
  for (const YamlNode* pack : packs) trees.push_back(*pack);
  const YamlNode* map = read_map(adjust, "adjust", log);
  if (map == nullptr) return trees;
  Adjuster adjuster(trees, measures, complete, log);
  for (const YamlNode::Entry& change : map->entries) adjuster.apply(change);
  return trees;
}

}  // namespace underwing
