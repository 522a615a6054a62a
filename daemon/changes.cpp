#include "daemon/changes.hpp"

#include "daemon/changes_impl.hpp"
#include "rules/explain/words.hpp"

namespace underwing {

namespace {

constexpr std::size_t kPlacesMax = 3;

std::string places(const std::vector<std::string>& where) {
  if (where.size() <= kPlacesMax + 1) return join_words(where);
  std::vector<std::string> shown(where.begin(), where.begin() + kPlacesMax);
  shown.push_back(fmt::format("{} more", where.size() - kPlacesMax));
  return join_words(shown);
}

/// One subject's changes as sentences: the same of several places once, the gravest first, not too many.
void add_sentences(std::vector<std::string>& sentences, Changes changes) {
  struct Said {
    Change first;
    std::vector<std::string> where;
  };
  std::vector<Said> said;
  for (Change& change : changes) {
    const auto same = std::find_if(said.begin(), said.end(), [&](const Said& other) {
      return other.first.text == change.text && other.first.where.empty() == change.where.empty();
    });
    if (same == said.end()) said.push_back({change, {change.where}});
    else if (std::find(same->where.begin(), same->where.end(), change.where) == same->where.end()) same->where.push_back(change.where);
  }
  std::stable_sort(said.begin(), said.end(), [](const Said& a, const Said& b) { return a.first.priority > b.first.priority; });
  const std::size_t shown = said.size() <= kChangesMax + 1 ? said.size() : kChangesMax;
  for (std::size_t i = 0; i < shown; ++i) {
    sentences.push_back(said[i].first.where.empty() ? said[i].first.text : places(said[i].where) + ": " + said[i].first.text);
  }
  if (shown < said.size()) sentences.push_back(fmt::format("and {} more", said.size() - shown));
}

}  // namespace

std::vector<std::string> describe_changes(const RuleSet& older, const RuleSet& newer, Instant wall) {
  std::vector<std::string> sentences;
  add_sentences(sentences, flock_changes(older, newer));
  add_sentences(sentences, people_changes(older, newer));
  add_sentences(sentences, farm_changes(older, newer));
  add_sentences(sentences, rule_changes(older, newer, wall));
  return sentences;
}

}  // namespace underwing
