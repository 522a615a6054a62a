#pragma once

#include <functional>
#include <memory>
#include <vector>

#include "rules/base/time.hpp"

/// The one thread in which the service does its work. Asio stays behind these two classes.
namespace underwing {

class EventLoop {
 public:
  EventLoop();
  ~EventLoop();
  EventLoop(const EventLoop&) = delete;
  EventLoop& operator=(const EventLoop&) = delete;

  /// Runs until stop(). Everything else of the loop's users happens inside, in the calling thread.
  void run();
  /// Runs what is ready and waits at most this long for something to be; for tests and for the last moments.
  void run_for(Duration span);
  /// Ends run() after the handler that runs now. From any thread.
  void stop();
  /// Runs `work` in the loop, later. From any thread.
  void post(std::function<void()> work);
  /// Calls `handler` with each of these signals, in the loop. Once only.
  void on_signals(const std::vector<int>& signals, std::function<void(int)> handler);

  struct Impl;
  [[nodiscard]] Impl& impl() { return *impl_; }

 private:
  std::unique_ptr<Impl> impl_;
};

/// One timer on the monotonic clock. Must not outlive its loop; its handler does not run after it is gone.
class LoopTimer {
 public:
  explicit LoopTimer(EventLoop& loop);
  ~LoopTimer();
  LoopTimer(LoopTimer&&) noexcept;
  LoopTimer& operator=(LoopTimer&&) noexcept;

  /// Calls `handler` once, after `span`; what was set before is forgotten.
  void after(Duration span, std::function<void()> handler);
  void cancel();

 private:
  struct Impl;
  std::unique_ptr<Impl> impl_;
};

}  // namespace underwing
