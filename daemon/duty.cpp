#include "daemon/duty.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <cctype>
#include <nlohmann/json.hpp>
#include <set>

#include "daemon/words.hpp"
#include "rules/languages/texts.hpp"

namespace underwing {

namespace {

constexpr std::chrono::days kDay{1};

struct Stretch {
  Instant begin, end;
  [[nodiscard]] bool holds(Instant time) const { return begin <= time && time < end; }
};

bool begins_on(const DutyShift& shift, Date date) {
  return (shift.days >> (std::chrono::weekday(date).iso_encoding() - 1) & 1U) != 0;
}

Stretch stretch_of(const DutyShift& shift, const Zone& zone, Date date) {
  const Duration from = shift.all_day ? Duration::zero() : shift.from;
  Duration to = shift.all_day ? Duration(kDay) : shift.to;
  if (to <= from) to += kDay;
  const auto at = [&](Duration time_of_day) { return zone.to_utc(LocalTime{Instant(date) + time_of_day}).first; };
  Stretch stretch{at(from), at(to)};
  if (stretch.end <= stretch.begin) stretch.end = stretch.begin + (to - from);
  return stretch;
}

std::string after_swaps(std::string who, Date date, const std::vector<DutySwap>& swaps) {
  for (const DutySwap& swap : swaps) {
    if (swap.date != date) continue;
    if (who == swap.one) who = swap.other;
    else if (who == swap.other) who = swap.one;
  }
  return who;
}

struct Holder {
  std::string who, by_the_file;
};

std::optional<Holder> holder_at(const Farm& farm, Instant wall, const std::vector<DutySwap>& swaps) {
  const Date today = date_of(farm.zone, wall);
  for (const DutyShift& shift : farm.duty) {
    // Tomorrow as well: where clocks go back over midnight, a shift of tomorrow has begun already.
    for (Date date = today - kDay; date <= today + kDay; date += kDay) {
      if (!begins_on(shift, date) || !stretch_of(shift, farm.zone, date).holds(wall)) continue;
      Holder holder{after_swaps(shift.who, date, swaps), shift.who};
      if (!is_off(farm, holder.who, date)) return holder;
    }
  }
  return std::nullopt;
}

std::string plain_address(const std::string& address) {
  if (address.find('@') != std::string::npos) {
    std::string lower = address;
    std::transform(lower.begin(), lower.end(), lower.begin(), [](unsigned char c) { return static_cast<char>(std::tolower(c)); });
    return lower;
  }
  std::string digits;
  for (const char c : address) {
    if (std::isdigit(static_cast<unsigned char>(c)) != 0 || (c == '+' && digits.empty())) digits += c;
  }
  return digits.empty() ? address : digits;
}

}  // namespace

Duration time_of_day(const Zone& zone, Instant wall) {
  const Instant local = zone.to_local(wall).as_if_utc;
  return local - std::chrono::floor<std::chrono::days>(local);
}

bool within_hours(const Zone& zone, Instant wall, std::pair<Duration, Duration> hours) {
  const Duration clock = time_of_day(zone, wall);
  if (hours.first < hours.second) return hours.first <= clock && clock < hours.second;
  return clock >= hours.first || clock < hours.second;
}

std::optional<std::string> on_duty(const Farm& farm, Instant wall, const std::vector<DutySwap>& swaps) {
  const auto holder = holder_at(farm, wall, swaps);
  return holder ? std::optional(holder->who) : std::nullopt;
}

std::vector<DutyTurn> duty_turns(const Farm& farm, Instant from, Instant until, const std::vector<DutySwap>& swaps) {
  std::set<Instant> changes{from};
  const Date last = date_of(farm.zone, until) + kDay;
  for (Date date = date_of(farm.zone, from) - kDay; date <= last; date += kDay) {
    for (const DutyShift& shift : farm.duty) {
      if (!begins_on(shift, date)) continue;
      const Stretch stretch = stretch_of(shift, farm.zone, date);
      for (const Instant change : {stretch.begin, stretch.end}) {
        if (from < change && change < until) changes.insert(change);
      }
    }
  }
  std::vector<DutyTurn> turns;
  for (const Instant change : changes) {
    const Holder holder = holder_at(farm, change, swaps).value_or(Holder{});
    const std::string swapped = holder.who == holder.by_the_file ? "" : holder.by_the_file;
    if (!turns.empty() && turns.back().who == holder.who && turns.back().in_place_of == swapped) continue;
    if (!turns.empty()) turns.back().end = change;
    turns.push_back({change, until, holder.who, swapped});
  }
  return turns;
}

nlohmann::json to_json(const DutyTurn& turn, const Zone& zone) {
  const auto name = [](const std::string& who) { return who.empty() ? nlohmann::json() : nlohmann::json(who); };
  return {{"begin", to_rfc3339(turn.begin)},
          {"end", to_rfc3339(turn.end)},
          {"begin_local", date_and_time(zone, turn.begin)},
          {"end_local", date_and_time(zone, turn.end)},
          {"minutes", std::chrono::floor<std::chrono::minutes>(turn.end - turn.begin).count()},
          {"who", name(turn.who)},
          {"in_place_of", name(turn.in_place_of)}};
}

bool is_off(const Farm& farm, const std::string& who, Date date) {
  const Person* person = find_person(farm, who);
  return person != nullptr && std::any_of(person->off.begin(), person->off.end(),
                                          [&](const auto& dates) { return dates.first <= date && date <= dates.second; });
}

bool has_shift_on(const Farm& farm, const std::string& who, Date date) {
  return std::any_of(farm.duty.begin(), farm.duty.end(),
                     [&](const DutyShift& shift) { return shift.who == who && begins_on(shift, date); });
}

Instant begin_of(const Zone& zone, Date date) { return zone.to_utc(LocalTime{Instant(date)}).first; }

Date date_of(const Zone& zone, Instant wall) { return std::chrono::floor<std::chrono::days>(zone.to_local(wall).as_if_utc); }

std::optional<Date> read_date(std::string_view text) {
  if (text.size() != 10 || text[4] != '-' || text[7] != '-') return std::nullopt;
  std::array<int, 3> parts{};
  constexpr std::array<std::pair<std::size_t, std::size_t>, 3> kPlaces{{{0, 4}, {5, 2}, {8, 2}}};
  for (std::size_t i = 0; i < parts.size(); ++i) {
    for (const char c : text.substr(kPlaces[i].first, kPlaces[i].second)) {
      if (c < '0' || c > '9') return std::nullopt;
      parts[i] = parts[i] * 10 + (c - '0');
    }
  }
  const std::chrono::year_month_day date{std::chrono::year(parts[0]), std::chrono::month(static_cast<unsigned>(parts[1])),
                                         std::chrono::day(static_cast<unsigned>(parts[2]))};
  return date.ok() ? std::optional<Date>(date) : std::nullopt;
}

std::string to_text(Date date) { return to_rfc3339(Instant(date)).substr(0, 10); }

std::string date_in_words(Date date, const Language& language) {
  constexpr std::array<TextKey, 7> kDays{"monday", "tuesday", "wednesday", "thursday", "friday", "saturday", "sunday"};
  constexpr std::array<TextKey, 12> kMonths{"january", "february", "march",     "april",   "may",      "june",
                                            "july",    "august",   "september", "october", "november", "december"};
  const std::chrono::year_month_day parts(date);
  return say(language, "date",
             {{"weekday", say(language, kDays[std::chrono::weekday(date).iso_encoding() - 1])},
              {"number", std::to_string(static_cast<unsigned>(parts.day()))},
              {"month", say(language, kMonths[static_cast<unsigned>(parts.month()) - 1])}});
}

std::vector<std::string> people_of(const Farm& farm, const std::vector<std::string>& tell, Instant wall,
                                   const std::vector<DutySwap>& swaps) {
  std::vector<std::string> people;
  const auto add = [&](const std::string& name) {
    if (std::find(people.begin(), people.end(), name) == people.end()) people.push_back(name);
  };
  const auto add_everyone = [&] {
    for (const Person& person : farm.people) add(person.name);
  };
  for (const std::string& word : tell) {
    if (word == "everyone") {
      add_everyone();
    } else if (word == "on-duty") {
      if (const auto who = on_duty(farm, wall, swaps)) add(*who);
      else add_everyone();
    } else {
      add(word);
    }
  }
  return people;
}

const Person* find_person(const Farm& farm, const std::string& name) {
  for (const Person& person : farm.people) {
    if (person.name == name) return &person;
  }
  return nullptr;
}

const Person* person_at(const Farm& farm, const std::string& address) {
  const std::string plain = plain_address(address);
  for (const Person& person : farm.people) {
    for (const auto& [way, own] : person.addresses) {
      if (plain_address(own) == plain) return &person;
    }
  }
  return nullptr;
}

}  // namespace underwing
