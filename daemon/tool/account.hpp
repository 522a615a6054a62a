#pragma once

#include <map>
#include <nlohmann/json_fwd.hpp>
#include <optional>
#include <set>
#include <string>
#include <vector>

#include "daemon/story.hpp"

namespace underwing::tool {

/// A replay as a person reads it: what was raised when and how long it stood, who would have been told, how often
/// and how often outside waking hours, and what the watch could not see. How often a probe was far from its neighbours, or not
/// believed, is one line at the end. People who get the same words at the same
/// moment stand on one line; a last step that repeats is told once, then counted.
class Account {
 public:
  /// `rules` must outlive the account.
  explicit Account(const RuleSet& rules) : rules_(rules), story_(rules) {}

  /// Takes the next effect; returns the lines that are complete now.
  [[nodiscard]] std::vector<std::string> hear(const Effect& effect);
  /// The lines that are left, then the sums. `end`: when the tapes ended.
  [[nodiscard]] std::vector<std::string> close(Instant end);

  /// "8 alarms (3 of what was measured, 5 of what could not be seen)": as the morning's text counts them.
  [[nodiscard]] std::string alarms() const;
  /// How many of them were urgent at any time.
  [[nodiscard]] std::size_t urgent() const { return urgent_.size(); }

  /// In the order of the farm's file, for each person who was told anything "wren would have been told 10 times, twice outside waking hours."
  [[nodiscard]] std::vector<std::string> people() const;

  [[nodiscard]] const Story& story() const { return story_; }

 private:
  /// What one moment tells: the same words to some people by some ways.
  struct Telling {
    Instant time{};
    std::string text;
    int step = 0;
    std::vector<std::string> people, ways;
  };
  struct Person {
    std::set<Instant> times;
    int asleep = 0;  ///< of them outside waking hours
  };

  void hear_told(const nlohmann::json& event, Instant time, std::vector<std::string>& lines);
  void count_alarm(const Alarm& alarm);
  /// People in the order of the farm's file.
  void put_in_order(std::vector<std::string>& people) const;
  void note(const nlohmann::json& event, Instant time);
  /// True of an event that says whether a probe is believed: those are counted and told at the end.
  [[nodiscard]] bool count_doubt(const nlohmann::json& event, Instant time);
  void end_doubt(const std::string& series, Instant time);
  void say_doubts(std::vector<std::string>& lines, Instant end) const;
  void end_telling(std::vector<std::string>& lines);
  void end_repeats(std::vector<std::string>& lines);
  [[nodiscard]] bool repeats(const Telling& telling) const;
  [[nodiscard]] std::string line(Instant time, const std::string& sentence) const;

  const RuleSet& rules_;
  Story story_;
  std::optional<Telling> telling_;  ///< still growing
  std::optional<Telling> last_;     ///< the last that was printed
  int repeated_ = 0;                ///< how often since
  Instant repeated_last_{};
  std::map<std::string, Person> people_;
  std::map<std::string, Instant> standing_, blind_;  ///< since when
  std::map<std::string, Duration> unseen_;
  /// How often a probe was not believed, or stood far from its neighbours.
  struct Doubt {
    int count = 0;
    Instant first{}, last{};         ///< begins
    Duration longest{0};
    std::optional<Instant> since{};  ///< it still is
  };
  std::map<std::pair<std::string, std::string>, Doubt> doubts_;  ///< by "house: measure/probe" and what is doubted
  std::size_t raised_ = 0;
  std::set<std::uint64_t> unseen_alarms_, troubles_, urgent_;  ///< alarms by id
};

}  // namespace underwing::tool
