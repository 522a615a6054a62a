#pragma once

#include <string_view>
#include <vector>

namespace underwing {

/// What stands after a key.
enum class ValueKind {
  text,         ///< any text
  name,         ///< [a-z][a-z0-9_-]*
  names,        ///< one name, or a list of them
  one_of,       ///< one of Key::words
  format,       ///< the number 1
  boolean,      ///< true or false
  whole,        ///< a whole number
  number,       ///< a plain number
  numbers,      ///< a list of two plain numbers: lowest and highest
  duration,     ///< `5 min`
  quantity,     ///< `0.5 K`
  unit,         ///< `°C`, or nothing in quotes
  time_of_day,  ///< "20:00"
  hours,        ///< 05:30-21:30
  local_time,   ///< 2026-03-02 09:30
  days,         ///< Mon-Fri
  dates,        ///< 2026-03-07, or 2026-03-07 to 2026-03-10, or a list of them
  expression,   ///< an expression that gives a number
  condition,    ///< an expression that is true or false
  ways,         ///< text, call, mail or web-hook, or a list of them
  texts,        ///< a list of texts
  points,       ///< a map of ages to values
  light_plan,   ///< a map of ages to hours of light
  named_ages,   ///< a map of names to ages
  map,          ///< a map with the keys of Key::inner
  maps,         ///< a list of maps with the keys of Key::inner
  named_maps,   ///< a map of names, each to a map with the keys of Key::inner
  anything      ///< whatever the receiver makes of it
};

struct KeyTable;

struct Key {
  std::string_view name;
  ValueKind kind = ValueKind::text;
  bool required = false;
  std::string_view help;  ///< one line
  const KeyTable* inner = nullptr;
  std::vector<std::string_view> words{};  ///< of one_of
};

/// The keys of one kind of map. The loader walks these tables; whatever describes the files to other programs
/// is made from the same ones.
struct KeyTable {
  std::string_view what;  ///< "a rule": for messages
  std::vector<Key> keys;
  [[nodiscard]] const Key* find(std::string_view name) const;
};

[[nodiscard]] const KeyTable& farm_keys();
[[nodiscard]] const KeyTable& house_keys();
[[nodiscard]] const KeyTable& plugin_keys();
[[nodiscard]] const KeyTable& person_keys();
[[nodiscard]] const KeyTable& duty_keys();
[[nodiscard]] const KeyTable& call_out_keys();
[[nodiscard]] const KeyTable& call_plan_keys();   ///< `hours` and `steps`
[[nodiscard]] const KeyTable& call_daily_keys();  ///< `daily`, `tell` and `by`
[[nodiscard]] const KeyTable& call_step_keys();
[[nodiscard]] const KeyTable& heartbeat_keys();
[[nodiscard]] const KeyTable& drill_keys();
[[nodiscard]] const KeyTable& weekly_drill_keys();
[[nodiscard]] const KeyTable& flock_keys();
[[nodiscard]] const KeyTable& pack_keys();
[[nodiscard]] const KeyTable& measure_keys();
[[nodiscard]] const KeyTable& curve_keys();
[[nodiscard]] const KeyTable& rule_keys();
[[nodiscard]] const KeyTable& rule_words_keys();  ///< `head`, `about` and `do` under `in`
[[nodiscard]] const KeyTable& limit_keys();
[[nodiscard]] const KeyTable& language_keys();
[[nodiscard]] const KeyTable& wrong_keys();

}  // namespace underwing
