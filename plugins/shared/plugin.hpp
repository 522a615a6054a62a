#pragma once

#include <chrono>
#include <deque>
#include <map>
#include <nlohmann/json.hpp>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "plugins/shared/line_reader.hpp"
#include "plugins/shared/settings.hpp"

namespace underwing {

/// A text that the daemon wants somebody to get.
struct Delivery {
  std::string id;  ///< "d-000017"
  std::string to;  ///< a number or an address
  std::string by;  ///< "text", "call", "mail", "web-hook"
  std::string text;
  std::string who;       ///< the person's name
  std::string priority;  ///< "urgent", "soon", "note"
  nlohmann::json plots{};  ///< what a mail may show besides, as it came; null: nothing
};

/// A sign of life of the daemon, to be passed on to whoever listens elsewhere.
struct Beat {
  nlohmann::json id;    ///< of the request
  std::string to;       ///< a topic or an address
  nlohmann::json says;  ///< an object: "farm", "time", "beating": true, "alarms"
};

/// A plugin's end of the line protocol (plugins/README.md): reads lines from standard input, writes them in
/// batches to standard output, ends when the input ends or `stop` comes. One thread runs everything but
/// `wake`, which any thread may call. Derive from it, override what the plugin does, call `run` from main.
class Plugin {
 public:
  using Clock = std::chrono::steady_clock;

  /// `does`: a subset of read, deliver, publish, step.
  Plugin(std::string name, std::vector<std::string> does);
  virtual ~Plugin();
  Plugin(const Plugin&) = delete;
  Plugin& operator=(const Plugin&) = delete;

  /// Returns the exit status: 0 after `stop` or the end of the input, 2 where the loop cannot run.
  int run();

  /// Has `on_wake` called soon on the thread of `run`. From any thread. Wakes are gathered: `on_wake` comes
  /// at once, then again at most every `kGather`, so that a busy source costs few system calls.
  void wake();
  static constexpr std::chrono::milliseconds kGather{10};

 protected:
  /// Once, first. May throw SettingsError: that goes out as health and to standard error, `hello` does not.
  virtual void on_settings(Settings& settings) = 0;
  /// Answer with `receipt`, now or later. A repeated id does not come here: its last receipt is sent again.
  virtual void on_deliver(const Delivery& delivery);
  virtual void on_alarm(const nlohmann::json& alarm);
  /// Answer with `answer_beat` once it is known whether the other end has it. Without this, none is carried.
  virtual void on_heartbeat(const Beat& beat);
  /// Engine time is now `time` (seconds since 1970): do what falls due up to then. Answered on return.
  virtual void on_step(double time);
  /// The daemon has settled everything up to `time`, asked for by `ask_step`.
  virtual void on_settled(double time);
  /// The daemon's journal has the reply of this key.
  virtual void on_taken(const std::string& key);
  virtual void on_wake();
  /// Does what is due and returns when it wants to be called again; nullopt: when anything else happens.
  virtual std::optional<Clock::time_point> on_time(Clock::time_point now);
  virtual void on_stop();

  /// Lines that go out at the end of this turn. Append whole lines only.
  [[nodiscard]] std::string& lines() { return out_; }
  /// Writes what waits; blocks while the reader is slow.
  void flush();
  void health(bool ok, const std::string& text);  ///< says it only when it changed
  void receipt(const std::string& delivery, std::string_view outcome, const std::string& text);
  /// `time`: when it was said, seconds since 1970, where that is known. With a `key` the daemon says when it has it
  /// (`on_taken`), and takes it once, however often it is handed over.
  void reply(const std::string& from, std::string_view by, const std::string& text,
             std::optional<double> time = std::nullopt, const std::string& key = {});
  void answer_beat(const nlohmann::json& id, bool answered, const std::string& text);
  void ask_step(double time);
  [[nodiscard]] bool started() const { return started_; }

 private:
  void send(const nlohmann::json& message);
  void take_line(std::string_view line);
  void take_message(const nlohmann::json& message);
  void take_settings(const nlohmann::json& params);
  void take_delivery(const nlohmann::json& params);
  void take_answer(const nlohmann::json& message);
  void wait_for_input();
  void read_input();
  void take_wakes();

  std::string name_;
  std::vector<std::string> does_;
  LineReader reader_;
  std::string out_;
  int wake_fd_ = -1;
  bool ended_ = false;
  bool started_ = false;
  bool output_broken_ = false;
  Clock::time_point gather_until_{};
  std::optional<Clock::time_point> due_;
  std::optional<std::pair<bool, std::string>> last_health_;
  std::map<std::string, nlohmann::json> receipts_;  ///< by delivery, the newest kReceiptsMax
  std::deque<std::string> receipt_order_;
  std::map<std::int64_t, double> asked_;  ///< request id -> time
  std::map<std::int64_t, std::string> handed_;  ///< request id -> key of a reply
  std::int64_t last_id_ = 0;
};

/// Handles --help and --version and refuses anything else. Returns an exit status, or nullopt to go on.
[[nodiscard]] std::optional<int> answer_options(int argc, char** argv, std::string_view name,
                                                std::string_view help);

/// A text of a JSON object; empty where it is missing or no text.
[[nodiscard]] std::string text_of(const nlohmann::json& object, const char* key);

}  // namespace underwing
