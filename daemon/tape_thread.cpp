#include "daemon/tape_thread.hpp"

#include <condition_variable>
#include <mutex>
#include <thread>
#include <utility>
#include <vector>

namespace underwing {

namespace {

constexpr std::size_t kBytesWaitingMax = 64U << 20U;
/// Lines wait for the next sync(), or for this many bytes: to wake a thread costs more than many lines.
constexpr std::size_t kBytesAtOnce = 256U << 10U;
/// Lines gather on the caller's side first: to take the lock for each costs more than the line.
constexpr std::size_t kBytesGathered = 16U << 10U;

}  // namespace

struct TapeThread::Impl {
  enum class What : std::uint8_t { line, rules, sync };
  struct Work {
    What what = What::line;
    std::size_t text_bytes = 0;
    Instant now{};
  };
  /// Their texts stand one after another in one string: a line asks for no memory of its own.
  struct Waiting {
    std::vector<Work> work;
    std::string texts;
  };

  TapeWriter writer;
  std::function<void(std::function<void()>)> post;
  std::function<void(const std::string&)> on_problem;
  std::mutex mutex;
  std::condition_variable wake;
  Waiting gathered;        ///< the caller's
  Waiting waiting;
  bool due = false;        ///< what waits is to be written now
  bool ending = false;
  std::string problem;
  std::function<void()> forgetting;  ///< to be done once what waits is written
  std::filesystem::path folder;
  std::thread thread;

  Impl(const std::filesystem::path& given, TapeHead head) : writer(given, std::move(head)), folder(given) {}

  void add(What what, std::string_view text, Instant now) {
    gathered.texts += text;
    gathered.work.push_back({what, text.size(), now});
    if (what != What::line || gathered.texts.size() > kBytesGathered) pass_on(what != What::line);
  }

  void pass_on(bool at_once) {
    bool first = false;
    {
      const std::lock_guard lock(mutex);
      // A disk that does not take them costs lines, never marks.
      const bool full = waiting.texts.size() > kBytesWaitingMax;
      std::string_view texts = gathered.texts;
      for (const Work& piece : gathered.work) {
        if (full && piece.what == What::line) {
          texts.remove_prefix(piece.text_bytes);
          continue;
        }
        waiting.texts += texts.substr(0, piece.text_bytes);
        texts.remove_prefix(piece.text_bytes);
        waiting.work.push_back(piece);
      }
      first = !due && (at_once || waiting.texts.size() > kBytesAtOnce);
      due = due || first;
    }
    gathered.work.clear();
    gathered.texts.clear();
    if (first) wake.notify_one();
  }

  void say(const Result<void>& result) {
    const std::string now_wrong = result.ok() ? "" : result.error();
    if (now_wrong == problem) return;
    problem = now_wrong;
    post([this, now_wrong] { on_problem(now_wrong); });
  }

  Result<void> carry_out(const Work& work, std::string_view text) {
    switch (work.what) {
      case What::line: return writer.write(text, work.now);
      case What::rules: return writer.set_rules(text, work.now);
      case What::sync: return writer.sync(work.now);
    }
    return {};
  }

  void run() {
    Waiting taken;
    std::unique_lock lock(mutex);
    for (;;) {
      wake.wait(lock, [&] { return ending || due; });
      taken.work.clear();
      taken.texts.clear();
      std::swap(taken, waiting);
      const std::function<void()> forget = std::exchange(forgetting, nullptr);
      due = false;
      const bool last = ending;
      lock.unlock();
      Result<void> outcome;
      std::string_view texts = taken.texts;
      for (const Work& piece : taken.work) {
        Result<void> result = carry_out(piece, texts.substr(0, piece.text_bytes));
        texts.remove_prefix(piece.text_bytes);
        if (!result.ok()) outcome = std::move(result);
      }
      if (last) {
        // Nothing is left to tell a failure to; what could be written has been.
        static_cast<void>(writer.close_block());
        return;
      }
      say(outcome);
      if (forget) forget();
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
  impl_->pass_on(true);
  {
    const std::lock_guard lock(impl_->mutex);
    impl_->ending = true;
  }
  impl_->wake.notify_one();
  impl_->thread.join();
}

void TapeThread::write(std::string_view line, Instant now) {
  impl_->add(Impl::What::line, line, now);
}

void TapeThread::set_rules(const std::string& hash, Instant now) { impl_->add(Impl::What::rules, hash, now); }

void TapeThread::sync(Instant now) { impl_->add(Impl::What::sync, "", now); }

void TapeThread::forget(const TapeKeep& keep, Instant now, Instant needed_from, std::function<void(const TapesForgotten&)> told) {
  auto work = [this, keep, now, needed_from, told = std::move(told)] {
    const TapesForgotten forgotten = forget_tapes(impl_->folder, keep, now, needed_from);
    impl_->post([told, forgotten] { told(forgotten); });
  };
  {
    const std::lock_guard lock(impl_->mutex);
    impl_->forgetting = std::move(work);
    impl_->due = true;
  }
  impl_->wake.notify_one();
}

}  // namespace underwing
