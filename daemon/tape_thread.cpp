#include "daemon/tape_thread.hpp"

#include <condition_variable>
#include <mutex>
#include <thread>
#include <vector>

namespace underwing {

namespace {

constexpr std::size_t kBytesWaitingMax = 64U << 20U;
/// Lines wait for the next sync(), or for this many bytes: to wake a thread costs more than many lines.
constexpr std::size_t kBytesAtOnce = 256U << 10U;

}  // namespace

struct TapeThread::Impl {
  enum class What : std::uint8_t { line, rules, sync };
  struct Work {
    What what = What::line;
    std::string text;
    Instant now{};
  };

  TapeWriter writer;
  std::function<void(std::function<void()>)> post;
  std::function<void(const std::string&)> on_problem;
  std::mutex mutex;
  std::condition_variable wake;
  std::vector<Work> waiting;
  std::size_t bytes_waiting = 0;
  bool due = false;        ///< what waits is to be written now
  bool ending = false;
  std::string problem;
  std::thread thread;

  Impl(std::filesystem::path folder, TapeHead head) : writer(std::move(folder), std::move(head)) {}

  void add(Work work) {
    bool first = false;
    {
      const std::lock_guard lock(mutex);
      if (work.what == What::line && bytes_waiting + work.text.size() > kBytesWaitingMax) return;
      bytes_waiting += work.text.size();
      first = !due && (work.what != What::line || bytes_waiting > kBytesAtOnce);
      due = due || first;
      waiting.push_back(std::move(work));
    }
    if (first) wake.notify_one();
  }

  void say(const Result<void>& result) {
    const std::string now_wrong = result.ok() ? "" : result.error();
    if (now_wrong == problem) return;
    problem = now_wrong;
    post([this, now_wrong] { on_problem(now_wrong); });
  }

  Result<void> carry_out(const Work& work) {
    switch (work.what) {
      case What::line: return writer.write(work.text, work.now);
      case What::rules: return writer.set_rules(work.text, work.now);
      case What::sync: return writer.sync(work.now);
    }
    return {};
  }

  void run() {
    std::unique_lock lock(mutex);
    for (;;) {
      wake.wait(lock, [&] { return ending || due; });
      std::vector<Work> work;
      work.swap(waiting);
      bytes_waiting = 0;
      due = false;
      const bool last = ending;
      lock.unlock();
      Result<void> outcome;
      for (const Work& piece : work) {
        Result<void> result = carry_out(piece);
        if (!result.ok()) outcome = std::move(result);
      }
      if (last) {
        // Nothing is left to tell a failure to; what could be written has been.
        static_cast<void>(writer.close_block());
        return;
      }
      say(outcome);
      lock.lock();
    }
  }
};

TapeThread::TapeThread(std::filesystem::path folder, TapeHead head, std::function<void(std::function<void()>)> post,
                       std::function<void(const std::string&)> on_problem)
    : impl_(std::make_unique<Impl>(std::move(folder), std::move(head))) {
  impl_->post = std::move(post);
  impl_->on_problem = std::move(on_problem);
  impl_->thread = std::thread([this] { impl_->run(); });
}

TapeThread::~TapeThread() {
  {
    const std::lock_guard lock(impl_->mutex);
    impl_->ending = true;
  }
  impl_->wake.notify_one();
  impl_->thread.join();
}

void TapeThread::write(std::string_view line, Instant now) {
  impl_->add({Impl::What::line, std::string(line), now});
}

void TapeThread::set_rules(const std::string& hash, Instant now) { impl_->add({Impl::What::rules, hash, now}); }

void TapeThread::sync(Instant now) { impl_->add({Impl::What::sync, "", now}); }

}  // namespace underwing
