#include "daemon/event_loop.hpp"

#include <boost/asio/executor_work_guard.hpp>
#include <boost/asio/post.hpp>
#include <boost/asio/steady_timer.hpp>

#include "daemon/event_loop_impl.hpp"

namespace underwing {

namespace asio = boost::asio;

EventLoop::EventLoop() : impl_(std::make_unique<Impl>()) {}
EventLoop::~EventLoop() = default;

void EventLoop::run() {
  const auto guard = asio::make_work_guard(impl_->context);
  impl_->context.restart();
  impl_->context.run();
}

void EventLoop::run_for(Duration span) {
  const auto guard = asio::make_work_guard(impl_->context);
  impl_->context.restart();
  impl_->context.run_for(span);
}

void EventLoop::stop() { impl_->context.stop(); }

void EventLoop::post(std::function<void()> work) { asio::post(impl_->context, std::move(work)); }

void EventLoop::Impl::wait_for_signal() {
  signals->async_wait([this](const boost::system::error_code& error, int signal) {
    if (error) return;
    on_signal(signal);
    wait_for_signal();
  });
}

void EventLoop::on_signals(const std::vector<int>& signals, std::function<void(int)> handler) {
  impl_->on_signal = std::move(handler);
  impl_->signals.emplace(impl_->context);
  for (const int signal : signals) impl_->signals->add(signal);
  impl_->wait_for_signal();
}

/// The serial tells a handler that is already queued whether it is still wanted.
struct LoopTimer::Impl {
  asio::steady_timer timer;
  std::shared_ptr<std::uint64_t> serial = std::make_shared<std::uint64_t>(0);
};

LoopTimer::LoopTimer(EventLoop& loop) : impl_(new Impl{asio::steady_timer(loop.impl().context)}) {}
LoopTimer::~LoopTimer() = default;
LoopTimer::LoopTimer(LoopTimer&&) noexcept = default;
LoopTimer& LoopTimer::operator=(LoopTimer&&) noexcept = default;

void LoopTimer::after(Duration span, std::function<void()> handler) {
  const std::uint64_t mine = ++*impl_->serial;
  impl_->timer.expires_after(span);
  impl_->timer.async_wait([mine, serial = std::weak_ptr(impl_->serial),
                           handler = std::move(handler)](const boost::system::error_code& error) {
    const auto current = serial.lock();
    if (!error && current && *current == mine) handler();
  });
}

void LoopTimer::cancel() {
  ++*impl_->serial;
  impl_->timer.cancel();
}

}  // namespace underwing
