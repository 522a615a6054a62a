#include "plugins/shared/carrier.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <system_error>
#include <thread>
#include <utility>

namespace underwing {
namespace {

std::chrono::milliseconds milliseconds_of(double seconds) {
  return std::chrono::milliseconds(static_cast<std::int64_t>(seconds * 1000));
}

}  // namespace

std::string_view Carrier::word_of(Outcome outcome) {
  switch (outcome) {
    case Outcome::failed:
      return "failed";
    case Outcome::sent:
      return "sent";
    case Outcome::delivered:
      return "delivered";
  }
  return "failed";
}

void Carrier::read_timing(Settings& settings) {
  time_out_s_ = settings.span("time_out", 30);
  // The watch itself waits 60 s for a receipt.
  if (time_out_s_ < 0.1 || time_out_s_ > 55) settings.refuse("time_out", "must be between 100 ms and 55 s");
  const double every_s = settings.span("check_every", 3600);
  if (every_s < 0.1) settings.refuse("check_every", "must be at least 100 ms");
  check_every_ = milliseconds_of(every_s);
  check_broken_ = std::min(kBrokenFirst, check_every_);
}

void Carrier::on_deliver(const Delivery& delivery) {
  // Asked again while it is on its way: its receipt answers both.
  jobs_.try_emplace(delivery.id, Job{delivery, Clock::now() + milliseconds_of(time_out_s_)});
  begin_some();
}

void Carrier::on_heartbeat(const Beat& beat) {
  // No delivery is called so.
  jobs_.try_emplace("heartbeat " + beat.id.dump(), Job{{}, Clock::now() + milliseconds_of(time_out_s_), false, beat});
  begin_some();
}

void Carrier::pass_on(const Beat&, Clock::time_point, const Say& say) const {
  say({Outcome::failed, "this plugin carries no heartbeat", Way::unknown});
}

void Carrier::begin_some() {
  for (auto& [id, job] : jobs_) {
    {
      const std::lock_guard lock(mutex_);
      if (running_ >= kAtOnce) return;
    }
    if (std::exchange(job.begun, true)) continue;
    run_thread(id, [this, delivery = job.delivery, beat = job.beat, until = job.until](const Say& say) {
      if (beat) pass_on(*beat, until, say);
      else carry(delivery, until, say);
    });
  }
}

void Carrier::begin_check(Clock::time_point now) {
  check_due_.reset();
  run_thread("", [this, until = now + milliseconds_of(time_out_s_)](const Say& say) { check(until, say); });
}

void Carrier::run_thread(const std::string& delivery, std::function<void(const Say&)> work) {
  const auto say = [this, delivery](Result result) {
    const std::lock_guard lock(mutex_);
    results_.emplace_back(delivery, std::move(result));
    wake();
  };
  {
    const std::lock_guard lock(mutex_);
    ++running_;
  }
  const auto run = [this, say, work = std::move(work)] {
    work(say);
    const std::lock_guard lock(mutex_);
    --running_;
    ended_.notify_all();
    wake();
  };
  try {
    std::thread(run).detach();
  } catch (const std::system_error& failure) {
    const std::lock_guard lock(mutex_);
    --running_;
    results_.emplace_back(
        delivery,
        Result{Outcome::failed, fmt::format("no thread can be started: {}", failure.what()), Way::unknown});
    wake();
  }
}

void Carrier::on_wake() {
  std::vector<std::pair<std::string, Result>> results;
  {
    const std::lock_guard lock(mutex_);
    results.swap(results_);
  }
  for (const auto& [delivery, result] : results) take_result(delivery, result);
  begin_some();
}

void Carrier::take_result(const std::string& delivery, const Result& result) {
  // Of one that was given up the result still says how the way is.
  take_way(result);
  const auto job = jobs_.find(delivery);
  if (job == jobs_.end()) return;
  const std::optional<Beat> beat = job->second.beat;
  jobs_.erase(job);
  if (beat) answer_beat(beat->id, result.outcome != Outcome::failed, result.text);
  else receipt(delivery, word_of(result.outcome), result.text);
}

void Carrier::take_way(const Result& result) {
  if (result.way == Way::unknown) return;
  const auto now = Clock::now();
  if (result.way == Way::works) {
    check_broken_ = std::min(kBrokenFirst, check_every_);
    check_due_ = now + check_every_;
    broken_ = false;
    return health(true, works_text());
  }
  if (std::exchange(broken_, true)) {
    check_broken_ = std::min({check_broken_ * 2, kBrokenLast, std::max(check_every_, check_broken_)});
  }
  check_due_ = now + check_broken_;
  health(false, result.text);
}

std::optional<Plugin::Clock::time_point> Carrier::next_deadline() const {
  std::optional<Clock::time_point> next = check_due_;
  for (const auto& [id, job] : jobs_) next = next ? std::min(*next, job.until + kGrace) : job.until + kGrace;
  return next;
}

std::optional<Plugin::Clock::time_point> Carrier::on_time(Clock::time_point now) {
  if (check_due_ && *check_due_ <= now) begin_check(now);
  give_up_late(now);
  return next_deadline();
}

/// A thread that does not come back, or never had its turn, must not make the watch wait.
void Carrier::give_up_late(Clock::time_point now) {
  std::vector<std::pair<std::string, Result>> late;
  for (const auto& [id, job] : jobs_) {
    if (job.until + kGrace > now) continue;
    late.emplace_back(id,
                      Result{Outcome::failed,
                             fmt::format("no outcome within {:g} s; it may arrive all the same", time_out_s_),
                             Way::unknown});
  }
  for (const auto& [id, result] : late) take_result(id, result);
}

void Carrier::on_stop() {
  {
    std::unique_lock lock(mutex_);
    ended_.wait_for(lock, kLeaveWithin, [this] { return running_ == 0; });
  }
  on_wake();
}

}  // namespace underwing
