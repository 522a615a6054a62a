#include "plugins/sms/line.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <utility>

#include "plugins/shared/clock.hpp"

namespace underwing {

namespace {

using std::chrono::milliseconds;

constexpr milliseconds kTurn{50};
constexpr milliseconds kPauseFirst{2000}, kPauseLast{300'000};
constexpr milliseconds kRetryPause{3000};
constexpr int kTriesMax = 3;
constexpr int kRungOfHealth = 3;  ///< from here on people have to know

/// TP-ST (3GPP TS 23.040, 9.2.3.15): below 0x20 the centre has ended with success, from 0x40 on without.
enum class Report { reached, unproven, waits, failed };
Report meaning_of(int status) {
  if (status == 0x00 || status == 0x02) return Report::reached;
  if (status < 0x20) return Report::unproven;
  return status < 0x40 ? Report::waits : Report::failed;
}

}  // namespace

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
  std::vector<Incoming> incoming;
  const bool waits = modem_.take_pushed(incoming);
  take(incoming);
  if (waits || Clock::now() >= store_due_) return read_store();
  std::optional<Job> job;
  {
    const std::lock_guard lock(mutex_);
    // A text waits its turn; a call does not.
    const auto next = std::find_if(jobs_.begin(), jobs_.end(), [&](const Job& each) { return each.delivery.by == "call" || Clock::now() >= send_due_; });
    if (next != jobs_.end()) {
      job = std::move(*next);
      jobs_.erase(next);
    }
  }
  if (job) work_off(std::move(*job));
  else rest(kTurn);
}

void Line::give_up_late() {
  std::vector<Delivery> late;
  {
    const std::lock_guard lock(mutex_);
    std::erase_if(jobs_, [&](const Job& job) {
      if (Clock::now() < job.until) return false;
      late.push_back(job.delivery);
      return true;
    });
  }
  for (const Delivery& delivery : late) finish(delivery, "failed", "the modem could not be reached in time");
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
  const auto left = std::chrono::duration_cast<std::chrono::seconds>(job.until - Clock::now());
  const auto how_long = std::min(std::chrono::duration_cast<std::chrono::seconds>(settings_.ring_for), std::max(left, std::chrono::seconds(5)));
  const std::string trouble = modem_.ring(job.delivery.to, how_long);
  if (trouble.empty()) return finish(job.delivery, "sent", "it rang; that proves nobody");
  finish(job.delivery, "failed", trouble);
}

void Line::send_text(Job& job) {
  const Sent sent = modem_.send(job.delivery.to, one_part(job.delivery.text));
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

void Line::read_store() {
  store_due_ = Clock::now() + settings_.read_store_every;
  std::vector<Incoming> incoming;
  const std::string trouble = modem_.empty_store(incoming);
  take(incoming);
  if (!trouble.empty()) return recover(trouble);
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
  const auto reply = [&](const Incoming& text) {
    News news;
    news.kind = News::Kind::reply;
    news.from = text.number;
    news.text = text.text;
    news.time = text.time;
    tell(std::move(news));
  };
  for (const Incoming& one : incoming) {
    if (one.kind == Incoming::Kind::report) take_report(one);
    else if (const auto whole = long_texts_.take(one, Clock::now())) reply(*whole);
  }
  for (const Incoming& rest : long_texts_.overdue(Clock::now())) reply(rest);
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
