#include "daemon/supervised_plugin.hpp"

#include <algorithm>
#include <cerrno>
#include <csignal>
#include <utility>
#include <vector>

#include <boost/asio/posix/stream_descriptor.hpp>
#include <fmt/format.h>

#include "daemon/event_loop_impl.hpp"

namespace underwing {

namespace asio = boost::asio;
using Descriptor_ = asio::posix::stream_descriptor;

namespace {

constexpr std::size_t kRead_bytes = 65536;
/// A plugin that speaks more often than this is heard so often: waking for each line costs more than judging it.
constexpr auto kBreath = std::chrono::milliseconds(2);
constexpr std::size_t kLogLine_bytes_max = 4096;
constexpr std::size_t kShown_bytes_max = 200;
/// What a plugin has said before it ended is read up to here.
constexpr std::size_t kLastWords_bytes_max = 16U << 20U;

const char* ending(std::uint64_t count) { return count == 1 ? "" : "s"; }

}  // namespace

const char* to_string(PluginState state) {
  switch (state) {
    case PluginState::started: return "started";
    case PluginState::ready: return "ready";
    case PluginState::silent: return "silent";
    case PluginState::exited: return "exited";
    case PluginState::stopped: return "stopped";
  }
  return "";
}

/// One life of the process. Handlers hold it, and do nothing once it is no longer the plugin's run.
struct SupervisedPlugin::Run {
  Run(asio::io_context& context, ChildProcess child, std::size_t line_bytes)
      : pid(child.pid),
        input(context, child.input.release()),
        output(context, child.output.release()),
        error(context, child.error.release()),
        ended(context, child.ended.release()),
        lines(line_bytes),
        log(kLogLine_bytes_max) {}
  pid_t pid;
  Descriptor_ input, output, error, ended;
  LineBuffer lines, log;
  std::uint64_t too_long_seen = 0;
  Clock::time_point begun = Clock::now();
  Clock::time_point heard{};        ///< when its output was last read
  bool more_waits = false;          ///< what was read filled the buffer
  Clock::time_point line_taken{};   ///< when it took the last whole line
  bool waits_to_write = false;
  bool close_input_when_written = false;
};

SupervisedPlugin::SupervisedPlugin(EventLoop& loop, PluginSpec spec, std::string program, const PluginLimits& limits,
                                   Events events)
    : loop_(loop),
      spec_(std::move(spec)),
      program_(std::move(program)),
      limits_(limits),
      events_(std::move(events)),
      back_off_(limits.back_off_min),
      restart_timer_(loop),
      tick_timer_(loop),
      stop_timer_(loop),
      breath_timer_(loop) {
  status_.name = spec_.name;
}

SupervisedPlugin::~SupervisedPlugin() { kill(); }

void SupervisedPlugin::kill() {
  restart_timer_.cancel();
  tick_timer_.cancel();
  stop_timer_.cancel();
  if (!run_) return;
  signal_group(run_->pid, SIGKILL);
  static_cast<void>(reap(run_->pid));
  run_.reset();
}

void SupervisedPlugin::set_state(PluginState state, std::string text) {
  status_.state = state;
  status_.text = std::move(text);
  status_.pid = run_ ? run_->pid : -1;
  events_.on_state(*this);
}

void SupervisedPlugin::start() {
  begin_run();
  tick();
}

void SupervisedPlugin::begin_run() {
  auto child = start_child(program_, spec_.arguments);
  if (!child) return restart_later(child.error());
  run_ = std::make_shared<Run>(loop_.impl().context, std::move(child).value(), limits_.line_bytes);
  ++status_.starts;
  status_.does.clear();
  queue_for_new_run();
  set_state(PluginState::started);
  wait_for_end();
  wait_for_output();
  wait_for_errors();
  write_some();
}

void SupervisedPlugin::queue_for_new_run() {
  std::erase_if(outgoing_, [](const Outgoing& item) { return item.kind == Outgoing::Kind::once; });
  sent_bytes_ = 0;
  const auto now = Clock::now();
  for (auto it = unanswered_.rbegin(); it != unanswered_.rend(); ++it) {
    if (now - it->second.taken > limits_.receipt_within) continue;
    outgoing_.push_front({Outgoing::Kind::delivery, it->first, it->second.line, now});
  }
  unanswered_.clear();
  const std::string settings =
      R"({"jsonrpc":"2.0","method":"settings","params":)" + spec_.settings_json + "}\n";
  outgoing_.push_front({Outgoing::Kind::once, {}, settings, now});
}

void SupervisedPlugin::restart_later(const std::string& how) {
  if (stopping_) return set_state(PluginState::stopped, how);
  events_.on_log(spec_.name, fmt::format("{}; started again in {}", how, to_words(back_off_)));
  restart_timer_.after(back_off_, [self = weak_from_this()] {
    if (const auto plugin = self.lock(); plugin && !plugin->stopping_) plugin->begin_run();
  });
  back_off_ = std::min(2 * back_off_, limits_.back_off_max);
  set_state(PluginState::exited, how);
}

void SupervisedPlugin::on_ended() {
  const auto run = run_;
  // What it left behind would hold the modem or the pipe.
  signal_group(run->pid, SIGKILL);
  const std::string how = reap(run->pid);
  for (std::size_t total = 0; total < kLastWords_bytes_max && read_output(); total += kRead_bytes) {}
  for (std::size_t total = 0; total < kLastWords_bytes_max && read_errors(); total += kRead_bytes) {}
  run->lines.finish([this](std::string_view line) { events_.on_line(*this, line); });
  run->log.finish([this](std::string_view line) { log_line(line); });
  if (Clock::now() - run->begun >= limits_.settled_after) back_off_ = limits_.back_off_min;
  run_.reset();
  stop_timer_.cancel();
  restart_later(how);
}

void SupervisedPlugin::wait_for_end() {
  run_->ended.async_wait(Descriptor_::wait_read, [self = shared_from_this(), run = run_](const auto& error) {
    if (!error && self->run_ == run) self->on_ended();
  });
}

void SupervisedPlugin::wait_for_output() {
  run_->output.async_wait(Descriptor_::wait_read, [self = shared_from_this(), run = run_](const auto& error) {
    if (error || self->run_ != run) return;
    if (self->read_output()) return self->wait_after_a_breath();
    // Without its output it is of no use, and it may never end by itself. Most often it is just ending.
    if (self->stopping_) return;
    self->stop_timer_.after(self->limits_.stop_within, [self, run] {
      if (self->run_ != run) return;
      self->events_.on_log(self->spec_.name, "closed its output; it is killed");
      signal_group(run->pid, SIGKILL);
    });
  });
}

void SupervisedPlugin::wait_after_a_breath() {
  const auto now = Clock::now();
  const bool often = now - std::exchange(run_->heard, now) < 2 * kBreath;
  if (!often || run_->more_waits) return wait_for_output();
  breath_timer_.after(kBreath, [self = weak_from_this(), run = run_] {
    const auto plugin = self.lock();
    if (plugin && plugin->run_ == run) plugin->wait_for_output();
  });
}

void SupervisedPlugin::wait_for_errors() {
  run_->error.async_wait(Descriptor_::wait_read, [self = shared_from_this(), run = run_](const auto& error) {
    if (!error && self->run_ == run && self->read_errors()) self->wait_for_errors();
  });
}

namespace {

/// Reads once. False: nothing there and never will be. Empty: nothing there just now.
bool read_once(int fd, std::array<char, kRead_bytes>& buffer, std::string_view& bytes) {
  bytes = {};
  const ssize_t count = ::read(fd, buffer.data(), buffer.size());
  if (count > 0) bytes = std::string_view(buffer.data(), static_cast<std::size_t>(count));
  return count > 0 || (count < 0 && (errno == EAGAIN || errno == EINTR));
}

}  // namespace

bool SupervisedPlugin::read_output() {
  const auto run = run_;
  std::array<char, kRead_bytes> buffer;
  std::string_view bytes;
  if (!read_once(run->output.native_handle(), buffer, bytes)) return false;
  run->more_waits = bytes.size() == buffer.size();
  run->lines.feed(bytes, [this](std::string_view line) { events_.on_line(*this, line); });
  if (const std::uint64_t too_long = run->lines.too_long(); too_long > run->too_long_seen) {
    not_understood("(a line longer than 1 MiB)", too_long - run->too_long_seen);
    run->too_long_seen = too_long;
  }
  return true;
}

bool SupervisedPlugin::read_errors() {
  const auto run = run_;
  std::array<char, kRead_bytes> buffer;
  std::string_view bytes;
  if (!read_once(run->error.native_handle(), buffer, bytes)) return false;
  run->log.feed(bytes, [this](std::string_view line) { log_line(line); });
  return true;
}

void SupervisedPlugin::log_line(std::string_view line) {
  const auto now = Clock::now();
  if (now - log_second_ >= std::chrono::seconds(1)) {
    say_suppressed(now);
    log_second_ = now;
    logged_ = 0;
  }
  if (logged_ < limits_.log_lines_a_second) {
    ++logged_;
    events_.on_log(spec_.name, printable(line, kLogLine_bytes_max));
  } else {
    ++suppressed_;
  }
}

void SupervisedPlugin::say_suppressed(Clock::time_point now) {
  if (suppressed_ == 0 || now - log_second_ < std::chrono::seconds(1)) return;
  events_.on_log(spec_.name, fmt::format("{} more line{} of its log left out", suppressed_, ending(suppressed_)));
  suppressed_ = 0;
}

void SupervisedPlugin::send(std::string line) {
  if (run_) enqueue({Outgoing::Kind::once, {}, std::move(line), Clock::now()});
}

void SupervisedPlugin::send_alarm(const std::string& key, std::string line) {
  // The first one may be half written already.
  for (std::size_t i = sent_bytes_ > 0 ? 1 : 0; i < outgoing_.size(); ++i) {
    if (outgoing_[i].kind != Outgoing::Kind::alarm || outgoing_[i].key != key) continue;
    outgoing_[i].line = std::move(line);
    return;
  }
  enqueue({Outgoing::Kind::alarm, key, std::move(line), Clock::now()});
}

void SupervisedPlugin::send_delivery(const std::string& delivery, std::string line) {
  enqueue({Outgoing::Kind::delivery, delivery, std::move(line), Clock::now()});
}

void SupervisedPlugin::enqueue(Outgoing item) {
  outgoing_.push_back(std::move(item));
  if (run_ && !run_->waits_to_write) write_some();
}

void SupervisedPlugin::write_some() {
  const auto run = run_;
  while (!outgoing_.empty() && run->input.is_open()) {
    const std::string& line = outgoing_.front().line;
    const ssize_t count = ::write(run->input.native_handle(), line.data() + sent_bytes_, line.size() - sent_bytes_);
    if (count < 0 && errno == EINTR) continue;
    if (count < 0 && errno == EAGAIN) return wait_to_write();
    if (count < 0) {
      // It closed its input: what waits stays for its next life, and its end is seen elsewhere.
      boost::system::error_code ignored;
      run->input.close(ignored);
      return;
    }
    sent_bytes_ += static_cast<std::size_t>(count);
    if (sent_bytes_ == line.size()) written();
  }
  if (run->close_input_when_written && run->input.is_open()) {
    boost::system::error_code ignored;
    run->input.close(ignored);
  }
}

void SupervisedPlugin::wait_to_write() {
  run_->waits_to_write = true;
  run_->input.async_wait(Descriptor_::wait_write, [self = shared_from_this(), run = run_](const auto& error) {
    run->waits_to_write = false;
    if (!error && self->run_ == run) self->write_some();
  });
}

void SupervisedPlugin::written() {
  Outgoing item = std::move(outgoing_.front());
  outgoing_.pop_front();
  sent_bytes_ = 0;
  run_->line_taken = Clock::now();
  if (item.kind == Outgoing::Kind::delivery) unanswered_[item.key] = {std::move(item.line), Clock::now()};
}

void SupervisedPlugin::alive() {
  if (status_.state == PluginState::started || status_.state == PluginState::silent) set_state(PluginState::ready);
}

void SupervisedPlugin::not_understood(std::string_view line, std::uint64_t count) {
  status_.not_understood += count;
  status_.not_understood_last = printable(line, kShown_bytes_max);
  complaints_ += count;
  complain(Clock::now());
}

void SupervisedPlugin::dropped_reading() {
  ++status_.readings_dropped;
  if (++drops_ == 1) complain(Clock::now());
}

void SupervisedPlugin::complain(Clock::time_point now) {
  if ((complaints_ == 0 && drops_ == 0) || (has_complained_ && now - complained_ < limits_.complain_every)) return;
  has_complained_ = true;
  complained_ = now;
  if (complaints_ > 0) {
    events_.on_log(spec_.name, fmt::format("{} line{} not understood; the last: {}", complaints_, ending(complaints_),
                                           status_.not_understood_last));
  }
  if (drops_ > 0) {
    events_.on_log(spec_.name, fmt::format("{} reading{} dropped, the oldest, because too many waited", drops_, ending(drops_)));
  }
  complaints_ = drops_ = 0;
}

void SupervisedPlugin::tick() {
  const auto now = Clock::now();
  if (run_ && !stopping_) {
    check_deliveries(now);
    check_silence(now);
  }
  say_suppressed(now);
  complain(now);
  std::erase_if(unanswered_, [&](const auto& item) { return now - item.second.taken > limits_.receipt_within; });
  tick_timer_.after(std::min<Duration>(std::chrono::seconds(1), limits_.deliver_within / 4), [this] { tick(); });
}

void SupervisedPlugin::check_deliveries(Clock::time_point now) {
  const bool stuck = std::any_of(outgoing_.begin(), outgoing_.end(), [&](const Outgoing& item) {
    const auto turn = std::max({item.queued, run_->begun, run_->line_taken});
    return item.kind == Outgoing::Kind::delivery && now - turn > limits_.deliver_within;
  });
  if (!stuck) return;
  events_.on_log(spec_.name, fmt::format("did not take a message within {}; it is killed and started again",
                                         to_words(limits_.deliver_within)));
  signal_group(run_->pid, SIGKILL);
}

void SupervisedPlugin::check_silence(Clock::time_point now) {
  if (status_.state != PluginState::started || now - run_->begun < limits_.silent_after) return;
  set_state(PluginState::silent, "runs, but says nothing that is understood");
}

void SupervisedPlugin::stop() {
  if (stopping_) return;
  stopping_ = true;
  restart_timer_.cancel();
  if (!run_) return set_state(PluginState::stopped);
  run_->close_input_when_written = true;
  send("{\"jsonrpc\":\"2.0\",\"method\":\"stop\",\"params\":{}}\n");
  stop_timer_.after(limits_.stop_within, [this] { end_softly(); });
}

void SupervisedPlugin::end_softly() {
  if (!run_) return;
  events_.on_log(spec_.name, "did not stop when asked");
  signal_group(run_->pid, SIGTERM);
  stop_timer_.after(limits_.stop_within, [this] {
    if (run_) signal_group(run_->pid, SIGKILL);
  });
}

}  // namespace underwing
