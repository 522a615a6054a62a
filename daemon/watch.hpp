#pragma once

#include <algorithm>
#include <cstdint>
#include <deque>
#include <map>
#include <memory>
#include <nlohmann/json_fwd.hpp>
#include <optional>
#include <set>
#include <string>
#include <vector>

#include "daemon/replies.hpp"
#include "daemon/duty.hpp"
#include "daemon/saying.hpp"
#include "rules/alarms/life_cycle.hpp"
#include "rules/engine/engine.hpp"
#include "rules/model.hpp"

namespace underwing {

/// One alarm from its raising to its end. Belongs to (house, rule, probe) for what a rule found; blindness and
/// the watch's own troubles are alarms of their own.
struct Alarm {
  enum class Subject : std::uint8_t { condition, blindness, built_in };
  std::uint64_t id = 0;
  std::string code;                   ///< two letters and digits by which people answer
  Subject subject = Subject::condition;
  std::string house;                  ///< empty: the whole farm
  std::string rule;                   ///< of built-in alarms, their name: probe-bad, plugin-silent …
  std::string probe;                  ///< empty: the whole house
  /// Of blindness: the rules ("pack/rule/probe") that are blind together; under a silent plugin `house` is empty,
  /// `rule` the plugin, and the house stands before each.
  std::set<std::string> members;
  Priority priority = Priority::note;
  LifeCycle life;
  Instant raised{};
  std::optional<Instant> returned;
  Reason reason = Reason::none;
  std::optional<double> value, limit; ///< canonical, at the last change
  std::string detail;                 ///< of built-in alarms: the sentence that people are told
  Said details;                       ///< the same in the farm's other languages
  std::string acknowledged_by;
  std::optional<Instant> acknowledged_at;
  bool here = false;                  ///< who acknowledged is in the house
  bool again = false;                 ///< urgent a second time within the hour
  bool held = false;                  ///< not told for now: a cause was told, or the rule comes and goes
  Instant release_at = kNever;        ///< of what is held: when it is told all the same
  std::string only_path;              ///< of a drill: the plugin that is to carry it; empty: any
  bool named_in_summary = false;
  std::set<std::string> told;         ///< people

  /// The call-out of this alarm.
  struct Calling {
    bool running = false;
    std::size_t step = 0;             ///< index of the step that comes next; the last one repeats
    std::size_t taken = 0;            ///< index of the one taken last
    unsigned serial = 0;              ///< counts the steps taken, to match receipts
    Instant due = kNever;             ///< when it comes
    Instant begun{};                  ///< the steps' times count from here
    Duration retry{0};                ///< of a last step that reached nobody: doubles up to `then_every`
    int open = 0;                     ///< deliveries of the step taken last without an outcome
    bool reached = false;             ///< one of them reached somebody
    Instant check_at = kNever;        ///< acknowledged: nobody there, or not back to normal, by then
  };
  Calling calling;
};

/// From and until, engine time.
struct Stretch {
  Instant from{}, until{};
};

/// Ten minutes of a house's air as its rules saw it each minute (air_view.hpp). Canonical; NaN: not known, or no limit.
struct AirSpan {
  static constexpr Duration kLength = std::chrono::minutes(10);
  Instant begin{};
  double lowest = kUnknown, highest = kUnknown;
  double low = kUnknown, high = kUnknown;  ///< the limits, as they were last
  unsigned minutes = 0;                    ///< in which the air was known
};

/// A message on its way to one person by one way.
struct Delivery {
  enum class Outcome : std::uint8_t { open, sent, delivered, failed };
  std::string id;
  std::string who;
  Way way = Way::text;
  std::string to;
  std::string text;
  Priority priority = Priority::note;
  std::vector<std::string> codes;                            ///< alarms that it speaks of
  std::vector<std::pair<std::uint64_t, unsigned>> steps;     ///< alarm ids and step serials that it carries
  int step = 0;                                              ///< for the record: the step's number from 1; 0: none
  Instant queued{};
  Outcome outcome = Outcome::open;
  std::string path;                                          ///< the plugin that has it; empty: none yet
  std::string only_path;                                     ///< no other one may carry it; empty: any
  std::optional<Stretch> plotted;                            ///< of which it is to show plots (plots.hpp)
};

[[nodiscard]] const char* to_string(Delivery::Outcome outcome);

/// A path by which people are reached: a plugin that carries messages. `suspect`: what it was last given failed;
/// `untested`: it has been given nothing yet.
enum class PathState : std::uint8_t { untested, up, suspect, down };
[[nodiscard]] const char* to_string(PathState state);
struct PathStatus {
  std::string name;
  PathState state = PathState::untested;
  std::optional<Instant> sent;    ///< when it last said that something went out
  std::optional<Instant> proven;  ///< when it last said that something arrived
  bool tested = false;            ///< a message went out to prove it
};

/// What `Watch` wants done. In the order in which it stands: the journal has it before a channel does.
struct Effect {
  enum class Kind : std::uint8_t {
    event,        ///< something happened: `json` is the line that `replay --json` prints
    alarm,        ///< an alarm changed: journal and publish `alarm`
    delivery,     ///< journal `delivery`; hand it to a channel if its outcome is open
    answer,       ///< a person's answer, for the journal: `json`
    entry,        ///< a person's message was an input, too: for the tape and, if it is a value, the journal: `entry`
    story,        ///< a plain sentence for whoever looks on
    heartbeat     ///< a sign of life for the farm's heartbeat, not for the journal: `json` is what it says
  };
  /// A value entered by a person, or work in a house.
  struct Entry {
    std::optional<std::size_t> probe;  ///< none: work
    double value = 0;
    Instant time{};                    ///< of the value
    std::size_t house = 0;
    Instant until{};                   ///< of work
    std::string who;
  };
  Kind kind = Kind::event;
  Instant time{};
  std::string json;
  std::optional<Alarm> alarm;
  std::optional<Delivery> delivery;
  std::optional<Entry> entry;
};

/// The watch: a deterministic state machine over engine, alarms and call-out. Inputs go in, effects come out;
/// it knows no clock, no file and no thread. Live running, replay and the simulation drive this very class.
class Watch {
 public:
  explicit Watch(std::shared_ptr<const RuleSet> rules);

  // Inputs. Times are engine time.

  /// The watch begins; `wall_ahead` is wall time minus engine time.
  void begin(Instant now, Duration wall_ahead = Duration::zero());
  /// "It is now T": works off everything that was due before.
  void advance(Instant now);
  /// Works off what is due at engine time itself, as where a tape ends.
  void finish();
  /// A reading of a probe, in the measure's unit, with its own time.
  void reading(std::size_t probe, Instant time, double value);
  /// A delivery is with this plugin now; with another one before, that one failed.
  void handed(const std::string& delivery, const std::string& path);
  /// What became of a delivery. Unknown or settled ones change nothing.
  void receipt(const std::string& delivery, Delivery::Outcome outcome, const std::string& text);
  /// What a person sent; `from` is a number or address of a person, or a person's name where the plugin that brings it
  /// may name people (by "mqtt", only that). Anything else is kept and never answered.
  enum class MayName : std::uint8_t { no, yes };
  /// A reply whose `key` came already changes nothing; the last 200 of a day are remembered, over restarts, too.
  void reply(const std::string& from, const std::string& by, const std::string& text, MayName may_name = MayName::no,
             const std::string& key = {});
  /// The same from the command line; nullopt: not understood or nothing to answer. Gives what was done, in words.
  struct Answered {
    bool done = false;
    std::string text;
  };
  Answered acknowledge(const std::string& code, const std::string& who);
  /// Resets a latched alarm whose condition has ended.
  Answered reset(const std::string& code, const std::string& who);
  /// Holds a rule's alarms in a house back for a while, at most 12 h. Refused without a reason, and for a rule that
  /// can be urgent unless that is wanted. Ends by itself, and at once when it becomes urgent after all.
  enum class EvenUrgent : std::uint8_t { no, yes };
  Answered shelve(const std::string& house, const std::string& rule, Duration span, const std::string& why, const std::string& who,
                  EvenUrgent even_urgent, const Language& language = english());
  /// Two people change places for the shifts that begin on that date, or, asked again, back. Both are told.
  Answered swap_duty(const std::string& one, const std::string& other, Date date, const std::string& who);
  /// Sends a marked test through the call-out: all its steps, or `person` alone, over any path or one plugin's. It needs an
  /// answer within 15 minutes, and the result is kept.
  Answered drill(const std::string& person, const std::string& path);
  /// What became of the heartbeat of that time: answered by the other end, or why not.
  void heartbeat(Instant sent, bool answered, const std::string& text);
  /// A plugin came up or went down (or says that it cannot do its work).
  void plugin(const std::string& name, bool up, const std::string& text);
  /// One of the watch's own troubles begins or ends: "clock", "disk", "rules-refused"; `part` tells several of a name apart.
  void trouble(const std::string& name, bool on, const std::string& text, const std::string& part = "");
  /// Wall time jumped against engine time.
  void clock(Duration wall_ahead);
  /// People work in the house for a while; `who` is reminded five minutes before it ends (nobody of the farm: whoever
  /// has duty).
  void work(std::size_t house, Instant until, const std::string& who = "");
  /// The same on a person's word, to be taped; at most 12 h, and none ends it.
  Answered work_by(std::size_t house, Duration span, const std::string& who, const Language& language = english());
  /// Writes down what a person found on a round, in the measure's unit; dead birds and the like add up.
  Answered enter(std::size_t house, std::size_t measure, double value, const std::string& who, const Language& language = english());
  /// Takes back what this person entered last.
  Answered take_back(const std::string& who, const Language& language = english());
  /// Other rules from now on. Alarms, delays and windows of what did not change are kept.
  void reload(std::shared_ptr<const RuleSet> rules);

  /// Puts something that the shell knows among the effects, in its place: a reload, say.
  void note(Effect effect) { effects_.push_back(std::move(effect)); }

  /// What is to be done about all that, in order. Empties the list.
  [[nodiscard]] std::vector<Effect> take_effects();

  /// The next moment at which something falls due by itself.
  [[nodiscard]] Instant next_due();

  // Questions.
  [[nodiscard]] Instant now() const { return now_; }
  [[nodiscard]] Instant wall() const { return now_ + engine_->wall_ahead(); }
  [[nodiscard]] const RuleSet& rules() const { return *rules_; }
  [[nodiscard]] Engine& engine() { return *engine_; }
  [[nodiscard]] const Language& language_of(const std::string& who) const;
  [[nodiscard]] const std::map<std::uint64_t, Alarm>& alarms() const { return alarms_; }
  [[nodiscard]] std::vector<Delivery> open_deliveries() const;
  [[nodiscard]] const std::vector<DutySwap>& swaps() const { return swaps_; }
  /// A rule whose alarms are held back in a house, until when, by whom and why.
  struct Shelving {
    Instant until{};
    std::string who, why;
    bool even_urgent = false;
  };
  /// By house and rule.
  [[nodiscard]] const std::map<std::pair<std::string, std::string>, Shelving>& shelved() const { return shelved_; }
  /// The air of a house over the last 25 hours, oldest first; what was not watched is left out.
  [[nodiscard]] const std::deque<AirSpan>& air_kept(const std::string& house) const;
  /// In the order of the farm file.
  [[nodiscard]] std::vector<PathStatus> paths() const;
  /// The morning summary: as one text message, and in five lines a house where there is room (mail).
  [[nodiscard]] std::string summary_text(const Language& language = english());
  [[nodiscard]] std::string summary_in_full(const Language& language = english());
  [[nodiscard]] std::string evening_text(std::vector<std::string>* faults = nullptr, const Language& language = english());
  /// The farm's heartbeat; nullopt where it has none.
  struct HeartbeatStatus {
    std::string over;
    bool answered = false;       ///< lately
    Instant since{};             ///< when it was answered last; never yet: since when one is waited for
    std::string text;            ///< why the last one was not answered, where that is known
  };
  [[nodiscard]] std::optional<HeartbeatStatus> heartbeat_status() const;
  /// How the farm's tests of its call-out stand.
  struct DrillStatus {
    std::optional<Instant> answered;         ///< the last drill of the whole call-out that somebody answered
    Instant next = kNever;                   ///< by schedule
    std::vector<std::string> not_woken;      ///< people whose phone has not been tested at night, where that is wanted
  };
  [[nodiscard]] DrillStatus drill_status() const;

  /// How long a house leaves people until its air crosses the furthest urgent limit on that side (`high`: its fans
  /// stay off; `low`: its heaters do). nullopt: no such limit is in force, or the air is not known.
  struct Danger {
    std::string rule;                ///< whose limit it is
    double air = 0, limit = 0;       ///< as that rule sees them, canonical
    Unit unit;
    std::optional<double> minutes;   ///< 0: past it; none: never within 12 hours, or not to be told
    std::string by;                  ///< "seen", "learnt", "reckoned"; "unknown" where it cannot be told
    std::vector<std::string> taken;  ///< what that rests on, or what is missing: sentences
  };
  [[nodiscard]] std::optional<Danger> danger(std::size_t house, Limit::Side side);

  // Keeping over a restart.
  /// Everything but readings, as JSON; of these, what people entered on rounds.
  [[nodiscard]] std::string snapshot() const;
  /// What people had entered when a snapshot was made: probe by its full name, time and value, in order.
  struct Entered {
    std::string probe;
    Instant time{};
    double value = 0;
  };
  [[nodiscard]] static std::vector<Entered> snapshot_entries(const std::string& snapshot);
  [[nodiscard]] static Instant snapshot_time(const std::string& snapshot);
  /// Puts back what `snapshot` kept. Call after `begin` and after the readings up to the snapshot's time have
  /// been given to `engine()` again. False: not understood, nothing changed.
  bool restore(const std::string& snapshot);
  /// Goes on after an outage: the gap is no silence of the probes; a step that came due meanwhile comes now, once.
  /// `wall_ahead` as it is now; none: as it was.
  void resume(Instant now, std::optional<Duration> wall_ahead = std::nullopt);
  /// Forgets what the inputs since the last call led to: for readings that only fill windows.
  void forget_effects();

 private:
  struct Mail {                     ///< what one person was told last, by one way
    Instant last_sent{Duration::min()};
    Instant last_alarm{Duration::min()};  ///< the last of them that spoke of an alarm
    Instant flush_at = kNever;
    struct Waiting {
      std::uint64_t alarm = 0;         ///< 0: belongs to none
      unsigned serial = 0;
      int step = 0;
      Priority priority = Priority::note;
      std::string text, in_short;
      std::string in_full;             ///< for a way that has room for it; empty: the text
      Instant not_before{};            ///< good news about lesser things waits until people are up
      std::optional<Stretch> plotted{};  ///< what goes with `in_full`
    };
    std::vector<Waiting> waiting;
  };
  using Mailbox = std::pair<std::string, Way>;

  // watch.cpp: time, events and alarms
  void settle_engine();
  void work_off_own(Instant time);
  [[nodiscard]] Instant own_due() const;
  void handle(const Event& event);
  void condition_event(const Event& event);
  void blindness_event(const Event& event);
  Alarm& raise(Alarm::Subject subject, const std::string& house, const std::string& rule, const std::string& probe,
               Priority priority);
  [[nodiscard]] Alarm* standing(Alarm::Subject subject, const std::string& house, const std::string& rule,
                                const std::string& probe);
  void end(Alarm& alarm, Reason reason);
  void note_alarm(const Alarm& alarm);
  void record(const nlohmann::ordered_json& line, Effect::Kind kind = Effect::Kind::event);
  void built_in(const std::string& house, const std::string& name, const std::string& probe, bool on, Priority priority,
                const Saying& text);
  /// It in the languages of the farm besides English, as it is to be said now.
  [[nodiscard]] Said said_now(const Saying& saying) const;
  [[nodiscard]] std::string new_code();
  void end_orphans();
  void forget_settled();
  void check_minute();
  void check_probes();
  void check_houses();
  void keep_recent();
  void forget_tellings();
  bool join_group(const std::string& group, const std::string& member, Priority priority);
  [[nodiscard]] std::string silent_plugin() const;
  [[nodiscard]] bool house_silent(std::size_t house);
  [[nodiscard]] bool silent_as_a_whole(std::size_t house);
  [[nodiscard]] bool occupied(std::size_t house) const;
  void story(const std::string& text);

  // watch_calls.cpp: call-out
  /// `now`: what is held back otherwise is told, too.
  enum class Telling : std::uint8_t { may_be_held, now };
  void note_first_telling();
  void start_calling(Alarm& alarm, Telling telling = Telling::may_be_held);
  void ease_calling(Alarm& alarm);
  void take_step(Alarm& alarm);
  void step_failed(Alarm& alarm);
  void stop_calling(Alarm& alarm);
  void check_answer(Alarm& alarm);
  void call_again(Alarm& alarm);
  void tell(const std::string& who, const std::vector<Way>& by, const Mail::Waiting& message);
  void plan_flush(Mail& box) const;
  [[nodiscard]] std::string gathered(const std::vector<Mail::Waiting>& messages, bool any_code, const Language& language) const;
  [[nodiscard]] bool is_counted(std::size_t alarms) const;
  void flush(const Mailbox& mailbox);
  void send(const Mailbox& mailbox, std::vector<Mail::Waiting> messages, const std::string& only_path = "");
  void tell_those_told(const Alarm& alarm, const std::string& except, const Saying& text);
  void acknowledge_alarm(Alarm& alarm, const std::string& who);
  void plan_check(Alarm& alarm);
  void tell_daily(const Saying& text, const Saying& in_full = {}, const std::optional<Stretch>& plotted = std::nullopt);
  void schedule_daily();
  void tell_summary();
  void tell_evening();
  [[nodiscard]] Instant within_plan_hours(Priority priority, Instant time) const;
  [[nodiscard]] const CallPlan* plan_of(Priority priority) const;
  [[nodiscard]] Alarm* by_code(const std::string& code);

  // watch_drill.cpp: marked tests
  [[nodiscard]] static bool is_drill(const Alarm& alarm) { return alarm.subject == Alarm::Subject::built_in && alarm.rule == "drill"; }
  Answered begin_drill(const std::string& person, const std::string& path, const std::string& why, const Saying& words);
  void end_drill(Alarm& alarm, bool answered);
  void check_drills();
  void schedule_drills();
  [[nodiscard]] Instant drills_due() const { return std::min({drills_due_.weekly, drills_due_.night, drills_due_.before_placement}); }
  void begin_due_drills();
  void begin_weekly_drill();
  void begin_night_drill();
  void begin_placement_drill();
  void check_overdue_drills();
  [[nodiscard]] Instant last_answered_drill() const;
  [[nodiscard]] bool may_drill() const;
  [[nodiscard]] std::string drills_text(const Language& language) const;

  // watch_heartbeat.cpp: the sign of life to somebody elsewhere
  void schedule_heartbeat();
  void beat();
  void check_heartbeat();
  [[nodiscard]] bool heard_lately() const;

  // watch_day.cpp: what the day's two texts tell
  void keep_day(std::size_t probe, double value);
  void keep_levels();
  void keep_air();
  [[nodiscard]] std::vector<std::string> house_lines(std::size_t house, const Language& language);
  void find_house_faults(std::size_t house, std::vector<std::string>& faults, const Language& language);
  void find_fuel_faults(std::size_t house, std::vector<std::string>& faults, const Language& language) const;
  void find_people_faults(std::vector<std::string>& faults, const Language& language) const;

  // watch_paths.cpp: plugins, and of these the paths by which people are reached
  void check_plugins();
  void test_paths();
  void send_test(const PluginEntry& plugin);
  [[nodiscard]] bool stands_alone(const PluginEntry& plugin) const;
  void note_outcome(const std::string& path, Delivery::Outcome outcome);
  void try_again();

  // watch_replies.cpp: what people send
  void answer(const Person& person, const std::string& text);
  [[nodiscard]] bool note_key(const std::string& key);
  std::string carry_out(const Person& person, const Reply& asked);
  std::string take_answer(const Person& person, const Reply& asked);
  std::string shelve_by_code(const Person& person, const Reply& asked);
  [[nodiscard]] std::vector<std::string> codes_meant(const Person& person, const Reply& asked) const;
  [[nodiscard]] std::optional<std::size_t> only_house(std::optional<std::size_t> measure = std::nullopt) const;
  [[nodiscard]] Instant work_due() const;
  void remind_of_work(Instant time);
  void note_entry(const Effect::Entry& entry);
  void take_entry(std::size_t probe, double value, const std::string& who);
  void keep_entry(std::size_t probe, Instant time, double value);
  /// The unit in which people of this farm are shown what is in `unit`.
  [[nodiscard]] Unit shown(const Unit& unit) const { return shown_in(unit, rules_->farm.units); }
  [[nodiscard]] std::string example_of(std::size_t measure) const;
  [[nodiscard]] std::string entered(double value, const Unit& unit) const;
  [[nodiscard]] std::string tally_text(std::size_t probe, const Language& language) const;
  [[nodiscard]] std::string house_status(std::size_t house, bool in_full, const Language& language);
  [[nodiscard]] std::string status_text(std::optional<std::size_t> only, const Language& language);

  // watch_duty.cpp: who has duty
  [[nodiscard]] std::string swap_trouble(const std::string& one, const std::string& other, Date date) const;
  [[nodiscard]] std::string swapped_turns(Date date) const;

  // watch_holding.cpp: what is told later, once, or not at all for a while
  [[nodiscard]] const Alarm* cause_of(const Alarm& alarm, bool only_told) const;
  [[nodiscard]] bool watches_itself(const std::string& house, const std::string& rule) const;
  [[nodiscard]] bool told_by_blindness(const Alarm& alarm);
  bool hold_back(Alarm& alarm);
  void release(Alarm& alarm);
  void release_followers(const Alarm& cause);
  void note_return(const Alarm& alarm);
  [[nodiscard]] std::size_t returns_of(const Alarm& alarm) const;
  [[nodiscard]] bool urgent_again(const Alarm& alarm) const;
  bool chattering(const Alarm& alarm);
  void forget_returns();
  void unshelve(const std::string& house, const std::string& rule, const Saying& reason);
  bool unshelve_if_urgent(const std::string& house, const std::string& rule, Priority priority);

  // watch_danger.cpp: minutes until the air harms birds
  struct Harm {
    std::size_t rule = 0;
    double air = 0, limit = 0;  ///< canonical
  };
  [[nodiscard]] std::optional<Harm> harm(std::size_t house, Limit::Side side);
  [[nodiscard]] double pace_towards(std::size_t rule, Limit::Side side) const;
  void reckon_heat(std::size_t house, Danger& danger) const;
  void reckon_cold(std::size_t house, Danger& danger) const;
  [[nodiscard]] std::optional<double> outside_c(std::size_t house, std::string& from) const;
  void learn_houses();
  [[nodiscard]] std::optional<Limit::Side> side_of_air(std::size_t rule) const;
  [[nodiscard]] std::string harm_text(const Alarm& alarm, std::size_t rule, const Language& language);

  // watch_words.cpp: texts
  [[nodiscard]] std::string alarm_text(const Alarm& alarm, const Language& language);
  [[nodiscard]] std::string head(const Alarm& alarm, const Language& language);
  [[nodiscard]] std::string trend_text(const Alarm& alarm, std::size_t rule, const Language& language);
  [[nodiscard]] std::string back_text(const Alarm& alarm, Reason reason, const Language& language);
  [[nodiscard]] std::optional<std::size_t> rule_of(const Alarm& alarm) const;

  std::shared_ptr<const RuleSet> rules_;
  std::unique_ptr<Engine> engine_;
  Instant now_{};
  bool begun_ = false;
  std::vector<Effect> effects_;

  std::map<std::uint64_t, Alarm> alarms_;       ///< that are not normal, by id
  std::uint64_t alarm_count_ = 0;
  std::uint64_t code_count_ = 0, long_code_count_ = 0;      ///< each kind of code is given in turn
  std::map<std::string, Instant> codes_used_;               ///< two letters and digits: when given last
  std::map<std::string, Delivery> deliveries_;  ///< open ones
  std::uint64_t delivery_count_ = 0;
  std::map<Mailbox, Mail> mailboxes_;
  std::map<std::string, std::vector<std::string>> last_codes_;  ///< person: codes in the last text
  std::vector<DutySwap> swaps_;                 ///< in the order in which they were made
  Instant minute_due_ = kNever;
  Instant summary_due_ = kNever;
  Instant evening_due_ = kNever;
  Instant summary_from_{};
  struct Night {                                ///< for the morning summary
    std::string house, what, who;
    Instant raised{};
    std::optional<Instant> returned;
    Priority priority = Priority::note;
    std::uint64_t alarm = 0;
    Said whats{};                               ///< `what` in the farm's other languages
  };
  std::vector<Night> night_;
  /// "COLD 02:26-03:00 (tomas)", one for each call of the night from that house.
  [[nodiscard]] std::vector<std::string> calls_from(const std::string& house, const Language& language) const;
  std::vector<Instant> unusable_since_;         ///< by probe; kNever: it is usable, or the house is empty
  std::map<std::string, Instant> silent_since_; ///< by house
  std::vector<std::deque<double>> recent_;      ///< by rule: what it saw in the last minutes, for how fast things get worse
  struct Learnt {
    double value = kUnknown;
    Instant seen{};
  };
  struct Pace {                                 ///< how a house warms without fans and cools without heaters
    std::deque<double> air_c;                   ///< its middle, of the last minutes
    unsigned fans_off_min = 0, heaters_off_min = 0;
    Learnt rise_k_min, constant_min;            ///< the fastest of the last day
  };
  std::map<std::string, Pace> paces_;           ///< by house
  std::deque<Instant> told_lately_;             ///< when alarms were told for the first time, within the last 10 min
  bool flood_ = false;
  struct Plugin {
    bool up = false;
    Instant since{};
    std::string text;
  };
  std::map<std::string, Plugin> plugins_;
  struct Path {
    std::optional<Instant> sent, proven;
    unsigned failures = 0;                      ///< in a row
    std::optional<Instant> tested{};            ///< when a message went out for its sake
  };
  std::map<std::string, Path> paths_;           ///< by plugin
  std::map<std::string, std::deque<std::pair<Instant, Priority>>> returns_;  ///< of the last hour, by subject, house, rule and probe
  struct Work {
    Instant until{};
    std::string who;
    bool reminded = false;
  };
  std::map<std::string, Work> works_;           ///< by house
  struct LastEntered {
    std::string probe;
    double value = 0;
    std::optional<double> before;
  };
  std::map<std::string, LastEntered> last_entered_;  ///< by person
  std::map<std::string, std::vector<std::pair<Instant, double>>> entries_;  ///< of rounds and tallies, by the probe's full name
  struct Drilled {
    Instant begun{};
    std::optional<Duration> answered_after;
  };
  std::map<std::string, Drilled> drilled_;      ///< by person ("": the whole call-out): the last drill that ended
  std::optional<Instant> call_out_answered_;    ///< begin of the last drill of the whole call-out that was answered
  std::map<std::string, Instant> woken_;        ///< person: begin of the last drill at night that he or she answered
  std::map<std::string, Instant> night_tried_;  ///< person: begin of the last night drill by schedule
  Instant drills_from_{};                       ///< no drill was expected before
  struct DrillsDue {
    Instant weekly = kNever, night = kNever, before_placement = kNever;
  };
  DrillsDue drills_due_;
  struct Heard {
    Instant due = kNever;                       ///< of the next heartbeat
    Instant since{};                            ///< as in HeartbeatStatus
    bool ever = false;
    std::string text;
  };
  Heard heard_;
  /// Since the last summary: by full name of the probe.
  struct Day {
    double lowest = 0, highest = 0, sum = 0, first = 0;
    std::size_t count = 0;
  };
  std::map<std::string, Day> day_;
  std::map<std::string, std::deque<std::pair<Instant, double>>> levels_;  ///< of gas and fuel, by the hour
  std::map<std::string, std::deque<AirSpan>> air_;  ///< by house, see air_kept
  std::map<std::string, Instant> replies_taken_;  ///< by key: when
  std::map<std::string, Instant> helped_;       ///< person: when told how to answer, since when nothing was understood
  std::map<std::pair<std::string, std::string>, Shelving> shelved_;  ///< by house and rule
  std::map<std::string, std::pair<Instant, std::uint64_t>> blind_groups_;  ///< house, or "/" and plugin: last joined, alarm
};

}  // namespace underwing
