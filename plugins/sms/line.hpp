#pragma once

#include <condition_variable>
#include <deque>
#include <functional>
#include <mutex>
#include <set>
#include <optional>
#include <string>
#include <thread>
#include <vector>

#include "plugins/shared/plugin.hpp"
#include "plugins/sms/inbox.hpp"
#include "plugins/sms/memory.hpp"
#include "plugins/sms/modem.hpp"

namespace underwing {

struct LineSettings {
  ModemSettings modem;
  std::string pin;
  std::chrono::milliseconds pace{5000};          ///< between two texts: operators throttle bursts (common practice)
  std::chrono::milliseconds read_store_every{60000};
  std::chrono::milliseconds ring_for{25000};
  std::chrono::milliseconds settle{10000};       ///< a modem that was reset comes back after so long
  std::chrono::milliseconds give_up_after{50000};  ///< the daemon takes the next way after 60 s without a receipt
};

/// The telephone line: a thread that has the modem to itself, works off deliveries one by one, reads what comes in, and
/// brings the modem back by ever harder means. What it finds waits until the plugin takes it.
class Line {
 public:
  struct News {
    enum class Kind : std::uint8_t { receipt, reply, health };
    Kind kind = Kind::receipt;
    std::string delivery, outcome, text;  ///< of a receipt; `text` of all
    std::string from, key;       ///< of a reply
    std::optional<double> time;  ///< of a reply, where it is known
    bool ok = false;
  };

  /// `memory` belongs to the line from here on. `wake` is called on its thread when there is news.
  Line(LineSettings settings, Memory memory, std::function<void()> wake);
  ~Line();
  Line(const Line&) = delete;
  Line& operator=(const Line&) = delete;

  void deliver(const Delivery& delivery);
  /// The daemon has the reply of this key: it may leave the modem's store.
  void taken(const std::string& key);
  [[nodiscard]] std::vector<News> take_news();
  /// Ends the thread as soon as the modem lets it; false: it did not within a second.
  [[nodiscard]] bool stop();

 private:
  using Clock = std::chrono::steady_clock;
  struct Job {
    Delivery delivery;
    Clock::time_point until;
    int tries = 0;
    Clock::duration rung{0};  ///< of a call: so far
  };

  void run();
  void turn();
  void open_modem();
  [[nodiscard]] bool unlock();
  void recover(const std::string& why);
  [[nodiscard]] std::optional<Job> next_job();
  [[nodiscard]] static bool is_urgent_text(const Job& job);
  [[nodiscard]] bool urgent_text_waits();
  void work_off(Job job);
  void ring(Job job);
  [[nodiscard]] std::chrono::milliseconds ring_least() const;
  void send_text(Job& job);
  void give_up_late();
  void read_store();
  void take(const std::vector<Incoming>& incoming);
  void hand_texts();
  void settle_taken();
  void take_report(const Incoming& report);
  void look_at_network();
  void finish(const Delivery& delivery, const std::string& outcome, const std::string& text, int reference = -1);
  void tell(News news);
  void health(bool ok, const std::string& text);
  void keep_memory();
  void rest(std::chrono::milliseconds span);

  const LineSettings settings_;
  Memory memory_;
  std::function<void()> wake_;
  Modem modem_;
  Inbox inbox_;
  int rung_ = 0;                  ///< of the ladder of recovery
  Clock::time_point open_due_{};
  Clock::time_point send_due_{};
  Clock::time_point store_due_{};
  std::chrono::milliseconds pause_{0};
  std::string last_health_;

  std::mutex mutex_;  ///< guards what follows
  std::condition_variable changed_;
  std::deque<Job> jobs_;
  std::set<std::string> in_flight_;
  std::vector<News> news_;
  std::vector<std::string> taken_;  ///< keys of replies
  bool stopping_ = false;
  bool stopped_ = false;
  std::thread thread_;
};

}  // namespace underwing
