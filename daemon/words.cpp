#include "daemon/words.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cctype>
#include <cmath>

#include "rules/base/issue.hpp"
#include "rules/explain/words.hpp"
#include "rules/languages/texts.hpp"

namespace underwing {

namespace {

constexpr std::size_t kWhatSeptetsMax = 24;  // of what a rule is about, in a text

/// The first measure that an expression reads.
const Expression* first_source(const Expression& expression) {
  if (expression.kind == Expression::Kind::measure || expression.kind == Expression::Kind::window) return &expression;
  for (const auto& child : expression.children) {
    if (const Expression* found = first_source(*child)) return found;
  }
  return nullptr;
}

/// Whether it is too low, by the reason or else by the rule's first limit.
bool is_low(const WatchedRule& rule, Reason reason) {
  if (reason == Reason::low || reason == Reason::high) return reason == Reason::low;
  return rule.limits.front().side == Limit::Side::low;
}

}  // namespace

std::string house_in_short(const std::string& house) {
  const auto digit = std::find_if(house.begin(), house.end(), [](unsigned char c) { return std::isdigit(c) != 0; });
  if (digit != house.end() && digit != house.begin()) return (capitals(house.substr(0, 1)) + std::string(digit, house.end())).substr(0, 8);
  return capitals(house.substr(0, 8));
}

std::string not_counted_until(const Flock& flock, const Zone& zone, Duration age) {
  const Instant then = flock.placed + age;
  return fmt::format("not counted until {}, {}", day_of(flock, zone, then), clock_time(zone, then));
}

std::string clock_time(const Zone& zone, Instant wall) {
  const auto local = zone.to_local(wall).as_if_utc;
  return clock_of(local - std::chrono::floor<std::chrono::days>(local));
}

std::string date_and_time(const Zone& zone, Instant wall) {
  std::string text = to_rfc3339(zone.to_local(wall).as_if_utc).substr(0, 16);
  text[10] = ' ';
  return text;
}

std::string suggested_rules(const std::string& word, std::vector<std::string> known) {
  if (const auto near = nearest(word, known)) return fmt::format("; did you mean '{}'?", *near);
  std::sort(known.begin(), known.end());
  known.erase(std::unique(known.begin(), known.end()), known.end());
  std::erase_if(known, [&](const std::string& name) { return name.find(word) == std::string::npos; });
  return known.empty() ? "; 'underwing explain' lists all" : "; did you mean " + join_words(known, "or") + "?";
}

std::string list_of(const std::vector<std::string>& parts, const char* between) {
  std::string text;
  for (const std::string& part : parts) text += (text.empty() ? "" : between) + part;
  return text;
}

std::string day_of(const Flock& flock, const Zone& zone, Instant wall, const Language& language) {
  const auto day = [&](Instant time) { return std::chrono::floor<std::chrono::days>(zone.to_local(time).as_if_utc); };
  return say(language, "day", {{"day", std::to_string((day(wall) - day(flock.placed)).count() + flock.first_day)}});
}

std::string what_is_wrong(const WatchedRule& rule, const RuleSet& rules, Reason reason, const Language& language) {
  if (const std::string& head = head_in(rule, language); !head.empty()) return capitals(head);
  const ExpressionPtr& expression = rule.watch ? rule.watch : rule.limits.front().expression;
  const Expression* source = first_source(*expression);
  if (source && rule.watch) {
    const auto wrong = language.wrong.find(rules.measures[source->measure].name);
    if (wrong != language.wrong.end()) return is_low(rule, reason) ? wrong->second.low : wrong->second.high;
  }
  if (const std::string about = about_in(rule, language); !about.empty()) {
    return capitals(std::string(words_within(std::string_view(about).substr(0, about.find_first_of(",.;:(")), kWhatSeptetsMax)));
  }
  return source ? capitals(measure_in_words(language, rules.measures[source->measure].name)) : say(language, "alarm");
}

bool same_trouble(const WatchedRule& rule, Reason reason, const WatchedRule& other, Reason its_reason, const RuleSet& rules) {
  if (what_is_wrong(rule, rules, reason) == what_is_wrong(other, rules, its_reason)) return true;
  if (!rule.watch || !other.watch || is_low(rule, reason) != is_low(other, its_reason)) return false;
  const Expression *source = first_source(*rule.watch), *its_source = first_source(*other.watch);
  return source && its_source && source->measure == its_source->measure;
}

std::string who_in(const std::string& who, const Language& language) {
  return who == say(english(), "somebody_here") ? say(language, "somebody_here") : who;
}

const std::string& head_in(const WatchedRule& rule, const Language& language) {
  const auto found = rule.in.find(language.name);
  return found == rule.in.end() || found->second.head.empty() ? rule.head : found->second.head;
}

const std::string& about_in(const WatchedRule& rule, const Language& language) {
  const auto found = rule.in.find(language.name);
  return found == rule.in.end() || found->second.about.empty() ? rule.about : found->second.about;
}

const std::string& action_in(const WatchedRule& rule, const Language& language) {
  const auto found = rule.in.find(language.name);
  return found == rule.in.end() || found->second.action.empty() ? rule.action : found->second.action;
}

std::string to_text(const AlarmWords& words) {
  const auto join = [](const std::vector<std::string>& parts) {
    std::string text;
    for (const std::string& part : parts) {
      if (part.empty()) continue;
      if (!text.empty()) text += ' ';
      text += part;
    }
    return text;
  };
  const std::string first = words.head + words.expected + ".";
  // What to do gives way before how to answer: as many of its sentences and parts as there is room for.
  const auto shortened = [&](const std::string& before) {
    std::string shorter = to_gsm(words.action);
    const std::size_t rest = gsm_length(to_gsm(join({before, words.replies}))) + 1;
    if (rest >= kTextSeptetsMax) return std::string();
    if (gsm_length(shorter) <= kTextSeptetsMax - rest) return shorter;
    shorter = cut_to(shorter, kTextSeptetsMax - rest);
    const std::size_t stop = shorter.find_last_of(".,");
    return stop == std::string::npos ? std::string() : shorter.substr(0, stop) + ".";
  };
  // How to answer is never cut off.
  const std::size_t replies = gsm_length(to_gsm(words.replies)) + 2;
  const std::size_t room = replies < kTextSeptetsMax ? kTextSeptetsMax - replies : 0;
  std::vector<std::string> variants;
  const std::string with_cause = join({first, words.cause});
  std::vector<std::string> begins{with_cause};
  if (!words.trend.empty()) begins.insert(begins.begin(), join({with_cause, words.trend}));
  if (!words.cause.empty()) begins.push_back(first);
  for (const std::string& begin : begins) {
    variants.push_back(join({begin, words.action, words.replies}));
    if (const std::string shorter = shortened(begin); !shorter.empty()) variants.push_back(join({begin, shorter, words.replies}));
  }
  variants.push_back(join({with_cause, words.replies}));
  variants.push_back(join({first, words.replies}));
  variants.push_back(words.head + ". " + words.replies);
  variants.push_back(cut_to(words.head, room) + ". " + words.replies);
  return fit(variants);
}

}  // namespace underwing
