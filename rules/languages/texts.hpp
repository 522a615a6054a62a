#pragma once

#include <array>
#include <cstddef>
#include <string>
#include <string_view>

#include "rules/languages/language.hpp"

/// Every text that people are sent, in English: the language that is always there, and the pattern that the
/// others follow. A language's file has a text for each key, with the same slots.
namespace underwing {

/// `{name}` is a slot. Where `many` is not empty, `one` is for a count of one and `many` for any other, and the count
/// stands in the slot `{count}`.
struct TextRow {
  std::string_view key, one, many{};
};

inline constexpr std::array kTexts{
    // The head of an alarm, which a locked telephone shows, and what is wrong where no measure says it.
    TextRow{"farm", "FARM"},
    TextRow{"drill", "TEST, a drill: nothing is wrong"},
    TextRow{"drill_night", "TEST at night, a drill: nothing is wrong"},
    TextRow{"drill_placement", "TEST before chicks come: switch mains and generator off, both, and see that this and the alarm of the mains still come"},
    TextRow{"again", "AGAIN"},
    TextRow{"at_probe", "at {probe}"},
    TextRow{"alarm", "ALARM"},
    TextRow{"cannot_see", "CANNOT SEE"},
    TextRow{"cannot_see_what", "{house} CANNOT SEE {what}"},
    TextRow{"cannot_see_down", "{house} CANNOT SEE: {plugin} is down"},
    TextRow{"the_house", "the house"},
    TextRow{"anything", "anything"},
    // The watch's own troubles by name.
    TextRow{"trouble_probe_bad", "PROBE BAD"},
    TextRow{"trouble_house_silent", "HOUSE SILENT"},
    TextRow{"trouble_plugin_silent", "PLUGIN SILENT"},
    TextRow{"trouble_path_down", "PATH DOWN"},
    TextRow{"trouble_clock", "CLOCK"},
    TextRow{"trouble_disk", "DISK"},
    TextRow{"trouble_rules_refused", "RULES REFUSED"},
    TextRow{"trouble_chattering", "CHATTERING"},
    TextRow{"trouble_drill_unanswered", "DRILL UNANSWERED"},
    TextRow{"trouble_drill_overdue", "DRILL OVERDUE"},
    TextRow{"trouble_heartbeat_unanswered", "HEARTBEAT UNANSWERED"},
    // What should be, the day, how fast, what to do, how to answer.
    TextRow{"day", "day {day}"},
    TextRow{"wants", "wants {value}"},
    TextRow{"limit", "limit {value}"},
    TextRow{"heading", "heading past its limit"},
    TextRow{"since", "{what} since {time}"},
    TextRow{"falling_below", "Falling, below {value} by {time}."},
    TextRow{"rising_above", "Rising, above {value} by {time}."},
    TextRow{"falling", "Falling, {value} by {time}."},
    TextRow{"rising", "Rising, {value} by {time}."},
    TextRow{"falling_since", "Falling since {since}, {value} by {time}."},
    TextRow{"rising_since", "Rising since {since}, {value} by {time}."},
    TextRow{"go_now", "GO NOW: {do}"},
    TextRow{"today", "TODAY: {do}"},
    TextRow{"go_look", "GO NOW: look at the birds, then the probes."},
    TextRow{"look", "Look at the probes."},
    TextRow{"all_probes", "all its probes"},
    TextRow{"silent", "{probes} silent"},
    TextRow{"is_down", "{plugin} is down"},
    TextRow{"reply_or_pass", "Reply OK {code}. Cannot go: PASS {code}"},
    TextRow{"reply", "Reply OK {code}"},
    // When it is over.
    TextRow{"plugin_sees", "{plugin} is up, the watch sees again since {time}. Blind from {from}."},
    TextRow{"house_sees", "{house} sees again since {time}. Blind from {from}."},
    TextRow{"trouble_over", "{house} over at {time}: {trouble}."},
    TextRow{"not_watched", "{house} {what} no longer watched."},
    TextRow{"not_watched_last", "{house} {what} no longer watched, last value {value}."},
    TextRow{"rule_gone", "{house} alarm {code} of {from}: its rule is gone."},
    TextRow{"blind_gone", "{house} what could not be seen is no longer watched."},
    TextRow{"better", "{house} better at {time}, but still {what}: {code} goes on."},
    TextRow{"better_value", "{house} better: {value} at {time}, but still {what}: {code} goes on."},
    TextRow{"back", "{house} back to normal at {time}. {what} from {from}."},
    TextRow{"back_value", "{house} back to normal: {value} at {time}. {what} from {from}."},
    TextRow{"stays_listed", "It stays listed until it is reset on the spot."},
    // Several at once, and who has it.
    TextRow{"alarms", "{count} alarm", "{count} alarms"},
    TextRow{"flood", "{alarms}, {urgent} urgent"},
    TextRow{"none", "none"},
    TextRow{"and_more", "and {count} more", "and {count} more"},
    TextRow{"reply_all", "Reply OK (all of them)"},
    TextRow{"has_it", "{who} has it: {alarm}."},
    TextRow{"somebody_here", "somebody at the gateway"},
    // The watch's own troubles in full.
    TextRow{"probe_stopped", "{measure} {probe} has stopped moving"},
    TextRow{"probe_is_silent", "{measure} {probe} is silent"},
    TextRow{"house_is_silent", "nothing is heard from the house since {time}"},
    TextRow{"clock_back", "the gateway's clock jumped back by {span}; the watch goes on by its own time"},
    TextRow{"clock_forward", "the gateway's clock jumped forward by {span}; the watch goes on by its own time"},
    TextRow{"down_since", "{plugin} has been down since {time}"},
    TextRow{"failed_since", "{path} has failed {failures} times in a row, its last success was at {time}"},
    TextRow{"failed_always", "{path} has failed {failures} times in a row, and has never got through"},
    TextRow{"comes_and_goes", "{what} comes and goes, {times} times within an hour"},
    TextRow{"seeing", "seeing"},
    // Answers.
    TextRow{"help", "OK K7: I have it. HERE: I am in the house. PASS: I cannot. STATUS. WORK H1 45M. SHELVE K7 1H why. Rounds: H1 DEAD 12, H1 CROP 85, UNDO."},
    TextRow{"not_understood", "Not understood. OK K7: I have it. HERE: I am in the house. PASS: I cannot. HELP tells the rest."},
    TextRow{"nothing_open", "Nothing is open that you have been told of."},
    TextRow{"no_such_alarm", "There is no alarm {code} now; nothing was changed."},
    TextRow{"calls_nobody", "{alarm} does not call anybody now."},
    TextRow{"is_with", "{alarm} is with {who}."},
    TextRow{"is_with_already", "{alarm} is with {who} already."},
    TextRow{"needs_no_answer", "{alarm} needs no answer."},
    TextRow{"over_already", "{alarm} is over already."},
    TextRow{"passed_on", "Passed on: {alarms}."},
    TextRow{"you_are_there", "You are there: {alarms}."},
    TextRow{"you_have", "You have {alarms}."},
    TextRow{"send_here", "You have {alarms}. Send HERE when you are there."},
    TextRow{"shelve_which", "Which alarm? As in SHELVE K7 1H why."},
    TextRow{"shelve_how_long", "For how long? As in SHELVE {code} 1H why."},
    TextRow{"shelve_not", "{code} cannot be shelved; OK {code} answers it."},
    TextRow{"shelve_urgent", "{alarm} can be urgent: it is shelved at the gateway only. WORK {house} 45M is for repairs."},
    TextRow{"shelve_why", "Say why: whoever comes next has to know."},
    TextRow{"shelve_span", "Say for how long."},
    TextRow{"shelve_too_long", "{span} is longer than 12 h; nothing was shelved."},
    TextRow{"shelved", "{alarm} is shelved until {time}: {why}."},
    TextRow{"unshelved", "{house} {what} is watched again: {reason}."},
    TextRow{"time_over", "its time is over"},
    TextRow{"became_urgent", "it became urgent"},
    TextRow{"work_which", "Which house? As in WORK H1 45M."},
    TextRow{"work_how_long", "For how long? As in WORK {house} 45M."},
    TextRow{"work_too_long", "{span} is longer than 12 h; nothing was changed."},
    TextRow{"work_begins", "Work in {house} until {time}. Till then only what cannot wait is watched there. Done earlier: WORK {house} 0"},
    TextRow{"work_over", "{house} is watched as before."},
    TextRow{"work_ends", "{house} is watched again from {time}. More time: WORK {house} 30M."},
    // Rounds.
    TextRow{"round_which", "Which house? As in H1 {word} {value}."},
    TextRow{"round_how_many", "How many? As in {house} {word} {value}."},
    TextRow{"round_not_here", "{house} takes no {measure}: farm.yaml names no place for it there. Nothing was written down."},
    TextRow{"whole_numbers", "{measure} {value} cannot be: only whole numbers. Nothing was written down."},
    TextRow{"round_cannot_be", "{measure} {value} cannot be: it is between {low} and {high}. Nothing was written down."},
    TextRow{"written", "{house} {measure} {value} is written down."},
    TextRow{"counted", "{house} {measure} {value}: {tally}."},
    TextRow{"tally", "today {today}"},
    TextRow{"tally_flock", "today {today}, flock {total} of {birds}"},
    TextRow{"none_to_take_back", "There is nothing of yours to take back."},
    TextRow{"none_before", "{round} had no value before {value}; send the right one instead."},
    TextRow{"taken_back", "Taken back: {round} is {value} again."},
    TextRow{"tally_back", "Taken back: {round} {value}. Now {tally}."},
    // How it stands.
    TextRow{"empty", "{house}: empty"},
    TextRow{"no_air", "no air temperature"},
    TextRow{"range", "{low} to {value}"},
    TextRow{"no_alarm", "no alarm"},
    TextRow{"on_duty", "On duty: {who}."},
    TextRow{"everyone", "everyone"},
    TextRow{"farm_troubles", "Farm: {count} trouble.", "Farm: {count} troubles."},
    // In the morning.
    TextRow{"morning", "MORNING {time}."},
    TextRow{"morning_of", "MORNING {time}, {farm}."},
    TextRow{"quiet", "quiet"},
    TextRow{"now", "now"},
    TextRow{"open_now", "Open now: {alarms}."},
    TextRow{"farm_list", "Farm: {alarms}."},
    TextRow{"drill_line", "Drill: {drills}."},
    TextRow{"drills_line", "Drills: {drills}."},
    TextRow{"air_line", "Air {low} to {high} {unit} since {time}."},
    TextRow{"gas_up_to", "{gas} up to {value} ppm"},
    TextRow{"humidity_span", "humidity {low} to {high} %"},
    TextRow{"used_line", "Since {time}: {used}."},
    TextRow{"weighings", "{measure} {value} on {weighings} weighings"},
    TextRow{"rounds_due", "Rounds due: {rounds}."},
    // Beside the plots of the morning's mail.
    TextRow{"plot_air", "{house}, air since {time}: least {low} at {low_time}, most {high} at {high_time}."},
    TextRow{"plot_unknown", "{house}, air since {time}: not known."},
    TextRow{"plot_below", "Under its low limit {times}."},
    TextRow{"plot_above", "Over its high limit {times}."},
    TextRow{"plot_inside", "Within its limits wherever it is known."},
    TextRow{"plot_no_limits", "There were no limits."},
    TextRow{"plot_gap", "Not known {times}."},
    TextRow{"no_data", "no data"},
    // In the evening.
    TextRow{"not_ready", "NOT ready for the night: {faults}."},
    TextRow{"ready", "Ready for the night. {houses}. All probes live."},
    TextRow{"no_flock", "No flock"},
    TextRow{"outside", "Outside {value}."},
    TextRow{"chicks_at", "chicks at {time}"},
    TextRow{"one_silent", "{house} {measure} {probe} silent"},
    TextRow{"cannot_tell", "{house} {count} rule cannot tell", "{house} {count} rules cannot tell"},
    TextRow{"work_until", "{house} work until {time}"},
    TextRow{"no_rule", "{house} has no rule in force"},
    TextRow{"gas", "gas"},
    TextRow{"fuel", "fuel"},
    TextRow{"tank_low", "{house} {tank} {percent} %"},
    TextRow{"tank_ends", "{house} {tank} {percent} % will not last until morning"},
    TextRow{"path_failed", "{path} failed last time"},
    TextRow{"path_untested", "{path} never proven"},
    TextRow{"path_old", "{path} was last proven {span} ago"},
    TextRow{"nobody_at", "nobody on duty at {time}"},
    TextRow{"drill_missed", "{who} did not answer the last drill"},
    // Drills and swaps.
    TextRow{"path_test", "TEST of {path}, nothing is wrong: this is to prove that it reaches you. No answer needed."},
    TextRow{"drill_answered", "TEST is over: {who} answered after {span}."},
    TextRow{"drill_nobody", "TEST is over: nobody answered."},
    TextRow{"drill_not", "TEST is over: {who} did not answer."},
    TextRow{"unanswered", "nobody has answered the drill of {time}"},
    TextRow{"unanswered_by", "{who} has not answered the drill of {time}"},
    TextRow{"answered_after", "{who} answered after {span}"},
    TextRow{"not_answered", "{who} not answered"},
    TextRow{"call_out", "call-out"},
    TextRow{"at_night", "{who} at night"},
    TextRow{"overdue", "no drill of the call-out has been answered since {date}; the law may want one every 7 days"},
    TextRow{"overdue_placement", "no drill was answered before the chicks of {flock} came"},
    TextRow{"nobody_outside", "nobody outside has answered {plugin} since {time}"},
    TextRow{"heartbeat_missed", "outside heartbeat not answered"},
    TextRow{"heartbeat_heard", "Outside heartbeat answered."},
    TextRow{"swap", "Duty on {date}: {one} and {other} swap. {turns}."},
    TextRow{"swap_back", "Duty on {date}: the swap of {one} and {other} is taken back."},
    TextRow{"swap_nothing", "Nothing changes hands"},
    TextRow{"by", "By {who}."},
    TextRow{"date", "{weekday} {number} {month}"},
    TextRow{"monday", "Mon"},
    TextRow{"tuesday", "Tue"},
    TextRow{"wednesday", "Wed"},
    TextRow{"thursday", "Thu"},
    TextRow{"friday", "Fri"},
    TextRow{"saturday", "Sat"},
    TextRow{"sunday", "Sun"},
    TextRow{"january", "January"},
    TextRow{"february", "February"},
    TextRow{"march", "March"},
    TextRow{"april", "April"},
    TextRow{"may", "May"},
    TextRow{"june", "June"},
    TextRow{"july", "July"},
    TextRow{"august", "August"},
    TextRow{"september", "September"},
    TextRow{"october", "October"},
    TextRow{"november", "November"},
    TextRow{"december", "December"},
};

/// The place of a key in kTexts; kTexts.size(): there is none.
[[nodiscard]] constexpr std::size_t text_index(std::string_view key) {
  for (std::size_t i = 0; i < kTexts.size(); ++i) {
    if (kTexts[i].key == key) return i;
  }
  return kTexts.size();
}

/// A key that is known to exist: "go_now" where it does not would not compile.
struct TextKey {
  std::size_t index;
  consteval TextKey(const char* key) : index(text_index(key)) {
    if (index == kTexts.size()) throw "no such text";
  }
};

/// The text with its slots filled. A slot that is not given stays as it is written.
[[nodiscard]] inline std::string say(const Language& language, TextKey key, const Slots& slots = {}) {
  return filled(language.texts[key.index].one, slots);
}

/// The same for a count, which also goes into the slot {count}.
[[nodiscard]] inline std::string say_count(const Language& language, TextKey key, std::size_t count, Slots slots = {}) {
  slots.emplace_back("count", std::to_string(count));
  const Language::Text& text = language.texts[key.index];
  return filled(count == 1 || text.many.empty() ? text.one : text.many, slots);
}

}  // namespace underwing
