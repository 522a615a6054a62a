#pragma once

#include <cstdint>
#include <functional>
#include <map>
#include <memory>
#include <nlohmann/json_fwd.hpp>
#include <optional>
#include <set>
#include <string>
#include <utility>
#include <vector>

#include "daemon/watch.hpp"

namespace underwing::tool {

/// One alarm as a replay saw it: what a rule found; that a measure of a house could not be seen, by whichever rules could not
/// tell for it; a trouble of the watch's own, such as a silent house.
struct Stood {
  std::string house, rule, probe;      ///< `rule`: of a trouble its name, of what was unseen empty
  Priority priority = Priority::note;  ///< the worst that it reached
  Instant raised{};
  std::optional<Instant> returned{};   ///< none: it stood to the end of the tape
  struct Urgent {
    Instant begin{};
    std::optional<Instant> end{};      ///< none: to the end of the tape
  };
  std::vector<Urgent> urgent{};        ///< whenever it was, in time order: each wakes people anew
  Alarm::Subject subject = Alarm::Subject::condition;
  std::string measure{};               ///< of what was unseen: by its name in the files; empty: the house
  std::set<std::string> rules{};       ///< of what was unseen: those that could not tell

  /// When it first woke people; none: it never did.
  [[nodiscard]] std::optional<Instant> wakes() const { return urgent.empty() ? std::nullopt : std::optional(urgent.front().begin); }
};

/// Gathers alarms from the effects of a replay.
class StoodList {
 public:
  explicit StoodList(std::shared_ptr<const RuleSet> rules);
  void hear(const Effect& effect);
  [[nodiscard]] const std::vector<Stood>& alarms() const { return alarms_; }

 private:
  /// A measure of a house that cannot be seen now.
  struct Unseen {
    std::size_t alarm = 0;                  ///< index
    std::map<std::string, Priority> blind;  ///< the rules, with their probes, that cannot tell
  };
  void hear_condition(const nlohmann::json& event, const std::string& kind, Instant time);
  void hear_blindness(const nlohmann::json& event, const std::string& kind, Instant time);
  void hear_trouble(const Alarm& alarm);

  std::vector<Stood> alarms_;
  std::map<std::string, std::string> measures_;                         ///< by "house/rule/probe"
  std::map<std::pair<std::string, std::string>, Unseen> unseen_;        ///< by house and measure
  std::map<std::uint64_t, std::size_t> troubles_;                       ///< by the alarm's id: index
};

/// What differs for one alarm between two sets of rules on the same tapes.
struct Difference {
  enum class Kind : std::uint8_t {
    falls_away,      ///< it was no wake-up
    comes_in,        ///< it is no wake-up
    earlier, later,  ///< both or neither wake: the wake-up, or what is raised
    other_priority,  ///< both or neither wake
    wakes_no_more,   ///< the wake-up falls away, and `instead` wakes in that house meanwhile
    wakes,           ///< a wake-up comes in
    missed           ///< the wake-up falls away, and nothing else is urgent in that house meanwhile; or nobody is told any more that
                     ///< something is unseen
  };
  Kind kind = Kind::falls_away;
  std::optional<Stood> was, is;  ///< one of them at least
  Duration apart{0};             ///< of `earlier` and `later`; of `wakes_no_more` how much later `instead` wakes
  std::string instead{};         ///< of `wakes_no_more`: the rule that does, or what is unseen then
  bool again = false;            ///< of `missed`: the alarm had been urgent before, and less meanwhile

  [[nodiscard]] const Stood& alarm() const { return is ? *is : *was; }
  /// When it matters: at the earlier of both wake-ups, or of both times raised where neither wakes.
  [[nodiscard]] Instant time() const;
  /// Whether somebody is woken, or was, or is at another time.
  [[nodiscard]] bool of_a_wake_up() const;
};

/// "falls away", "would be missed" …
[[nodiscard]] const char* to_string(Difference::Kind kind);

/// Pairs the alarms of both replays (same house, rule and probe, or the same measure unseen, standing at overlapping times or
/// raised within an hour of one another) and says what differs, in time order: first of all the moment at which each is first
/// urgent, which is when it wakes people. Where it wakes them again after it was less, only what would be missed is told of that.
[[nodiscard]] std::vector<Difference> compare(const std::vector<Stood>& before, const std::vector<Stood>& after);

/// "h1: ammonia wakes 2 h 18 min later, at 03:38"; `clock` gives a time of day in words.
[[nodiscard]] std::string in_words(const Difference& difference, const std::function<std::string(Instant)>& clock);

/// "3 differences: 1 wake-up would be missed, 1 comes later." None: empty.
[[nodiscard]] std::string sum_of(const std::vector<Difference>& differences);

}  // namespace underwing::tool
