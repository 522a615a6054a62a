#pragma once

#include <array>
#include <cstdint>
#include <map>
#include <memory>
#include <optional>
#include <string>
#include <string_view>
#include <variant>
#include <vector>

#include "rules/base/time.hpp"
#include "rules/base/units.hpp"
#include "rules/base/zone.hpp"
#include "rules/language/ast.hpp"

/// What the files of a farm say, loaded and checked. Built once by the loader, then immutable; a reload
/// builds a new one. Everything is sorted by name (houses, probes in a measure, packs, rules), which is also
/// the order of events of one instant.
namespace underwing {

struct Language;

enum class Priority : std::uint8_t { note, soon, urgent };
enum class MeasureKind : std::uint8_t { gauge, counter, state, sample, tally, round };
enum class Way : std::uint8_t { text, call, mail, web_hook };

[[nodiscard]] const char* to_string(Priority priority);    // "note", "soon", "urgent"
[[nodiscard]] const char* to_string(MeasureKind kind);
[[nodiscard]] const char* to_string(Way way);              // "text", "call", "mail", "web-hook"

struct Measure {
  std::string name;
  Unit unit;
  MeasureKind kind = MeasureKind::gauge;
  double plausible_low = 0;   ///< in `unit`; readings outside fail the gross range test
  double plausible_high = 0;
  Duration stale_after{};
  std::optional<double> max_rate_per_min;  ///< in `unit` per minute: rate of change test
  std::optional<Duration> flat_after;      ///< flat line test (gauges only)
  std::optional<double> max_apart;         ///< in `unit`: neighbour test
};

/// One probe of a house. Its readings form one series.
struct Probe {
  std::size_t house = 0;    ///< index into RuleSet::houses
  std::size_t measure = 0;  ///< index into RuleSet::measures
  std::string name;
  /// The measure as it holds for this house (the house's flock may adjust it). Unit and kind never differ.
  Measure quality;
};

struct House {
  std::string name;
  /// For each measure with probes here: measure index -> probe indices into RuleSet::probes, sorted by name.
  std::map<std::size_t, std::vector<std::size_t>> probes;
  std::optional<double> volume_m3{};  ///< of air, for how fast it heats up
  /// How it cools without heaters: after that time it has lost 63 % of what it was warmer than outside.
  std::optional<Duration> time_constant{};
  std::optional<double> outside_c{};  ///< to reckon with where no probe tells how cold it is outside
};

struct Curve {
  std::string name;
  Unit unit;
  /// Age (may be negative) and value in canonical units; ages strictly rising; straight lines between,
  /// level outside.
  std::vector<std::pair<Duration, double>> points;
  std::string source;
  std::string words{};  ///< how the pack's sentences speak of it; empty: by its name
};

struct Flock {
  std::string name;
  std::size_t house = 0;
  Instant placed{};                 ///< wall time
  std::optional<Instant> cleared;   ///< wall time
  std::optional<std::pair<Instant, Instant>> unloading;  ///< wall times, on the day of placement
  double birds = 0;
  double chick_weight_g = 0;
  std::optional<double> goal_day_7_g;
  int first_day = 0;                ///< 0 or 1: how people count the day of placement
  /// Hours of light by age, a step table; empty: no plan.
  std::vector<std::pair<Duration, Duration>> lights;
  Duration lights_on{};             ///< local time of day
  std::vector<std::string> packs;
  /// Brooding in a part of the house: indices of probes that count for nothing before that age, in whole minutes.
  std::map<std::size_t, Duration> counts_from{};

  /// The age from which a probe of its house counts, as long as that has not come; nullopt: it counts.
  [[nodiscard]] std::optional<Duration> waits_for(std::size_t probe, Instant wall) const;
};

/// Whether a probe of its house counts for that flock; without one (null) all do.
[[nodiscard]] inline bool counts(const Flock* flock, std::size_t probe, Instant wall) { return flock == nullptr || !flock->waits_for(probe, wall); }

struct Limit {
  enum class Side : std::uint8_t { low, high, when };
  Side side = Side::low;
  ExpressionPtr expression;  ///< a number of the watch's type; of `when`: logic
  Priority priority = Priority::note;
  Unit unit;                 ///< for showing the limit
};

/// A rule as it stands in a pack, after the flock's adjustments, with names resolved for one house.
/// Under `each: probe` there is one for every probe.
struct WatchedRule {
  std::size_t house = 0;
  std::optional<std::size_t> flock;  ///< index into RuleSet::flocks; none: a pack of the farm
  std::string pack;
  std::string name;
  std::optional<std::size_t> probe;  ///< under `each: probe`: index into RuleSet::probes

  std::string head;  ///< what is wrong in a few words, for the first of a text; empty where the pack does not say
  std::string about, cause, consequence, action, source;  ///< `action` is the key `do`
  /// `head`, `about` and `do` in other languages, by their names; empty where the pack does not say.
  struct Words {
    std::string head, about, action;
  };
  std::map<std::string, Words> in;
  ExpressionPtr watch;               ///< none where the rule has `when`
  std::string watch_text;
  Unit unit;                         ///< for showing the watched value and its limits
  std::vector<Limit> limits;         ///< `low`, then `high`; or the list of `limits`; or the one `when`
  bool staged = false;               ///< limits came from the list `limits`: later is worse
  double deadband = 0;               ///< canonical, a difference
  Duration on_delay{}, off_delay{};
  std::optional<Duration> ahead;
  std::optional<Duration> from, until;  ///< flock ages; none: not bounded (packs of the farm)
  Duration blind_after = std::chrono::minutes(10);
  std::optional<Duration> respond_within;
  ExpressionPtr only_if;
  std::vector<std::string> follows;
  bool even_during_work = false;
  bool latch = false;

  std::vector<std::shared_ptr<const Curve>> curves;  ///< those that the expressions name, by index

  [[nodiscard]] Priority worst_priority() const;
};

struct Person {
  std::string name;
  std::map<Way, std::string> addresses;  ///< numbers and mail addresses
  std::optional<Duration> away;
  /// First and last date of each time off, of the farm's calendar counted as if it were UTC.
  std::vector<std::pair<std::chrono::sys_days, std::chrono::sys_days>> off{};
  std::string language{};  ///< in which they are told; empty: the farm's
};

/// As files have them; bit 0 of `days` is the first.
inline constexpr std::array<std::string_view, 7> kWeekdays{"Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun"};

struct DutyShift {
  std::string who;
  std::uint8_t days = 0x7f;     ///< bit 0 Monday … bit 6 Sunday: the day on which the shift begins
  bool all_day = true;          ///< no `from` and `to`
  Duration from{}, to{};        ///< local times of day; `to` at or before `from`: over midnight
};

struct CallStep {
  Duration after{};
  std::vector<std::string> tell;  ///< names of people; or the single words "on-duty", "everyone"
  std::vector<Way> by;
  std::optional<Duration> then_every;
};

struct CallPlan {
  std::optional<std::pair<Duration, Duration>> hours;  ///< local times of day within which it may speak
  std::vector<CallStep> steps;
  std::optional<Duration> daily;                       ///< of `note`: once a day at this local time
};

struct PluginEntry {
  std::string name;
  std::string run;               ///< a bundled plugin's name or a path
  std::string settings_json;     ///< the YAML settings as a JSON object, see rules/files/settings.hpp
  std::optional<std::vector<Way>> carries;
  std::vector<std::string> arguments;
};

/// A sign of life to somebody elsewhere, who notices when it stays away.
struct Heartbeat {
  std::string over;              ///< the plugin that carries it
  std::string to;                ///< a topic, or the address of a web hook
  Duration every = std::chrono::minutes(1);
};

/// When the call-out is tested by itself. Times are local times of day.
struct DrillPlan {
  struct Weekly {
    std::uint8_t days = 0;       ///< bit 0 Monday … bit 6 Sunday
    Duration at{};
  };
  std::optional<Weekly> weekly;              ///< the whole call-out
  std::optional<Duration> night;             ///< each person once
  std::optional<Duration> before_placement;  ///< the whole call-out, on the day before chicks come
};

struct Farm {
  std::string name;
  Zone zone;
  std::vector<PluginEntry> plugins;  ///< in the order of the file
  std::vector<Person> people;        ///< in the order of the file
  std::vector<DutyShift> duty;
  std::map<Priority, CallPlan> call_out;
  std::string language = "en";            ///< in which people are told where they name none of their own
  Units units = Units::metric;            ///< in which people are shown values
  double altitude_m = 0;                  ///< above the sea; the air's pressure follows from it
  std::optional<Duration> evening_check;  ///< local time of day
  std::optional<Heartbeat> heartbeat;
  DrillPlan drills;
  std::vector<std::string> packs;         ///< packs that belong to no flock
};

/// A rule that is not in force in a house because no probe there gives its measure.
struct Unwatched {
  std::size_t house = 0;
  std::string pack, rule, measure;
};

struct RuleSet {
  Farm farm;
  std::vector<Measure> measures;    ///< built-in ones and those of packs, sorted by name
  std::vector<House> houses;        ///< sorted by name
  std::vector<Probe> probes;        ///< sorted by house, measure, name
  std::vector<Flock> flocks;        ///< sorted by name
  std::vector<WatchedRule> rules;   ///< sorted by house, pack, rule, probe
  std::vector<Unwatched> unwatched;
  std::map<std::string, std::shared_ptr<const Language>> languages;  ///< those that the farm or its people name, but English
  std::string hash;                 ///< of all texts that it was loaded from; 16 hex digits

  [[nodiscard]] std::optional<std::size_t> find_house(std::string_view name) const;
  [[nodiscard]] std::optional<std::size_t> find_measure(std::string_view name) const;
  /// Probe index for "house/measure/probe"; nullopt where the farm names no such probe.
  [[nodiscard]] std::optional<std::size_t> find_probe(std::string_view full_name) const;
  [[nodiscard]] std::string full_name(std::size_t probe) const;
  /// The language of that name; English where it is not loaded.
  [[nodiscard]] const Language& language(const std::string& name) const;
  /// The flock that is, or next will be, in the house at this wall time.
  [[nodiscard]] std::optional<std::size_t> flock_in(std::size_t house, Instant wall) const;
  /// The age from which a probe counts for the flock that is, or next will be, in its house; nullopt: it counts.
  [[nodiscard]] std::optional<Duration> waits_for(std::size_t probe, Instant wall) const;
};

}  // namespace underwing
