// Watch: the words that people are told.
#include <fmt/format.h>

#include <algorithm>
#include <cctype>

#include "daemon/duty.hpp"
#include "daemon/watch.hpp"
#include "daemon/words.hpp"

namespace underwing {

namespace {

using namespace std::chrono_literals;

constexpr std::size_t kLockedScreen = 40;  // characters that a locked telephone shows

/// The curve that a limit is built on, if it is: people are told what the house should have, not the limit.
std::optional<double> wanted(const WatchedRule& rule, const Limit& limit, double age_h) {
  const Expression* found = nullptr;
  const auto search = [&](const auto& self, const Expression& expression) -> void {
    if (expression.kind == Expression::Kind::curve && !found) found = &expression;
    for (const auto& child : expression.children) self(self, *child);
  };
  search(search, *limit.expression);
  if (!found) return std::nullopt;
  return curve_at(*rule.curves[found->index], age_h);
}

std::string action_when_blind(Priority priority) {
  return priority == Priority::urgent ? "GO NOW: look at the birds, then the probes." : "Look at the probes.";
}

}  // namespace

/// Of the rules that bear the alarm's name, the one that lives; flocks that follow one another in a house have one each.
std::optional<std::size_t> Watch::rule_of(const Alarm& alarm) const {
  if (alarm.subject == Alarm::Subject::built_in) return std::nullopt;
  std::optional<std::size_t> found;
  for (std::size_t i = 0; i < rules_->rules.size(); ++i) {
    const WatchedRule& rule = rules_->rules[i];
    if (rule.name != alarm.rule || rules_->houses[rule.house].name != alarm.house ||
        (rule.probe ? rules_->probes[*rule.probe].name : "") != alarm.probe) {
      continue;
    }
    const RuleState& state = engine_->state(i);
    if (!rule.flock || state.in_force || state.standing() || state.blind) return i;
    if (!found || known(state.last_value)) found = i;
  }
  return found;
}

std::string Watch::head(const Alarm& alarm) {
  const std::string house = alarm.house.empty() ? "FARM" : house_in_short(alarm.house);
  const auto rule = rule_of(alarm);
  if (alarm.subject == Alarm::Subject::blindness && alarm.house.empty()) {
    std::string houses;
    for (auto it = alarm.members.begin(); it != alarm.members.end(); ++it) {
      const std::string name = house_in_short(it->substr(0, it->find('/')));
      if (houses.find(name) == std::string::npos) houses += (houses.empty() ? "" : ", ") + name;
    }
    return fmt::format("{} CANNOT SEE: {} is down", houses.empty() ? "FARM" : houses, alarm.rule);
  }
  if (alarm.subject == Alarm::Subject::blindness) {
    std::string what = "the house";
    if (rule && silent_as_a_whole(rules_->rules[*rule].house)) {
      what = "anything";
    } else if (rule && !engine_->probes_of(*rule).empty()) {
      what = measure_in_words(rules_->probes[engine_->probes_of(*rule).front()].quality.name);
    }
    return fmt::format("{} CANNOT SEE {}", house, what);
  }
  if (!rule) {
    std::string what = alarm.rule;
    std::transform(what.begin(), what.end(), what.begin(), [](unsigned char c) { return c == '-' ? ' ' : static_cast<char>(std::toupper(c)); });
    return house + " " + what + (alarm.detail.empty() ? "" : ": " + alarm.detail);
  }
  const WatchedRule& watched = rules_->rules[*rule];
  // While it stands, people hear the value of now, not that of the raising.
  const double latest = engine_->state(*rule).last_value;
  const std::optional<double> value = watched.watch && alarm.life.condition() && known(latest) ? std::optional(latest) : alarm.value;
  const std::string shown = value ? " " + to_gsm(with_unit(*value, watched.unit)) : "";
  const std::string what = " " + what_is_wrong(watched, *rules_, alarm.reason) + (alarm.again ? " AGAIN" : "");
  std::string text = house + cut_to(what, kLockedScreen - std::min(kLockedScreen, house.size() + gsm_length(shown))) + shown;
  if (!alarm.probe.empty()) text += " at " + alarm.probe;
  return text;
}

std::string Watch::alarm_text(const Alarm& alarm) {
  AlarmWords words;
  words.head = head(alarm);
  words.replies = fmt::format("Reply OK {0}. Cannot go: PASS {0}", alarm.code);
  const auto rule = rule_of(alarm);
  if (!rule) {
    if (alarm.subject == Alarm::Subject::blindness) {
      const auto plugin = plugins_.find(alarm.rule);
      if (plugin != plugins_.end() && !plugin->second.text.empty()) words.expected = ": " + plugin->second.text;
      words.action = action_when_blind(alarm.priority);
      return to_text(words);
    }
    words.replies = fmt::format("Reply OK {}", alarm.code);
    return to_text(words);
  }
  const WatchedRule& watched = rules_->rules[*rule];
  std::string day;
  if (watched.flock) day = " (" + day_of(rules_->flocks[*watched.flock], rules_->farm.zone, wall()) + ")";
  if (alarm.subject == Alarm::Subject::blindness) {
    std::string silent;
    if (silent_as_a_whole(watched.house)) silent = "all its probes";
    else for (const std::size_t probe : engine_->probes_of(*rule)) {
      if (engine_->series(probe).usable(now_)) continue;
      silent += (silent.empty() ? "" : ", ") + rules_->probes[probe].name;
    }
    words.expected = silent.empty() ? "" : ": " + silent + " silent";
    for (const auto& [name, plugin] : plugins_) {
      if (!plugin.up) words.expected += fmt::format("; {} is down", name);
    }
    words.action = action_when_blind(alarm.priority);
    return to_text(words);
  }
  const RuleState& state = engine_->state(*rule);
  const auto worst = state.worst(watched.staged);
  const Limit& limit = watched.limits[worst.value_or(0)];
  if (const auto target = watched.flock ? wanted(watched, limit, *engine_->age_h(*rule)) : std::nullopt) {
    words.expected = fmt::format(", wants {}", with_unit(*target, Unit{"", limit.unit.dimension, false, limit.unit.factor, limit.unit.offset}));
  } else if (alarm.limit) {
    words.expected = fmt::format(", limit {}", with_unit(*alarm.limit, limit.unit));
  }
  if (alarm.reason == Reason::ahead) words.expected += ", heading past its limit";
  words.expected += day;
  if (const Alarm* cause = cause_of(alarm, false)) {
    const auto its_rule = rule_of(*cause);
    words.expected += fmt::format(". {} since {}", its_rule ? what_is_wrong(rules_->rules[*its_rule], *rules_, cause->reason) : cause->rule,
                                  clock_time(rules_->farm.zone, cause->raised + engine_->wall_ahead()));
  }
  if (!watched.action.empty()) {
    words.action = (alarm.priority == Priority::urgent ? "GO NOW: " : "TODAY: ") + watched.action;
    if (std::string_view(".!?").find(words.action.back()) == std::string_view::npos) words.action += '.';
  }
  return to_text(words);
}

std::string Watch::back_text(const Alarm& alarm, Reason reason) {
  const std::string from = clock_time(rules_->farm.zone, alarm.raised + engine_->wall_ahead());
  const std::string to = clock_time(rules_->farm.zone, wall());
  const std::string house = alarm.house.empty() ? "FARM" : house_in_short(alarm.house);
  if (alarm.subject == Alarm::Subject::blindness && alarm.house.empty()) {
    return fmt::format("{} is up, the watch sees again since {}. Blind from {}.", alarm.rule, to, from);
  }
  if (alarm.subject == Alarm::Subject::blindness) return fmt::format("{} sees again since {}. Blind from {}.", house, to, from);
  if (alarm.subject == Alarm::Subject::built_in) return fmt::format("{} over at {}: {}.", house, to, alarm.detail);
  const auto rule = rule_of(alarm);
  const std::string what = rule ? what_is_wrong(rules_->rules[*rule], *rules_, alarm.reason) : alarm.rule;
  std::string value;
  if (rule && known(engine_->state(*rule).last_value) && rules_->rules[*rule].watch) {
    value = with_unit(engine_->state(*rule).last_value, rules_->rules[*rule].unit);
  }
  if (reason == Reason::not_watched) {
    return fmt::format("{} {} no longer watched{}.", house, what, value.empty() ? "" : ", last value " + value);
  }
  // Good news about the lesser limit is none while the same thing stands by another rule.
  const auto still = std::find_if(alarms_.begin(), alarms_.end(), [&](const auto& entry) {
    const Alarm& other = entry.second;
    const auto its_rule = other.id != alarm.id && other.subject == Alarm::Subject::condition && other.life.condition() && other.house == alarm.house
                              ? rule_of(other) : std::nullopt;
    return its_rule && what_is_wrong(rules_->rules[*its_rule], *rules_, other.reason) == what;
  });
  if (still != alarms_.end()) {
    return fmt::format("{} better{} at {}, but still {}: {} goes on.", house, value.empty() ? "" : ": " + value, to, what, still->second.code);
  }
  const std::string reset = alarm.life.stands() ? " It stays listed until it is reset on the spot." : "";
  return fmt::format("{} back to normal{} at {}. {} from {}.{}", house, value.empty() ? "" : ": " + value, to, what, from, reset);
}

std::string Watch::summary_text() {
  const Zone& zone = rules_->farm.zone;
  const Duration wall_ahead = engine_->wall_ahead();
  std::vector<std::string> parts, brief;
  for (std::size_t house = 0; house < rules_->houses.size(); ++house) {
    const std::string& name = rules_->houses[house].name;
    std::string long_text, short_text;
    std::size_t calls = 0;
    for (const Night& entry : night_) {
      if (entry.house != name) continue;
      ++calls;
      const std::string until = entry.returned ? clock_time(zone, *entry.returned + wall_ahead) : "now";
      long_text += fmt::format("{}{} {}-{}{}", long_text.empty() ? "" : ", ", entry.what, clock_time(zone, entry.raised + wall_ahead),
                               until, entry.who.empty() ? "" : " (" + entry.who + ")");
    }
    if (calls == 0) long_text = short_text = "quiet";
    else short_text = fmt::format("{} alarm{}", calls, calls == 1 ? "" : "s");
    std::string day;
    if (const auto flock = rules_->flock_in(house, wall())) day = " " + day_of(rules_->flocks[*flock], zone, wall());
    parts.push_back(house_in_short(name) + day + ": " + long_text);
    brief.push_back(house_in_short(name) + day + ": " + short_text);
  }
  const auto open = std::count_if(alarms_.begin(), alarms_.end(), [](const auto& entry) { return entry.second.life.stands(); });
  const auto farm_wide = std::count_if(night_.begin(), night_.end(), [](const Night& entry) { return entry.house.empty(); });
  std::string tail = fmt::format("Open now: {}.", open == 0 ? "none" : std::to_string(open));
  if (farm_wide > 0) tail = fmt::format("Farm: {} trouble{}. ", farm_wide, farm_wide == 1 ? "" : "s") + tail;
  const auto all = [&](const std::vector<std::string>& list) {
    std::string text = fmt::format("MORNING {}. ", clock_time(zone, wall()));
    for (const std::string& part : list) text += part + ". ";
    return text + tail;
  };
  return fit({all(parts), all(brief)});
}

std::string Watch::evening_text(std::vector<std::string>* faults_out) {
  const Zone& zone = rules_->farm.zone;
  std::vector<std::string> faults, houses;
  for (std::size_t house = 0; house < rules_->houses.size(); ++house) {
    if (!occupied(house)) continue;
    const std::string short_name = house_in_short(rules_->houses[house].name);
    std::size_t silent = 0;
    std::string first;
    for (const auto& [measure, probes] : rules_->houses[house].probes) {
      const MeasureKind kind = rules_->measures[measure].kind;
      if (kind == MeasureKind::tally || kind == MeasureKind::round || kind == MeasureKind::sample) continue;
      for (const std::size_t probe : probes) {
        if (engine_->series(probe).usable(now_)) continue;
        if (silent++ == 0) first = measure_in_words(rules_->measures[measure].name) + " " + rules_->probes[probe].name;
      }
    }
    if (silent > 0) faults.push_back(fmt::format("{} {} silent{}", short_name, first, silent > 1 ? fmt::format(" and {} more", silent - 1) : ""));
    std::size_t blind = 0, in_force = 0;
    for (std::size_t rule = 0; rule < rules_->rules.size(); ++rule) {
      if (rules_->rules[rule].house != house) continue;
      blind += engine_->state(rule).blind;
      in_force += engine_->state(rule).in_force;
    }
    if (blind > 0) faults.push_back(fmt::format("{} {} rule{} cannot tell", short_name, blind, blind == 1 ? "" : "s"));
    if (in_force == 0) faults.push_back(short_name + " has no rule in force");
    if (const auto flock = rules_->flock_in(house, wall())) {
      const Flock& birds = rules_->flocks[*flock];
      houses.push_back(short_name + " " + (wall() < birds.placed ? "chicks at " + clock_time(zone, birds.placed) : day_of(birds, zone, wall())));
    }
  }
  for (const auto& [id, alarm] : alarms_) {
    if (alarm.life.stands() && alarm.priority != Priority::note) faults.push_back(head(alarm));
  }
  for (const auto& [name, plugin] : plugins_) {
    if (!plugin.up) faults.push_back(name + " is down");
  }
  for (Duration ahead = Duration::zero(); ahead < 12h; ahead += 30min) {
    if (on_duty(rules_->farm, wall() + ahead, swaps_)) continue;
    faults.push_back("nobody on duty at " + clock_time(zone, wall() + ahead));
    break;
  }
  if (faults_out) *faults_out = faults;
  const auto join = [](const std::vector<std::string>& list, const char* between) {
    std::string text;
    for (const std::string& part : list) text += (text.empty() ? "" : between) + part;
    return text;
  };
  if (!faults.empty()) {
    return fit({"NOT ready for the night: " + join(faults, "; ") + ".",
                fmt::format("NOT ready for the night: {}; and {} more.", faults.front(), faults.size() - 1)});
  }
  const auto who = on_duty(rules_->farm, wall(), swaps_);
  return fit({fmt::format("Ready for the night. {}. All probes live. On duty: {}.", houses.empty() ? "No flock" : join(houses, ", "),
                          who.value_or("everyone"))});
}

}  // namespace underwing
