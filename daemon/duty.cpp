#include "daemon/duty.hpp"

#include <algorithm>
#include <cctype>

namespace underwing {

namespace {

unsigned weekday_bit(Instant local) {
  const std::chrono::weekday day{std::chrono::floor<std::chrono::days>(local)};
  return 1U << (day.iso_encoding() - 1);
}

bool fits(const DutyShift& shift, Instant local) {
  const Duration clock = local - std::chrono::floor<std::chrono::days>(local);
  const bool begun_today = (shift.days & weekday_bit(local)) != 0;
  if (shift.all_day) return begun_today;
  if (shift.from < shift.to) return begun_today && shift.from <= clock && clock < shift.to;
  const bool begun_yesterday = (shift.days & weekday_bit(local - std::chrono::days(1))) != 0;
  return (begun_today && clock >= shift.from) || (begun_yesterday && clock < shift.to);
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

std::optional<std::string> on_duty(const Farm& farm, Instant wall) {
  const Instant local = farm.zone.to_local(wall).as_if_utc;
  for (const DutyShift& shift : farm.duty) {
    if (fits(shift, local)) return shift.who;
  }
  return std::nullopt;
}

std::vector<std::string> people_of(const Farm& farm, const std::vector<std::string>& tell, Instant wall) {
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
      if (const auto who = on_duty(farm, wall)) add(*who);
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
