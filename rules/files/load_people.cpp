#include "rules/files/load_people.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <bitset>
#include <set>

#include "rules/files/built_in.hpp"

namespace underwing {
namespace {

constexpr std::size_t kMinutesPerDay = 24 * 60;
constexpr std::size_t kMinutesPerWeek = 7 * kMinutesPerDay;
constexpr const char* kDayNames[] = {"Monday", "Tuesday",  "Wednesday", "Thursday",
                                     "Friday", "Saturday", "Sunday"};

constexpr std::size_t kGapsShown = 7;

using Week = std::bitset<kMinutesPerWeek>;

std::string clock_at(std::size_t minute) { return clock_of(std::chrono::minutes(minute % kMinutesPerDay)); }

/// "Saturday 08:00 to 20:00", "Saturday 08:00 to Monday 06:00"; midnight at the end of the day on which it begins is 24:00.
std::string gap_in_words(std::size_t begin, std::size_t length) {
  const std::size_t end = begin + length, day = begin / kMinutesPerDay;
  std::string head = fmt::format("{} {} to ", kDayNames[day], clock_at(begin));
  if (end == (day + 1) * kMinutesPerDay) return head + "24:00";
  return end / kMinutesPerDay == day ? head + clock_at(end) : head + fmt::format("{} {}", kDayNames[end / kMinutesPerDay % 7], clock_at(end));
}

/// The hours of a week that are not covered, in order. One that goes on over midnight between Sunday and Monday is one, and the
/// last. Some are covered, and not all.
std::string gaps_in_words(const Week& covered) {
  std::size_t first = 0;  // a minute with duty, to begin the round with
  while (!covered[first]) ++first;
  std::vector<std::pair<std::size_t, std::size_t>> gaps;  // begin, length
  for (std::size_t i = first + 1; i <= first + kMinutesPerWeek; ++i) {
    const std::size_t minute = i % kMinutesPerWeek;
    if (covered[minute]) continue;
    const bool begins = covered[(minute + kMinutesPerWeek - 1) % kMinutesPerWeek];
    if (begins) gaps.emplace_back(minute, 1);
    else ++gaps.back().second;
  }
  std::sort(gaps.begin(), gaps.end());
  std::string words;
  const std::size_t shown = std::min(gaps.size(), kGapsShown);
  for (std::size_t i = 0; i < shown; ++i) words += (i == 0 ? "" : ", ") + gap_in_words(gaps[i].first, gaps[i].second);
  return gaps.size() > shown ? fmt::format("{} and {} more", words, gaps.size() - shown) : words;
}

const Person* find_person(const Farm& farm, const std::string& name) {
  const auto found =
      std::find_if(farm.people.begin(), farm.people.end(), [&](const Person& it) { return it.name == name; });
  return found == farm.people.end() ? nullptr : &*found;
}

bool is_bundled(const std::string& run) {
  const auto& all = bundled_plugins();
  return std::find(all.begin(), all.end(), run) != all.end();
}

/// Ways that a plugin offers where its entry does not say; a program of the farm's own has to say.
std::vector<Way> carried_by(const PluginEntry& plugin) {
  if (plugin.carries) return *plugin.carries;
  if (plugin.run == "sms") return {Way::text, Way::call};
  if (plugin.run == "mail") return {Way::mail};
  if (plugin.run == "web-hook") return {Way::web_hook};
  // A name that is none has been refused already.
  if (plugin.run == "print" || (!is_bundled(plugin.run) && plugin.run.find('/') == std::string::npos))
    return {Way::text, Way::call, Way::mail, Way::web_hook};
  return {};
}

class PeopleReader {
 public:
  PeopleReader(Farm& farm, IssueLog& log) : farm_(farm), log_(log) {}

  void people(const YamlNode& node) {
    const YamlNode* map = read_map(node, "people", log_);
    if (map == nullptr) return;
    for (const YamlNode::Entry& entry : map->entries) person(entry);
    if (map->entries.empty()) report(log_, node, "a farm needs at least one person to tell");
  }

  void duty(const YamlNode& node) {
    if (node.kind == YamlNode::Kind::wrong) return;
    if (!node.is_list()) {
      report(log_, node, "'duty' is a list of lines, as in - {who: ines, days: Mon-Fri}");
      return;
    }
    for (const YamlNode& item : node.items) shift(item);
  }

  void judge_duty(const YamlNode& at) {
    Week covered;
    for (const DutyShift& shift : farm_.duty) cover(covered, shift);
    if (covered.all()) return;
    const std::size_t open = kMinutesPerWeek - covered.count();
    report_caution(log_, at, fmt::format("nobody has duty for {} of the week{}; everyone is told then", to_words(std::chrono::minutes(open)),
                                         covered.none() ? "" : ": " + gaps_in_words(covered)));
    has_gap_ = true;
  }

  void call_out(const YamlNode& node) {
    const auto fields = read_fields(node, call_out_keys(), log_);
    if (!fields) return;
    for (const Priority priority : {Priority::urgent, Priority::soon, Priority::note}) {
      const YamlNode* plan = fields->value(to_string(priority));
      if (plan == nullptr || plan->kind == YamlNode::Kind::wrong) continue;
      farm_.call_out[priority] = read_plan(*plan);
      if (priority != Priority::urgent) continue;
      judge_waiting(*plan, farm_.call_out[priority]);
      judge_mail(*fields->key("urgent"), farm_.call_out[priority]);
      judge_reach(*fields->key("urgent"), farm_.call_out[priority]);
    }
  }

 private:
  void person(const YamlNode::Entry& entry) {
    Person person;
    const auto name = read_name(entry.key, log_);
    const auto fields = read_fields(entry.value, person_keys(), log_);
    if (name && (*name == "on-duty" || *name == "everyone")) {
      report(log_, entry.key, fmt::format("'{}' is a word of the call-out and cannot be a person", *name));
    }
    if (!name || !fields) return;
    person.name = *name;
    for (const Way way : {Way::text, Way::call, Way::mail, Way::web_hook}) {
      const YamlNode* node = fields->value(to_string(way));
      const auto address = node == nullptr ? std::nullopt : read_text(*node, log_);
      if (!address) continue;
      if (std::string wrong = wrong_address(way, *address); !wrong.empty()) report(log_, *node, wrong);
      person.addresses[way] = *address;
    }
    if (const YamlNode* away = fields->value("away"))
      person.away = read_duration(*away, Sign::not_negative, log_);
    if (const YamlNode* language = fields->value("language")) person.language = read_name(*language, log_).value_or("");
    if (const YamlNode* off = fields->value("off")) person.off = read_dates(*off, log_).value_or(person.off);
    const bool named =
        fields->has("text") || fields->has("call") || fields->has("mail") || fields->has("web-hook");
    if (!named)
      report(log_, entry.key,
             fmt::format("'{}' cannot be reached: text, call, mail or web-hook is needed", *name));
    farm_.people.push_back(std::move(person));
  }

  static std::string wrong_address(Way way, const std::string& address) {
    if (way == Way::mail) {
      const std::size_t at = address.find('@');
      const bool fits = at != std::string::npos && at > 0 && at + 1 < address.size() &&
                        address.find(' ') == std::string::npos;
      return fits ? "" : fmt::format("'{}' is not a mail address", address);
    }
    if (way == Way::web_hook) {
      const bool fits = address.starts_with("http://") || address.starts_with("https://");
      return fits ? "" : "the address of a web hook begins with http:// or https://";
    }
    std::size_t digits = 0;
    for (std::size_t i = 0; i < address.size(); ++i) {
      const char c = address[i];
      if (c >= '0' && c <= '9') {
        ++digits;
      } else if (c != ' ' && c != '-' && !(c == '+' && i == 0)) {
        return fmt::format("'{}' is not a phone number; write it as \"+44 7700 900101\"", address);
      }
    }
    return digits >= 3 && digits <= 15
               ? ""
               : fmt::format("'{}' is not a phone number; write it as \"+44 7700 900101\"", address);
  }

  std::vector<std::string> names() const {
    std::vector<std::string> all;
    for (const Person& person : farm_.people) all.push_back(person.name);
    return all;
  }

  bool known(const YamlNode& node, const std::string& name, std::vector<std::string> candidates) {
    if (find_person(farm_, name) != nullptr) return true;
    report(log_, node,
           with_nearest(fmt::format("nobody named '{}' stands in people", name), name, candidates));
    return false;
  }

  void shift(const YamlNode& node) {
    const auto fields = read_fields(node, duty_keys(), log_);
    if (!fields) return;
    DutyShift shift;
    bool fine = fields->has("who");
    if (const YamlNode* who = fields->value("who")) {
      const auto name = read_name(*who, log_);
      fine = name && known(*who, *name, names());
      shift.who = name.value_or("");
    }
    if (const YamlNode* days = fields->value("days")) {
      const auto set = read_days(*days, log_);
      fine = fine && set.has_value();
      shift.days = set.value_or(0x7f);
    }
    const YamlNode* from = fields->value("from");
    const YamlNode* to = fields->value("to");
    shift.all_day = from == nullptr && to == nullptr;
    // One of the two alone reaches from or to midnight.
    const auto begin = from != nullptr ? read_time_of_day(*from, log_) : std::optional(Duration::zero());
    const auto end =
        to != nullptr ? read_time_of_day(*to, log_) : std::optional<Duration>(std::chrono::hours(24));
    if (!begin || !end || !fine) return;
    shift.from = *begin;
    shift.to = *end;
    Week own;
    cover(own, shift);
    if ((own & ~taken_).none()) report_caution(log_, node, fmt::format("'{}' never has duty by this line: those above it have its hours", shift.who));
    taken_ |= own;
    farm_.duty.push_back(std::move(shift));
  }

  static void cover(Week& covered, const DutyShift& shift) {
    const auto minutes = [](Duration span) {
      return static_cast<std::size_t>(span / std::chrono::minutes(1));
    };
    const std::size_t begin = shift.all_day ? 0 : minutes(shift.from);
    std::size_t end = shift.all_day ? kMinutesPerDay : minutes(shift.to);
    if (end <= begin) end += kMinutesPerDay;
    for (std::size_t day = 0; day < 7; ++day) {
      if ((shift.days >> day & 1u) == 0) continue;
      for (std::size_t minute = begin; minute < end; ++minute)
        covered.set((day * kMinutesPerDay + minute) % kMinutesPerWeek);
    }
  }

  CallPlan read_plan(const YamlNode& node) {
    CallPlan plan;
    if (node.is_list()) {
      read_steps(plan, node);
    } else if (node.is_map() && node.find("daily") != nullptr) {
      const auto fields = read_fields(node, call_daily_keys(), log_);
      if (const YamlNode* daily = fields->value("daily")) plan.daily = read_time_of_day(*daily, log_);
      plan.steps.push_back(read_step(*fields));
    } else if (node.is_map()) {
      const auto fields = read_fields(node, call_plan_keys(), log_);
      if (const YamlNode* hours = fields->value("hours")) plan.hours = read_hours(*hours, log_);
      if (const YamlNode* steps = fields->value("steps")) read_steps(plan, *steps);
    } else {
      report(log_, node,
             "a list of steps is needed here, or a map of 'hours' and 'steps', or one with 'daily'");
    }
    return plan;
  }

  void read_steps(CallPlan& plan, const YamlNode& node) {
    if (node.kind == YamlNode::Kind::wrong) return;
    if (!node.is_list() || node.items.empty()) {
      report(log_, node, "a list of steps is needed here, as in - {after: 0 min, tell: on-duty, by: text}");
      return;
    }
    for (const YamlNode& item : node.items) {
      const auto fields = read_fields(item, call_step_keys(), log_);
      if (!fields) continue;
      CallStep step = read_step(*fields);
      if (!plan.steps.empty() && fields->has("after") && step.after < plan.steps.back().after) {
        report(log_, *fields->value("after"),
               fmt::format("steps stand in the order of time; {} comes after {}", to_words(step.after),
                           to_words(plan.steps.back().after)));
      }
      if (const YamlNode* every = fields->value("then_every")) {
        step.then_every = read_duration(*every, Sign::positive, log_);
        if (&item != &node.items.back())
          report(log_, *fields->key("then_every"),
                 "only the last step is repeated; 'then_every' belongs there");
      }
      plan.steps.push_back(std::move(step));
    }
  }

  CallStep read_step(const Fields& fields) {
    CallStep step;
    if (const YamlNode* after = fields.value("after"))
      step.after = read_duration(*after, Sign::not_negative, log_).value_or(Duration::zero());
    if (const YamlNode* by = fields.value("by")) {
      step.by = read_ways(*by, log_).value_or(std::vector<Way>{});
      judge_ways(*by, step.by);
    }
    if (const YamlNode* tell = fields.value("tell")) read_tell(step, *tell);
    return step;
  }

  void judge_ways(const YamlNode& node, const std::vector<Way>& ways) {
    for (const Way way : ways) {
      const bool carried =
          std::any_of(farm_.plugins.begin(), farm_.plugins.end(), [way](const PluginEntry& plugin) {
            const auto carries = carried_by(plugin);
            return std::find(carries.begin(), carries.end(), way) != carries.end();
          });
      if (carried || !uncarried_.insert(way).second) continue;
      report_caution(
          log_, node,
          fmt::format("no plugin of this farm carries '{}', so nobody is reached by it", to_string(way)));
    }
  }

  void read_tell(CallStep& step, const YamlNode& node) {
    std::vector<std::string> candidates = names();
    candidates.insert(candidates.end(), {"on-duty", "everyone"});
    for (const YamlNode* item : one_or_list(node)) {
      const auto name = read_name(*item, log_);
      if (!name) continue;
      if (*name == "on-duty" || *name == "everyone") {
        if (node.is_list() && node.items.size() > 1)
          report(log_, *item, fmt::format("'{}' stands by itself, not in a list", *name));
      } else if (!known(*item, *name, candidates)) {
        continue;
      } else {
        judge_addresses(*item, *name, step.by);
      }
      step.tell.push_back(*name);
    }
    if (node.is_list() && node.items.empty()) report(log_, node, "somebody to tell is needed here");
    if (step.tell.size() == 1 && (step.tell[0] == "on-duty" || step.tell[0] == "everyone")) {
      for (const std::string& name : reached_by(step.tell[0])) judge_addresses(node, name, step.by);
    }
  }

  /// A step that names ways of which a person has none cannot reach that person.
  void judge_addresses(const YamlNode& node, const std::string& name, const std::vector<Way>& by) {
    const Person* person = find_person(farm_, name);
    if (person == nullptr || person->addresses.empty() || by.empty()) return;
    const bool reached =
        std::any_of(by.begin(), by.end(), [&](Way way) { return person->addresses.contains(way); });
    if (reached) return;
    std::string list;
    for (const Way way : by) list += (list.empty() ? "" : " or ") + std::string(to_string(way));
    report_caution(log_, node,
                   fmt::format("this step cannot reach '{}', who has no address for {}", name, list));
  }

  std::set<std::string> reached_by(const std::string& word) const {
    std::set<std::string> all;
    if (word == "everyone" || (word == "on-duty" && (has_gap_ || farm_.duty.empty()))) {
      for (const Person& person : farm_.people) all.insert(person.name);
    } else if (word == "on-duty") {
      for (const DutyShift& shift : farm_.duty) all.insert(shift.who);
    } else {
      all.insert(word);
    }
    return all;
  }

  /// What is urgent cannot wait for the morning.
  void judge_waiting(const YamlNode& node, const CallPlan& plan) {
    const char* key = plan.hours ? "hours" : plan.daily ? "daily" : nullptr;
    const YamlNode::Entry* entry = key == nullptr || !node.is_map() ? nullptr : node.find(key);
    if (entry == nullptr) return;
    report_danger(log_, entry->key,
                   fmt::format("nobody is woken: with '{}' what is urgent waits, through the night if need be; it "
                               "belongs to 'soon' and 'note'",
                               key));
  }

  void judge_mail(const YamlNode& at, const CallPlan& plan) {
    const auto mails_only = [](const CallStep& step) {
      return std::all_of(step.by.begin(), step.by.end(), [](Way way) { return way == Way::mail; });
    };
    const bool wrong = std::any_of(plan.steps.begin(), plan.steps.end(),
                                   [](const CallStep& step) { return step.by.empty(); });
    if (wrong || plan.steps.empty() || !std::all_of(plan.steps.begin(), plan.steps.end(), mails_only)) return;
    report_danger(log_, at, "nobody is woken: what is urgent goes out by mail alone; give people a 'text' or a 'call'");
  }

  void judge_reach(const YamlNode& at, const CallPlan& plan) {
    std::set<std::string> reached;
    for (const CallStep& step : plan.steps) {
      for (const std::string& word : step.tell) {
        const auto more = reached_by(word);
        reached.insert(more.begin(), more.end());
      }
    }
    const auto on_duty = [](const CallStep& step) {
      return std::all_of(step.tell.begin(), step.tell.end(), [](const std::string& word) { return word == "on-duty"; });
    };
    if (reached.size() > 1 && std::all_of(plan.steps.begin(), plan.steps.end(), on_duty)) {
      report_caution(log_, at,
                     "what is urgent is told to nobody but the one on duty; if that one sleeps on, nobody else hears of it. Add a step that tells "
                     "'everyone' some minutes later");
    }
    judge_telephones(at, reached);
    if (reached.size() != 1) return;
    report_caution(
        log_, at,
        fmt::format(
            "only '{}' is ever told of what is urgent; a second person would be told if that one sleeps on",
            *reached.begin()));
  }

  /// Several names with one telephone are one person who may sleep on.
  void judge_telephones(const YamlNode& at, const std::set<std::string>& reached) {
    std::set<std::string> numbers;
    std::size_t people = 0;
    for (const Person& person : farm_.people) {
      std::set<std::string> own;
      for (const Way way : {Way::text, Way::call}) {
        const auto number = person.addresses.find(way);
        if (number != person.addresses.end()) own.insert(number->second);
      }
      if (own.empty() || !reached.contains(person.name)) continue;
      ++people;
      numbers.merge(own);
    }
    if (people < 2 || numbers.size() != 1) return;
    report_caution(log_, at, "all who are told of what is urgent have one and the same telephone number");
  }

  Farm& farm_;
  IssueLog& log_;
  Week taken_;  ///< by the shifts so far
  bool has_gap_ = false;
  std::set<Way> uncarried_;  ///< said once
};

}  // namespace

void read_people(Farm& farm, const Fields& fields, IssueLog& log) {
  PeopleReader reader(farm, log);
  if (const YamlNode* node = fields.value("people")) reader.people(*node);
  const YamlNode* duty = fields.value("duty");
  if (duty != nullptr) reader.duty(*duty);
  const bool is_list = duty != nullptr && duty->is_list();
  if (duty == nullptr || (is_list && farm.duty.size() == duty->items.size())) {
    reader.judge_duty(duty == nullptr ? fields.map() : *fields.key("duty"));
  }
  if (const YamlNode* node = fields.value("call_out")) reader.call_out(*node);
}

}  // namespace underwing
