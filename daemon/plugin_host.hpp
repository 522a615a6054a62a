#pragma once

#include <cstdint>
#include <filesystem>
#include <functional>
#include <memory>
#include <string>
#include <vector>

#include <nlohmann/json_fwd.hpp>

#include "daemon/event_loop.hpp"
#include "daemon/senml.hpp"
#include "rules/base/time.hpp"

/// Plugins as processes that speak lines (plugins/README.md). The host starts them, watches them, starts them
/// again with back-off, and keeps any crash, hang or flood of theirs away from the watch.
namespace underwing {

struct PluginSpec {
  std::string name;                    ///< in the farm file
  std::string run;                     ///< a bundled plugin's name, or a path relative to the farm's folder
  std::vector<std::string> arguments;
  std::string settings_json = "{}";
};

enum class PluginState : std::uint8_t {
  started,  ///< runs; has not said hello
  ready,    ///< said hello, or gave a reading
  silent,   ///< runs, but said nothing that could be understood for `silent_after`
  exited,   ///< is down, and is started again after a while
  stopped   ///< ended because we asked it to
};
[[nodiscard]] const char* to_string(PluginState state);

struct PluginStatus {
  std::string name;
  PluginState state = PluginState::exited;
  std::string text;                    ///< of `exited`: how; "ended with status 1"
  int pid = -1;                        ///< -1: does not run
  std::vector<std::string> does;       ///< from its hello
  std::uint64_t starts = 0;
  std::uint64_t readings = 0;          ///< taken off its output
  std::uint64_t readings_dropped = 0;  ///< oldest first, while too many waited
  std::uint64_t not_understood = 0;    ///< lines and records, too long ones included
  std::string not_understood_last;     ///< its first 200 bytes
};

/// Every limit has the value of the protocol; tests shorten them.
struct PluginLimits {
  std::size_t line_bytes = 1U << 20U;
  std::size_t readings_waiting = 100'000;
  std::size_t readings_a_turn = 1'000;
  int log_lines_a_second = 100;
  Duration deliver_within = std::chrono::seconds(10);
  Duration receipt_within = std::chrono::seconds(60);
  Duration stop_within = std::chrono::seconds(2);
  Duration back_off_min = std::chrono::seconds(1);
  Duration back_off_max = std::chrono::seconds(60);
  Duration settled_after = std::chrono::seconds(60);  ///< up that long: back-off begins anew
  Duration silent_after = std::chrono::seconds(30);
  Duration complain_every = std::chrono::minutes(1);
};

struct PluginHandlers {
  /// Before each bounded batch of readings, requests and answers: the moment to read a clock for all of them.
  std::function<void()> on_turn;
  /// A resolved reading. Views are good during the call.
  std::function<void(const std::string& plugin, const SenmlRecord& reading)> on_reading;
  /// A notification: goes ahead of readings. `hello` comes here too, after the state has changed.
  std::function<void(const std::string& plugin, const std::string& method, const nlohmann::json& params)> on_message;
  /// A request, to be answered with respond(): keeps its place behind the readings that came before it, but for `reply`,
  /// which goes ahead of them.
  std::function<void(const std::string& plugin, const nlohmann::json& id, const std::string& method,
                     const nlohmann::json& params)> on_request;
  /// The answer to request(), likewise behind the readings.
  std::function<void(const std::string& plugin, std::uint64_t id, const nlohmann::json& result)> on_answer;
  std::function<void(const PluginStatus& status)> on_state;
  /// A line for our log: of its standard error, or about it.
  std::function<void(const std::string& plugin, const std::string& line)> on_log;
};

/// Belongs to the loop's thread, which must live as long as the service: plugins die with it.
class PluginHost {
 public:
  /// `now` gives engine time, to which relative times of readings count.
  PluginHost(EventLoop& loop, std::filesystem::path farm_folder, std::function<Instant()> now,
             PluginHandlers handlers, PluginLimits limits = {});
  /// Kills what still runs.
  ~PluginHost();
  PluginHost(const PluginHost&) = delete;
  PluginHost& operator=(const PluginHost&) = delete;

  /// Starts a plugin and keeps it up. One of the same name is stopped first.
  void start(const PluginSpec& spec);
  /// Sends `stop`; after 2 s SIGTERM; after 2 s more SIGKILL to the group.
  void stop(const std::string& plugin);
  /// Stops all and calls `done` once none is left.
  void stop_all(std::function<void()> done);

  /// Hands over a message for a person. Kept until the plugin has taken it: not taken within 10 s of its turn, the
  /// plugin is killed and started again, and gets it again. One that it took without a receipt within 60 s is given again
  /// after a restart, too. False: there is no such plugin.
  [[nodiscard]] bool deliver(const std::string& plugin, const std::string& delivery, const nlohmann::json& params);
  /// An alarm's newest state; one of the same key that still waits is replaced. Never waits.
  void alarm(const std::string& plugin, const std::string& key, const nlohmann::json& params);
  /// Asks the plugin; gives the id that on_answer will name. 0: it does not run.
  std::uint64_t request(const std::string& plugin, const std::string& method, const nlohmann::json& params);
  void respond(const std::string& plugin, const nlohmann::json& id, const nlohmann::json& result);

  [[nodiscard]] std::vector<PluginStatus> statuses() const;
  [[nodiscard]] std::size_t readings_waiting() const;

 private:
  struct Impl;
  std::shared_ptr<Impl> impl_;
};

/// The program for a plugin's `run`: a word is a bundled plugin in UNDERWING_PLUGINS, else in the build's or the
/// installed folder; with a slash it is a path, relative to the farm's folder.
[[nodiscard]] std::string plugin_program(const std::string& run, const std::filesystem::path& farm_folder);

}  // namespace underwing
