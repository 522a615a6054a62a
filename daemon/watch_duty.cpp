// Watch: swaps of duty.
#include <fmt/format.h>

#include <algorithm>
#include <nlohmann/json.hpp>

#include "daemon/watch.hpp"
#include "daemon/words.hpp"
#include "rules/languages/texts.hpp"

namespace underwing {

namespace {

constexpr std::chrono::days kAheadMax{366};
constexpr std::chrono::days kKeptAfter{2};  ///< a shift may still run on the day after its date

bool same_pair(const DutySwap& swap, const std::string& one, const std::string& other) {
  return (swap.one == one && swap.other == other) || (swap.one == other && swap.other == one);
}

}  // namespace

/// Why there is nothing to swap; empty: there is.
std::string Watch::swap_trouble(const std::string& one, const std::string& other, Date date) const {
  for (const std::string& name : {one, other}) {
    if (!find_person(rules_->farm, name)) return fmt::format("nobody named '{}' stands in people", name);
  }
  if (one == other) return "a swap takes two people";
  const Date today = date_of(rules_->farm.zone, wall());
  if (date < today) return fmt::format("{} is past", to_text(date));
  if (date > today + kAheadMax) return fmt::format("{} is more than a year ahead", to_text(date));
  for (const std::string& name : {one, other}) {
    if (is_off(rules_->farm, name, date)) return fmt::format("{} is off on {}", name, date_in_words(date));
  }
  if (!has_shift_on(rules_->farm, one, date) && !has_shift_on(rules_->farm, other, date)) {
    return fmt::format("neither {} nor {} has a shift that begins on {}", one, other, date_in_words(date));
  }
  return "";
}

/// "tomas 20:00-08:00, ines 08:00-20:00": who has taken whose shifts of that date.
std::string Watch::swapped_turns(Date date) const {
  const Zone& zone = rules_->farm.zone;
  std::string text;
  for (const DutyTurn& turn : duty_turns(rules_->farm, begin_of(zone, date), begin_of(zone, date + 2 * std::chrono::days(1)), swaps_)) {
    if (turn.in_place_of.empty() || date_of(zone, turn.begin) != date) continue;
    text += fmt::format("{}{} {}-{}", text.empty() ? "" : ", ", turn.who, clock_time(zone, turn.begin), clock_time(zone, turn.end));
  }
  return text;
}

Watch::Answered Watch::swap_duty(const std::string& one, const std::string& other, Date date, const std::string& who) {
  if (const std::string trouble = swap_trouble(one, other, date); !trouble.empty()) return {false, trouble};
  const Date today = date_of(rules_->farm.zone, wall());
  std::erase_if(swaps_, [&](const DutySwap& swap) { return swap.date + kKeptAfter < today; });
  const auto before = std::find_if(swaps_.begin(), swaps_.end(), [&](const DutySwap& swap) { return swap.date == date && same_pair(swap, one, other); });
  const bool back = before != swaps_.end();
  if (back) swaps_.erase(before);
  else swaps_.push_back({date, one, other});
  const std::string turns = swapped_turns(date);
  const auto said = [&](const Language& language) {
    Slots slots{{"date", date_in_words(date, language)}, {"one", one}, {"other", other}};
    if (!back) slots.emplace_back("turns", turns.empty() ? say(language, "swap_nothing") : turns);
    const std::string swapped = say(language, back ? TextKey("swap_back") : TextKey("swap"), slots);
    return who.empty() ? swapped : swapped + " " + say(language, "by", {{"who", who_in(who, language)}});
  };
  const std::string text = said(english());
  record({{"time", to_rfc3339(now_)}, {"event", "swapped"}, {"on", to_text(date)}, {"one", one}, {"other", other}, {"back", back},
          {"who", who}, {"text", text}});
  for (const std::string& name : {one, other}) answer(*find_person(rules_->farm, name), said(language_of(name)));
  return {true, text};
}

}  // namespace underwing
