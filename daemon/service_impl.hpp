#pragma once

#include <deque>
#include <memory>
#include <nlohmann/json.hpp>
#include <optional>
#include <set>
#include <string>
#include <vector>

#include "daemon/clock.hpp"
#include "daemon/control_server.hpp"
#include "daemon/event_loop.hpp"
#include "daemon/farm_files.hpp"
#include "daemon/intake.hpp"
#include "daemon/journal.hpp"
#include "daemon/notify.hpp"
#include "daemon/plugin_host.hpp"
#include "daemon/recorder.hpp"
#include "daemon/service.hpp"
#include "daemon/story.hpp"
#include "daemon/tape_thread.hpp"
#include "daemon/watch.hpp"
#include "rules/files/load.hpp"

namespace underwing {

/// The parts of the service and what passes between them. service.cpp starts and stops it, service_inputs.cpp
/// takes what comes in, service_effects.cpp carries out what the watch wants, service_control.cpp answers
/// commands.
struct Service::Impl {
  explicit Impl(ServiceOptions given);

  // service.cpp
  int run();
  bool load();
  void open_memory();
  void begin();
  void go_on_from(const SnapshotRow& snapshot, Instant now, Duration wall_ahead);
  void start_plugins();
  void tick();
  void stop();
  void log(const std::string& sentence);
  [[nodiscard]] Instant engine_now();

  // service_inputs.cpp
  void on_reading(const std::string& plugin, const SenmlRecord& record);
  void on_message(const std::string& plugin, const std::string& method, const nlohmann::json& params);
  void on_request(const std::string& plugin, const nlohmann::json& id, const std::string& method,
                  const nlohmann::json& params);
  void on_answer(const std::string& plugin, std::uint64_t id, const nlohmann::json& result);
  void on_state(const PluginStatus& status);
  EngineClock::Reading read_clock();
  void settle_step();

  // service_effects.cpp
  void apply();
  void hand_over(std::uint64_t batch);
  void tell_taken();
  void hand(const Delivery& delivery);
  bool hand_on(const Delivery& delivery, const std::string& after);
  bool another_path(const std::string& plugin, const nlohmann::json& params);
  void send_heartbeat(const Effect& effect);
  void publish(const Alarm& alarm);
  void tell_story(const Effect& effect);
  void keep_minute(std::size_t probe, Instant time, double value);
  void flush_minutes(Instant before);

  // service_keep.cpp
  void forget_old(JournalTransaction& transaction);
  void forget_old_tapes();
  void say_forgotten();

  // service_control.cpp
  Result<nlohmann::json> command(const std::string& method, const nlohmann::json& params);
  nlohmann::json status();
  nlohmann::json list_alarms();
  Result<nlohmann::json> reload(const std::string& who);
  [[nodiscard]] Result<nlohmann::json> duty(const nlohmann::json& params) const;
  [[nodiscard]] nlohmann::json alarm_json(const Alarm& alarm) const;

  ServiceOptions options;
  EventLoop loop;
  std::shared_ptr<const RuleSet> rules;
  std::unique_ptr<Watch> watch;
  std::unique_ptr<Recorder> recorder;
  std::unique_ptr<Intake> intake;
  std::unique_ptr<Story> story;
  std::unique_ptr<SystemClock> system_clock;
  std::unique_ptr<EngineClock> clock;          ///< none where time comes from readings
  EngineClock::Reading turn_clock;             ///< as read for this turn
  Notifier notifier;
  std::chrono::steady_clock::time_point alive_at{};
  std::unique_ptr<Journal> journal;
  std::unique_ptr<TapeThread> tape;
  std::unique_ptr<PluginHost> plugins;
  std::unique_ptr<ControlServer> control;
  LoopTimer timer{loop};
  LoopTimer step_guard{loop};
  JournalIds ids;
  bool stopping = false;
  std::vector<Delivery> on_their_way;          ///< when the last run ended
  bool opened = false;                         ///< the story's opening has been told

  std::map<std::string, std::string> health;   ///< plugin: what it last said is wrong; none: fine
  std::uint64_t refused_ahead = 0;             ///< readings more than 2 min ahead of engine time

  std::map<std::pair<std::string, std::uint64_t>, Instant> beats;  ///< heartbeats without an answer, by plugin and request

  /// Effects whose journal transaction is under way; deliveries and publications wait for it, for at most 2 s.
  struct Batch {
    std::uint64_t number = 0;
    std::chrono::steady_clock::time_point since;
    std::vector<Delivery> deliveries;
    std::vector<Alarm> alarms;
  };
  std::deque<Batch> batches;
  std::uint64_t batch_count = 0;

  /// Replies that their plugins keep until the journal has what they led to.
  struct Untold {
    std::uint64_t batch = 0;
    std::string plugin;
    nlohmann::json id;
  };
  std::deque<Untold> untold;
  std::uint64_t submitted = 0, written = 0;    ///< the newest batch that the journal was given, and that it has

  struct Minute {
    Instant begin{};
    double low = 0, high = 0, sum = 0;
    std::uint32_t count = 0;
  };
  JournalForgotten forgotten;                  ///< since that was last said
  TapesForgotten tapes_forgotten;
  Instant said_forgotten{};
  Instant tapes_looked_at{};
  std::vector<Minute> minutes;                 ///< by probe

  /// A step that a plugin asked for and that is not settled yet.
  struct Step {
    std::string plugin;
    nlohmann::json id;
    nlohmann::json params;
    bool asked = false;
    std::set<std::pair<std::string, std::uint64_t>> open;  ///< plugins that have not answered yet
  };
  std::optional<Step> step;
};

}  // namespace underwing
