#pragma once

#include <array>
#include <chrono>
#include <deque>
#include <map>
#include <memory>
#include <string>
#include <string_view>

#include "daemon/child_process.hpp"
#include "daemon/line_buffer.hpp"
#include "daemon/plugin_host.hpp"

namespace underwing {

/// One plugin kept up: the process, its streams, what waits to be sent to it, and its back-off. Knows lines, but
/// not what stands in them. Internal to the host; lives in the loop's thread.
class SupervisedPlugin : public std::enable_shared_from_this<SupervisedPlugin> {
 public:
  struct Events {
    std::function<void(SupervisedPlugin&, std::string_view line)> on_line;
    std::function<void(SupervisedPlugin&)> on_state;
    std::function<void(const std::string& plugin, const std::string& line)> on_log;
  };
  SupervisedPlugin(EventLoop& loop, PluginSpec spec, std::string program, const PluginLimits& limits, Events events);
  ~SupervisedPlugin();

  void start();
  void stop();
  /// Ends the process at once and for good, without a word to anybody.
  void kill();
  [[nodiscard]] bool running() const { return run_ != nullptr; }
  [[nodiscard]] bool ended() const { return stopping_ && !run_; }

  /// To be sent once, to the process that runs now.
  void send(std::string line);
  void send_alarm(const std::string& key, std::string line);
  void send_delivery(const std::string& delivery, std::string line);
  void answered(const std::string& delivery) { unanswered_.erase(delivery); }

  /// It has said something that was understood.
  void alive();
  void not_understood(std::string_view line, std::uint64_t count = 1);
  void dropped_reading();

  [[nodiscard]] PluginStatus& status() { return status_; }

 private:
  using Clock = std::chrono::steady_clock;
  struct Run;
  struct Outgoing {
    enum class Kind : std::uint8_t { once, alarm, delivery };
    Kind kind = Kind::once;
    std::string key;
    std::string line;
    Clock::time_point queued;
  };
  struct Unanswered {
    std::string line;
    Clock::time_point taken;
  };

  void set_state(PluginState state, std::string text = {});
  void begin_run();
  void queue_for_new_run();
  void enqueue(Outgoing item);
  void restart_later(const std::string& how);
  void on_ended();
  void wait_for_output();
  void wait_after_a_breath();
  void wait_for_errors();
  void wait_for_end();
  bool read_output();
  bool read_errors();
  void log_line(std::string_view line);
  void write_some();
  void wait_to_write();
  void written();
  void tick();
  void check_deliveries(Clock::time_point now);
  void check_silence(Clock::time_point now);
  void say_suppressed(Clock::time_point now);
  void complain(Clock::time_point now);
  void end_softly();

  EventLoop& loop_;
  PluginSpec spec_;
  std::string program_;
  PluginLimits limits_;
  Events events_;
  PluginStatus status_;

  std::shared_ptr<Run> run_;
  std::deque<Outgoing> outgoing_;
  std::size_t sent_bytes_ = 0;           ///< of the first one's line
  std::map<std::string, Unanswered> unanswered_;
  bool stopping_ = false;
  Duration back_off_;
  LoopTimer restart_timer_, tick_timer_, stop_timer_, breath_timer_;

  Clock::time_point log_second_{};
  int logged_ = 0;
  std::uint64_t suppressed_ = 0;
  Clock::time_point complained_{};
  std::uint64_t complaints_ = 0;         ///< lines not understood since the last time it was said
  std::uint64_t drops_ = 0;              ///< readings dropped, likewise
  bool has_complained_ = false;
};

}  // namespace underwing
