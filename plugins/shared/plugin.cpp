#include "plugins/shared/plugin.hpp"

#include <fmt/format.h>
#include <poll.h>
#include <sys/eventfd.h>
#include <unistd.h>

#include <algorithm>
#include <array>
#include <cerrno>
#include <csignal>
#include <cstdint>
#include <cstdio>
#include <cstring>

namespace underwing {
namespace {

constexpr std::size_t kWriteBytes = 256 * 1024;  // Written at the latest when so much waits.
constexpr std::size_t kReceiptsMax = 1000;

void log(const std::string& text) {
  fmt::print(stderr, "{}\n", text);
}

}  // namespace

std::string text_of(const nlohmann::json& object, const char* key) {
  const auto found = object.find(key);
  return found != object.end() && found->is_string() ? found->get<std::string>() : std::string();
}

Plugin::Plugin(std::string name, std::vector<std::string> does)
    : name_(std::move(name)), does_(std::move(does)), wake_fd_(eventfd(0, EFD_CLOEXEC | EFD_NONBLOCK)) {}

Plugin::~Plugin() {
  close(wake_fd_);
}

void Plugin::on_deliver(const Delivery& delivery) {
  receipt(delivery.id, "failed", fmt::format("{} does not deliver.", name_));
}
void Plugin::on_alarm(const nlohmann::json&) {}
void Plugin::on_heartbeat(const Beat& beat) {
  answer_beat(beat.id, false, fmt::format("{} carries no heartbeat", name_));
}
void Plugin::on_step(double) {}
void Plugin::on_settled(double) {}
void Plugin::on_taken(const std::string&) {}
void Plugin::on_wake() {}
std::optional<Plugin::Clock::time_point> Plugin::on_time(Clock::time_point) {
  return std::nullopt;
}
void Plugin::on_stop() {}

void Plugin::wake() {
  const std::uint64_t one = 1;
  // Fails only when the counter is full, and then a wake is pending anyway.
  [[maybe_unused]] const auto written = write(wake_fd_, &one, sizeof one);
}

int Plugin::run() {
  if (wake_fd_ < 0) {
    log(fmt::format("{}: cannot make an event descriptor: {}", name_, std::strerror(errno)));
    return 2;
  }
  std::signal(SIGPIPE, SIG_IGN);  // A daemon that is gone is seen as a failed write.
  while (!ended_ && !output_broken_) {
    if (started_) due_ = on_time(Clock::now());
    flush();
    if (!output_broken_) wait_for_input();
  }
  on_stop();
  flush();
  return 0;
}

void Plugin::wait_for_input() {
  const auto now = Clock::now();
  const bool gathering = now < gather_until_;
  auto until = due_;
  if (gathering) until = until ? std::min(*until, gather_until_) : gather_until_;
  int timeout_ms = -1;
  if (until) {
    const auto left = std::chrono::ceil<std::chrono::milliseconds>(*until - now).count();
    timeout_ms = static_cast<int>(std::clamp<std::int64_t>(left, 0, 60'000));
  }
  std::array<pollfd, 2> fds{{{STDIN_FILENO, POLLIN, 0}, {wake_fd_, POLLIN, 0}}};
  if (poll(fds.data(), gathering ? 1 : 2, timeout_ms) < 0) return;
  if (fds[0].revents != 0) read_input();
  if (!gathering && fds[1].revents != 0) take_wakes();
}

void Plugin::take_wakes() {
  std::uint64_t count = 0;
  // The counter is reset before the work, so that a wake during the work is seen afterwards.
  [[maybe_unused]] const auto got = read(wake_fd_, &count, sizeof count);
  gather_until_ = Clock::now() + kGather;
  on_wake();
}

void Plugin::read_input() {
  std::array<char, 65536> bytes;  // NOLINT: filled by read before use.
  const ssize_t count = read(STDIN_FILENO, bytes.data(), bytes.size());
  if (count < 0) {
    ended_ = errno != EINTR && errno != EAGAIN;
    return;
  }
  if (count == 0) {
    ended_ = true;
    return;
  }
  const std::size_t too_long = reader_.too_long();
  reader_.feed({bytes.data(), static_cast<std::size_t>(count)});
  for (std::string_view line; !ended_ && reader_.next(line);) take_line(line);
  if (reader_.too_long() > too_long) log(fmt::format("{}: a line of more than 1 MiB was dropped.", name_));
}

void Plugin::flush() {
  std::size_t done = 0;
  while (done < out_.size() && !output_broken_) {
    const ssize_t count = write(STDOUT_FILENO, out_.data() + done, out_.size() - done);
    if (count >= 0) {
      done += static_cast<std::size_t>(count);
    } else if (errno == EAGAIN) {
      pollfd fd{STDOUT_FILENO, POLLOUT, 0};
      poll(&fd, 1, -1);
    } else if (errno != EINTR) {
      output_broken_ = true;
    }
  }
  out_.clear();
}

void Plugin::send(const nlohmann::json& message) {
  // Texts come from outside too; what is no UTF-8 there must not end the plugin.
  out_ += message.dump(-1, ' ', false, nlohmann::json::error_handler_t::replace);
  out_ += '\n';
  if (out_.size() > kWriteBytes) flush();
}

namespace {

nlohmann::json notification(const char* method, nlohmann::json params) {
  return {{"jsonrpc", "2.0"}, {"method", method}, {"params", std::move(params)}};
}

}  // namespace

void Plugin::health(bool ok, const std::string& text) {
  std::pair<bool, std::string> now{ok, text};
  if (last_health_ == now) return;
  last_health_ = std::move(now);
  send(notification("health", {{"ok", ok}, {"text", text}}));
}

void Plugin::receipt(const std::string& delivery, std::string_view outcome, const std::string& text) {
  nlohmann::json message =
      notification("receipt", {{"delivery", delivery}, {"outcome", outcome}, {"text", text}});
  send(message);
  if (!receipts_.contains(delivery)) receipt_order_.push_back(delivery);
  receipts_[delivery] = std::move(message);
  if (receipt_order_.size() > kReceiptsMax) {
    receipts_.erase(receipt_order_.front());
    receipt_order_.pop_front();
  }
}

void Plugin::reply(const std::string& from, std::string_view by, const std::string& text,
                   std::optional<double> time, const std::string& key) {
  nlohmann::json params{{"from", from}, {"by", by}, {"text", text}};
  if (time) params["time"] = *time;
  if (key.empty()) return send(notification("reply", std::move(params)));
  params["key"] = key;
  nlohmann::json request = notification("reply", std::move(params));
  request["id"] = ++last_id_;
  handed_[last_id_] = key;
  send(request);
}

void Plugin::answer_beat(const nlohmann::json& id, bool answered, const std::string& text) {
  send({{"jsonrpc", "2.0"}, {"id", id}, {"result", {{"answered", answered}, {"text", text}}}});
}

void Plugin::ask_step(double time) {
  asked_[++last_id_] = time;
  send({{"jsonrpc", "2.0"}, {"id", last_id_}, {"method", "step"}, {"params", {{"time", time}}}});
}

void Plugin::take_line(std::string_view line) {
  if (line.find_first_not_of(" \t") == std::string_view::npos) return;
  const auto message = nlohmann::json::parse(line, nullptr, /*allow_exceptions=*/false);
  if (!message.is_object()) {
    log(fmt::format("{}: this line is not understood: {}", name_, line.substr(0, 200)));
    return;
  }
  try {
    take_message(message);
  } catch (const nlohmann::json::exception& failure) {
    log(fmt::format("{}: {} in {}", name_, failure.what(), line.substr(0, 200)));
  }
}

void Plugin::take_message(const nlohmann::json& message) {
  if (!message.contains("method")) return take_answer(message);
  const std::string method = text_of(message, "method");
  const nlohmann::json none = nlohmann::json::object();
  const nlohmann::json& params = message.contains("params") ? message["params"] : none;
  const bool wants_answer = message.contains("id");
  if (method == "settings") {
    take_settings(params);
  } else if (method == "deliver") {
    take_delivery(params);
  } else if (method == "alarm") {
    if (started_) on_alarm(params);
  } else if (method == "heartbeat" && wants_answer) {
    const nlohmann::json says = params.value("says", none);
    if (!started_) return answer_beat(message["id"], false, fmt::format("{} has no settings yet", name_));
    return on_heartbeat({message["id"], text_of(params, "to"), says});
  } else if (method == "stop") {
    ended_ = true;
  } else if (method == "step") {
    if (started_) on_step(params.at("time").get<double>());
  } else {
    log(fmt::format("{}: there is no message '{}' here.", name_, method));
    if (wants_answer) {
      send({{"jsonrpc", "2.0"},
            {"id", message["id"]},
            {"error", {{"code", -32601}, {"message", "there is no such method here"}}}});
    }
    return;
  }
  if (wants_answer) {
    send({{"jsonrpc", "2.0"}, {"id", message["id"]}, {"result", nlohmann::json::object()}});
  }
}

void Plugin::take_settings(const nlohmann::json& params) {
  if (started_) {
    log(fmt::format("{}: it has its settings already; new ones take effect at the next start.", name_));
    return;
  }
  try {
    Settings settings(params, "settings");
    on_settings(settings);
    settings.finish();
  } catch (const SettingsError& problem) {
    log(fmt::format("{}: {}", name_, problem.what()));
    health(false, problem.what());
    return;
  }
  started_ = true;
  send(notification("hello", {{"plugin", name_}, {"version", UNDERWING_VERSION}, {"does", does_}}));
}

void Plugin::take_delivery(const nlohmann::json& params) {
  Delivery delivery{text_of(params, "delivery"), text_of(params, "to"),  text_of(params, "by"),
                    text_of(params, "text"),     text_of(params, "who"), text_of(params, "priority")};
  if (const auto plots = params.find("plots"); plots != params.end()) delivery.plots = *plots;
  if (const auto known = receipts_.find(delivery.id); known != receipts_.end()) return send(known->second);
  if (!started_) return receipt(delivery.id, "failed", fmt::format("{} has no settings yet.", name_));
  on_deliver(delivery);
}

void Plugin::take_answer(const nlohmann::json& message) {
  if (!message.contains("id") || !message["id"].is_number_integer()) return;
  const auto id = message["id"].get<std::int64_t>();
  if (const auto handed = handed_.extract(id); !handed.empty()) {
    if (message.contains("error")) log(fmt::format("{}: the daemon refuses a reply: {}", name_, message["error"].dump()));
    else on_taken(handed.mapped());
    return;
  }
  const auto asked = asked_.find(id);
  if (asked == asked_.end()) return;
  const double time = asked->second;
  asked_.erase(asked);
  if (message.contains("error")) {
    log(fmt::format("{}: the daemon refuses the step to {}: {}", name_, time, message["error"].dump()));
    return;
  }
  on_settled(time);
}

std::optional<int> answer_options(int argc, char** argv, std::string_view name, std::string_view help) {
  if (argc < 2) return std::nullopt;
  const std::string_view option = argv[1];
  if (option == "--help" || option == "-h") {
    fmt::print("{}", help);
    return 0;
  }
  if (option == "--version") {
    fmt::print("{} {}\n", name, UNDERWING_VERSION);
    return 0;
  }
  fmt::print(stderr, "{}: there is no option '{}'; --help tells what there is.\n", name, option);
  return 2;
}

}  // namespace underwing
