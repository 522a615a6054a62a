#include "plugins/sms/line.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <utility>

#include "plugins/shared/clock.hpp"
#include "rules/languages/gsm.hpp"

namespace underwing {

namespace {

using std::chrono::milliseconds;

constexpr milliseconds kTurn{50};
constexpr milliseconds kPauseFirst{2000}, kPauseLast{300'000};
constexpr milliseconds kRetryPause{3000};
constexpr int kTriesMax = 3;
constexpr milliseconds kRingLeast{10'000};  ///< a network takes some of it to find the telephone (common practice)
constexpr milliseconds kRingLast{5000};     ///< a call whose time is nearly over rings so long all the same
constexpr int kRungOfHealth = 3;  ///< from here on people have to know

/// TP-ST (3GPP TS 23.040, 9.2.3.15): below 0x20 the centre has ended with success, from 0x40 on without.
enum class Report { reached, unproven, waits, failed };
Report meaning_of(int status) {
  if (status == 0x00 || status == 0x02) return Report::reached;
  if (status < 0x20) return Report::unproven;
  return status < 0x40 ? Report::waits : Report::failed;
}

constexpr const char* kItRang = "it rang; that proves nobody";

}  // namespace

bool Line::is_urgent_text(const Job& job) { return job.delivery.by != "call" && job.delivery.priority == "urgent"; }

Line::Line(LineSettings settings, Memory memory, std::function<void()> wake)
    : settings_(std::move(settings)), memory_(std::move(memory)), wake_(std::move(wake)), pause_(kPauseFirst) {
  thread_ = std::thread([this] { run(); });
}

Line::~Line() {
  static_cast<void>(stop());
  if (thread_.joinable()) thread_.detach();  // the library cannot be interrupted; the process ends next
}

bool Line::stop() {
  std::unique_lock lock(mutex_);
  stopping_ = true;
  changed_.notify_all();
  const bool ended = changed_.wait_for(lock, std::chrono::seconds(1), [&] { return stopped_; });
  lock.unlock();
  if (ended && thread_.joinable()) thread_.join();
  return ended;
}

void Line::deliver(const Delivery& delivery) {
  const std::lock_guard lock(mutex_);
  // The daemon repeats what it has no receipt for; once in flight is enough.
  if (!in_flight_.insert(delivery.id).second) return;
  jobs_.push_back({delivery, Clock::now() + settings_.give_up_after, 0});
  changed_.notify_all();
}

void Line::taken(const std::string& key) {
  const std::lock_guard lock(mutex_);
  taken_.push_back(key);
  changed_.notify_all();
}

std::vector<Line::News> Line::take_news() {
  const std::lock_guard lock(mutex_);
  return std::exchange(news_, {});
}

void Line::tell(News news) {
  {
    const std::lock_guard lock(mutex_);
    news_.push_back(std::move(news));
  }
  wake_();
}

void Line::health(bool ok, const std::string& text) {
  const std::string now = (ok ? "+" : "-") + text;
  if (now == last_health_) return;
  last_health_ = now;
  News news;
  news.kind = News::Kind::health;
  news.ok = ok;
  news.text = text;
  tell(std::move(news));
}

void Line::keep_memory() {
  if (const std::string trouble = memory_.save(); !trouble.empty()) health(false, "the memory cannot be written: " + trouble);
}

void Line::finish(const Delivery& delivery, const std::string& outcome, const std::string& text, int reference) {
  // What was handed over must be known before it is told: after a crash between the two it is answered, not sent again.
  if (outcome == "sent") {
    memory_.add({delivery.id, delivery.to, reference, wall_seconds(), outcome, text});
    keep_memory();
  }
  {
    const std::lock_guard lock(mutex_);
    in_flight_.erase(delivery.id);
  }
  News news;
  news.delivery = delivery.id;
  news.outcome = outcome;
  news.text = text;
  tell(std::move(news));
}

void Line::rest(milliseconds span) {
  std::unique_lock lock(mutex_);
  changed_.wait_for(lock, span, [&] { return stopping_; });
}

void Line::run() {
  for (;;) {
    {
      const std::lock_guard lock(mutex_);
      if (stopping_) break;
    }
    turn();
  }
  modem_.close();
  const std::lock_guard lock(mutex_);
  stopped_ = true;
  changed_.notify_all();
}

void Line::turn() {
  give_up_late();
  if (!modem_.is_open()) {
    if (Clock::now() >= open_due_) open_modem();
    else rest(kTurn);
    return;
  }
  settle_taken();
  std::vector<Incoming> incoming;
  const bool waits = modem_.take_pushed(incoming);
  take(incoming);
  hand_texts();
  if (waits || Clock::now() >= store_due_) return read_store();
  if (auto job = next_job()) work_off(std::move(*job));
  else rest(kTurn);
}

/// Urgent texts go first, then calls, which wait for nothing else, then other texts.
std::optional<Line::Job> Line::next_job() {
  const std::lock_guard lock(mutex_);
  const bool due = Clock::now() >= send_due_;
  auto next = std::find_if(jobs_.begin(), jobs_.end(), is_urgent_text);
  if (next != jobs_.end() && !due) return std::nullopt;
  if (next == jobs_.end()) next = std::find_if(jobs_.begin(), jobs_.end(), [](const Job& job) { return job.delivery.by == "call"; });
  if (next == jobs_.end() && due) next = jobs_.begin();
  if (next == jobs_.end()) return std::nullopt;
  Job job = std::move(*next);
  jobs_.erase(next);
  return job;
}

void Line::give_up_late() {
  std::vector<Job> late;
  {
    const std::lock_guard lock(mutex_);
    std::erase_if(jobs_, [&](const Job& job) {
      if (Clock::now() < job.until) return false;
      late.push_back(job);
      return true;
    });
  }
  for (const Job& job : late) {
    if (job.rung >= ring_least()) finish(job.delivery, "sent", kItRang);
    else finish(job.delivery, "failed", job.rung > Clock::duration::zero() ? "urgent texts went ahead of the call" : "the modem could not be reached in time");
  }
}

void Line::open_modem() {
  const std::string trouble = modem_.open(settings_.modem);
  if (!trouble.empty()) return recover(trouble);
  if (!unlock()) {
    modem_.close();
    open_due_ = Clock::now() + kPauseLast;
    return;
  }
  rung_ = 0;
  pause_ = kPauseFirst;
  store_due_ = Clock::now();
  look_at_network();
}

/// False: the SIM stays locked, and people know why.
bool Line::unlock() {
  const SimState sim = modem_.sim();
  if (sim == SimState::ready || sim == SimState::unknown) return true;
  if (sim == SimState::wants_puk) return health(false, "the SIM is locked and wants its PUK; unlock it in a telephone"), false;
  if (settings_.pin.empty()) return health(false, "the SIM wants a PIN, and settings.pin_file is missing"), false;
  if (memory_.pin_spent(settings_.pin)) return health(false, "the SIM has refused this PIN; it is not tried again, since three wrong ones lock the SIM. Put the right one into settings.pin_file"), false;
  // Noted before it is tried, so that no crash can try it twice.
  memory_.spend_pin(settings_.pin);
  if (const std::string trouble = memory_.save(); !trouble.empty()) return health(false, "the PIN is not tried, since its trial cannot be noted: " + trouble), false;
  if (!modem_.enter_pin(settings_.pin)) return health(false, "the SIM refuses the PIN of settings.pin_file; it is not tried again"), false;
  memory_.forget_pin();
  keep_memory();
  return true;
}

/// The next rung: resynchronise, reopen by name, radio off and on, reset, then from the top with longer pauses.
void Line::recover(const std::string& why) {
  ++rung_;
  if (rung_ >= kRungOfHealth) health(false, why);
  switch (rung_) {
    case 1:
      modem_.resynchronise();
      break;
    case 2:
      modem_.close();
      break;
    case 3:
      modem_.radio_off_and_on();
      break;
    case 4:
      modem_.reset();
      open_due_ = Clock::now() + settings_.settle;
      return;
    default:
      modem_.close();
      pause_ = std::min(2 * pause_, kPauseLast);
  }
  open_due_ = Clock::now() + pause_;
}

void Line::work_off(Job job) {
  if (const Memory::Text* known = memory_.find(job.delivery.id)) return finish(job.delivery, known->outcome, known->words, known->reference);
  if (job.delivery.by != "call") return send_text(job);
  ring(std::move(job));
}

milliseconds Line::ring_least() const { return std::min(kRingLeast, settings_.ring_for); }

bool Line::urgent_text_waits() {
  const std::lock_guard lock(mutex_);
  return stopping_ || (Clock::now() >= send_due_ && std::any_of(jobs_.begin(), jobs_.end(), is_urgent_text));
}

/// A call is broken off for an urgent text and for whatever comes in, and rings on afterwards: whether a modem sends a
/// text during a call differs from make to make, but all of them hang up.
void Line::ring(Job job) {
  const auto begun = Clock::now();
  const auto wanted = std::max(settings_.ring_for - std::chrono::duration_cast<milliseconds>(job.rung), ring_least());
  const auto left = std::max(std::chrono::duration_cast<milliseconds>(job.until - begun), kRingLast);
  const auto span = std::min(wanted, left);
  const std::string trouble = modem_.ring(job.delivery.to, span, [this] { return urgent_text_waits(); });
  if (!trouble.empty()) return finish(job.delivery, "failed", trouble);
  const auto rung = Clock::now() - begun;
  if (rung >= span) return finish(job.delivery, "sent", kItRang);
  job.rung += rung;
  const std::lock_guard lock(mutex_);
  jobs_.push_front(std::move(job));
}

void Line::send_text(Job& job) {
  const Sent sent = modem_.send(job.delivery.to, std::string(within(job.delivery.text, kTextSeptetsMax)));
  send_due_ = Clock::now() + settings_.pace;
  if (sent.fault == SendFault::none) {
    rung_ = 0;
    finish(job.delivery, "sent", "the network has taken it", sent.reference);
    return look_at_network();
  }
  const bool again = ++job.tries < kTriesMax && Clock::now() + kRetryPause < job.until &&
                     (sent.fault == SendFault::passing || sent.fault == SendFault::full || sent.fault == SendFault::broken);
  if (sent.fault == SendFault::full) read_store();
  if (sent.fault == SendFault::broken || sent.fault == SendFault::silent) recover(sent.text);
  if (sent.fault == SendFault::path) health(false, sent.text);
  if (!again) return finish(job.delivery, "failed", sent.text);
  send_due_ = Clock::now() + kRetryPause;
  const std::lock_guard lock(mutex_);
  jobs_.push_front(std::move(job));
}

/// Texts stay in the store until the daemon has them: what happens in between loses none.
void Line::read_store() {
  store_due_ = Clock::now() + settings_.read_store_every;
  std::vector<Incoming> stored;
  if (const std::string trouble = modem_.read_store(stored); !trouble.empty()) return recover(trouble);
  take(stored);
  hand_texts();
  for (const Incoming& one : stored) {
    if (one.kind != Incoming::Kind::text || inbox_.may_go(one)) modem_.remove(one.location);
  }
  inbox_.forget(Clock::now());
  look_at_network();
}

void Line::look_at_network() {
  bool registered = false;
  const auto words = modem_.network(registered);
  if (!words) return recover("the modem does not answer");
  rung_ = 0;
  health(registered, *words);
}

void Line::take(const std::vector<Incoming>& incoming) {
  for (const Incoming& one : incoming) {
    if (one.kind == Incoming::Kind::report) take_report(one);
    if (one.kind == Incoming::Kind::text) inbox_.see(one, Clock::now());
  }
}

void Line::hand_texts() {
  for (const Inbox::Text& text : inbox_.ready(Clock::now())) {
    News news;
    news.kind = News::Kind::reply;
    news.from = text.whole.number;
    news.text = text.whole.text;
    news.time = text.whole.time;
    news.key = text.key;
    tell(std::move(news));
  }
}

/// What the daemon has leaves the store at once.
void Line::settle_taken() {
  std::vector<std::string> keys;
  {
    const std::lock_guard lock(mutex_);
    keys = std::exchange(taken_, {});
  }
  for (const std::string& key : keys) inbox_.taken(key);
  if (!keys.empty()) store_due_ = Clock::now();
}

void Line::take_report(const Incoming& report) {
  Memory::Text* text = memory_.about(report.reference, report.number, wall_seconds());
  if (text == nullptr) return;  // a copy, or about a text of somebody else's
  const Report meaning = meaning_of(report.status);
  if (meaning == Report::waits || meaning == Report::unproven) return;
  text->outcome = meaning == Report::reached ? "delivered" : "failed";
  text->words = meaning == Report::reached ? "the telephone has it" : fmt::format("the network gave up (status {:#04x})", report.status);
  News news;
  news.delivery = text->delivery;
  news.outcome = text->outcome;
  news.text = text->words;
  keep_memory();
  tell(std::move(news));
}

}  // namespace underwing
