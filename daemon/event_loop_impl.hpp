#pragma once

#include <optional>

#include <boost/asio/io_context.hpp>
#include <boost/asio/signal_set.hpp>

#include "daemon/event_loop.hpp"

namespace underwing {

/// For sources that speak Asio; never included by a header.
struct EventLoop::Impl {
  boost::asio::io_context context{1};
  std::optional<boost::asio::signal_set> signals;
  std::function<void(int)> on_signal;
  void wait_for_signal();
};

}  // namespace underwing
