#include "rules/explain/paragraph.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cctype>

#include "rules/explain/words.hpp"
#include "rules/language/check.hpp"

namespace underwing {
namespace {

/// Phrases that are set off end with a comma; one that stands before a stop or another comma goes.
std::string without_stray_commas(const std::string& text) {
  std::string out;
  for (std::size_t i = 0; i < text.size(); ++i) {
    const char next = i + 1 < text.size() ? text[i + 1] : '.';
    if (text[i] == ',' && (next == ',' || next == '.' || next == ')' || next == ':')) continue;
    out += text[i];
  }
  return out;
}

std::string capital_first(std::string text) {
  if (!text.empty()) text[0] = static_cast<char>(std::toupper(static_cast<unsigned char>(text[0])));
  return text;
}

std::string for_delay(Duration delay) {
  return delay > Duration::zero() ? " for " + in_long_words(delay) : "";
}

bool asks_for(const WatchedRule& rule, std::size_t measure) {
  return reads(rule.watch, measure) || reads(rule.only_if, measure) ||
         std::any_of(rule.limits.begin(), rule.limits.end(), [&](const Limit& limit) { return reads(limit.expression, measure); });
}

class Paragraph {
 public:
  Paragraph(const Wording& wording, const Headline& headline)
      : wording_{wording.rules, wording.rule, wording.any_house, &named_}, rule_(wording.rule), headline_(headline) {}

  std::string text() {
    if (!rule_.about.empty()) add(rule_.about + (rule_.about.ends_with('.') ? "" : "."));
    add(main_sentence());
    if (rule_.probe) add(each_sentence());
    if (!wording_.any_house) add_counting();
    if (rule_.ahead) {
      add(fmt::format(
          "A trend that will cross a limit within {} counts as well, so that there is time to act.",
          in_long_words(*rule_.ahead)));
    }
    add(end_sentence());
    if (rule_.respond_within)
      add(fmt::format("Somebody has to act within {}.", in_long_words(*rule_.respond_within)));
    add(fmt::format(
        "If it cannot tell for {}, because probes are silent or not believable, that is an alarm, too.",
        in_long_words(rule_.blind_after)));
    if (!rule_.follows.empty()) add(follows_sentence());
    if (rule_.flock) {
      add(rule_.even_during_work
              ? "It stays in force while people work in the house."
              : "It is not in force while birds are unloaded or work in the house is announced.");
    }
    add_meanings();
    return without_stray_commas(text_);
  }

 private:
  void add(const std::string& sentence) {
    if (!text_.empty()) text_ += ' ';
    text_ += sentence;
  }

  /// What has been called by the pack's own words; saying what one means may name further ones.
  void add_meanings() {
    for (std::size_t i = 0; i < named_.size(); ++i) {
      const Expression& it = *named_[i];
      const bool logic = it.type.kind != Type::Kind::number;
      const std::string meaning = fmt::format("\"{}\" {} {}.", capital_first(it.words), logic ? "means that" : "is", meaning_in_words(it, wording_));
      if (i > 0) add(meaning);
      else text_ += "\n" + meaning;
    }
  }

  /// Brooding in a part of the house.
  void add_counting() {
    if (!rule_.flock) return;
    std::vector<std::string> later;
    for (const auto& [probe, age] : wording_.rules.flocks[*rule_.flock].counts_from) {
      const Probe& entry = wording_.rules.probes[probe];
      if (asks_for(rule_, entry.measure)) later.push_back(fmt::format("{}{} only from {}", entry.name, later.empty() ? " counts" : "", age_in_words(age)));
    }
    if (!later.empty()) add(fmt::format("Of its probes, {}.", join_words(later)));
  }

  std::string main_sentence() const {
    std::string begin = period_in_words(rule_) + ", ";
    if (rule_.only_if)
      begin += fmt::format("and only as long as {}, ", condition_in_words(*rule_.only_if, wording_));
    if (!rule_.watch) return begin + when_clause() + ".";
    const std::string watched = subject_in_words(*rule_.watch, wording_);
    return begin + (rule_.staged ? staged_clause(watched) : limits_clause(watched)) + ".";
  }

  std::string when_clause() const {
    const Limit& limit = rule_.limits.front();
    return fmt::format("{} {}{}, {}", rule_.on_delay > Duration::zero() ? "if" : "as soon as",
                       condition_in_words(*limit.expression, wording_), for_delay(rule_.on_delay),
                       told(limit));
  }

  /// "if X stays below A, or above B, for 5 minutes, somebody is woken: COLD or HOT"
  std::string limits_clause(const std::string& watched) const {
    std::vector<std::string> breaches;
    for (const Limit& limit : rule_.limits) breaches.push_back(breach_in_words(limit, wording_));
    return fmt::format("{} {} {} {}{}, {}", opening(), watched, verb(), join_words(breaches, "or"),
                       for_delay(rule_.on_delay), told(rule_.limits.front()));
  }

  std::string staged_clause(const std::string& watched) const {
    std::vector<std::string> stages;
    for (const Limit& limit : rule_.limits) {
      stages.push_back(fmt::format("{}{}, {}", breach_in_words(limit, wording_), for_delay(rule_.on_delay),
                                   telling_in_words(limit.priority)));
    }
    std::string all = stages.front();
    for (std::size_t i = 1; i < stages.size(); ++i) all += "; " + stages[i];
    return fmt::format("{} {} {} {}", opening(), watched, verb(), all);
  }

  const char* opening() const { return rule_.on_delay > Duration::zero() ? "if" : "as soon as"; }
  const char* verb() const { return rule_.on_delay > Duration::zero() ? "stays" : "is"; }

  std::string told(const Limit& limit) const {
    std::vector<std::string> heads;
    for (const Limit& each : rule_.limits) {
      const std::string head = headline_ ? headline_(each) : "";
      if (!head.empty() && std::find(heads.begin(), heads.end(), head) == heads.end()) heads.push_back(head);
    }
    const std::string telling = telling_in_words(limit.priority);
    return heads.empty() ? telling : fmt::format("{}: {}", telling, join_words(heads, "or"));
  }

  std::string each_sentence() const {
    const std::size_t measure = wording_.rules.probes[*rule_.probe].measure;
    const std::size_t count = probe_count(wording_, measure);
    return wording_.any_house || count == 1
               ? "Each probe is judged by itself."
               : fmt::format("Each of the {} probes is judged by itself.", count_in_words(count));
  }

  std::string end_sentence() const {
    std::string back = "the value has been back inside its limit";
    if (!rule_.watch) {
      back = rule_.off_delay > Duration::zero() ? "this has no longer been so" : "this is no longer so";
    } else {
      if (rule_.off_delay == Duration::zero()) back = "the value is back inside its limit";
      if (rule_.deadband > 0) back += " by " + with_its_unit(rule_.deadband, shown_in(rule_.unit.of_difference(), wording_.rules.farm.units));
    }
    const char* when = rule_.off_delay > Duration::zero() ? "when" : "as soon as";
    const std::string end = fmt::format("{} {}{}", when, back, for_delay(rule_.off_delay));
    if (rule_.latch)
      return fmt::format("It stands until somebody resets it in the house, once {}{}.", back,
                         for_delay(rule_.off_delay));
    return fmt::format("It ends {}.", end);
  }

  std::string follows_sentence() const {
    const std::string causes = join_words(rule_.follows, "or");
    const bool urgent = rule_.worst_priority() == Priority::urgent;
    const bool always = urgent && (!rule_.staged || rule_.limits.front().priority == Priority::urgent);
    if (always) return fmt::format("While {} stands, its text names that as the cause.", causes);
    return fmt::format("While {} stands, it is held back{}, since that is the cause.", causes,
                       urgent ? " unless it is urgent" : "");
  }

  std::vector<const Expression*> named_;
  const Wording wording_;
  const WatchedRule& rule_;
  const Headline& headline_;
  std::string text_;
};

}  // namespace

std::string period_in_words(const WatchedRule& rule) {
  if (!rule.flock) return "At all times";
  const Duration begin = rule.from.value_or(std::chrono::hours(-24));
  if (!rule.until) return fmt::format("From {} until the house is cleared", age_in_words(begin));
  if (begin > Duration::zero()) {
    return fmt::format("Between the ages of {} and {}", in_long_words(begin), in_long_words(*rule.until));
  }
  return fmt::format("From {} to {}", age_in_words(begin), age_in_words(*rule.until));
}

std::string telling_in_words(Priority priority) {
  switch (priority) {
    case Priority::urgent:
      return "somebody is woken";
    case Priority::soon:
      return "somebody is told the same day";
    case Priority::note:
      return "it is noted for the morning summary";
  }
  return "";
}

std::string rule_in_words(const Wording& wording, const Headline& headline) {
  return Paragraph(wording, headline).text();
}

}  // namespace underwing
