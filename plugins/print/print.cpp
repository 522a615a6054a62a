#include <fcntl.h>
#include <fmt/format.h>
#include <unistd.h>

#include <array>
#include <cerrno>
#include <cstring>
#include <map>
#include <optional>
#include <vector>

#include "plugins/shared/clock.hpp"
#include "plugins/shared/line_reader.hpp"
#include "plugins/shared/plugin.hpp"

namespace underwing {
namespace {

constexpr std::string_view kHelp =
    R"(underwing-print: a channel that shows texts on the terminal or in a file, and takes replies.

It speaks Underwing's line protocol on standard input and output; plugins/README.md describes it and every
setting (show, replies, people). By hand:

  { echo '{"jsonrpc":"2.0","method":"settings","params":{}}'
    echo '{"jsonrpc":"2.0","method":"deliver","params":{"delivery":"d-1","to":"+44 7700 900101","by":"text",
            "who":"ines","text":"hello"}}' | tr -d '\n'; echo
  } | underwing-print

Options: --help, --version.
)";

/// A person of a demo, who answers by script.
struct Answer {
  std::string who;
  int when_told = 0;  ///< counts the texts told to this person; 0: every one
  double after_s = 0;
  std::string contains;  ///< only texts that contain this; empty: all
  std::string say;
};

struct Due {
  double at_s;
  std::string to, by, say;
};

class Print final : public Plugin {
 public:
  Print() : Plugin("print", {"deliver", "step"}) {}
  ~Print() override {
    if (show_fd_ > STDERR_FILENO) close(show_fd_);
    if (replies_fd_ >= 0) close(replies_fd_);
  }

 private:
  void on_settings(Settings& settings) override {
    for (Settings& entry : settings.list("people")) answers_.push_back(read_answer(entry));
    if (const auto path = settings.text("show", ""); !path.empty()) {
      show_fd_ = open(path.c_str(), O_WRONLY | O_CREAT | O_APPEND | O_CLOEXEC, 0640);
      if (show_fd_ < 0) settings.refuse("show", fmt::format("cannot be opened: {}", std::strerror(errno)));
    }
    replies_path_ = settings.text("replies", "");
    if (!replies_path_.empty()) open_replies();
  }

  static Answer read_answer(Settings& entry) {
    Answer answer;
    answer.who = entry.text("who");
    answer.when_told = static_cast<int>(entry.number("when_told", 0, 1, 1000));
    answer.after_s = entry.span("after", 0);
    answer.contains = entry.text("contains", "");
    answer.say = entry.text("say");
    entry.finish();
    return answer;
  }

  /// A pipe is opened for writing too, so that it does not end when the first writer leaves.
  void open_replies() {
    replies_fd_ = open(replies_path_.c_str(), O_RDWR | O_CREAT | O_NONBLOCK | O_CLOEXEC, 0640);
    if (replies_fd_ < 0) {
      throw SettingsError(
          fmt::format("settings.replies '{}' cannot be opened: {}.", replies_path_, std::strerror(errno)));
    }
    // What stands in a plain file was taken in an earlier life. A pipe has no end to go to.
    lseek(replies_fd_, 0, SEEK_END);
  }

  void on_deliver(const Delivery& delivery) override {
    const std::string text = fmt::format("{}  {} to {} ({}): {}\n", clock_text(), delivery.by, delivery.who,
                                         delivery.to, delivery.text);
    if (write(show_fd_, text.data(), text.size()) != static_cast<ssize_t>(text.size())) {
      return receipt(delivery.id, "failed", fmt::format("cannot show it: {}", std::strerror(errno)));
    }
    receipt(delivery.id, "delivered", "shown");
    plan_answers(delivery);
  }

  void plan_answers(const Delivery& delivery) {
    const int told = ++told_[delivery.who];
    for (const Answer& answer : answers_) {
      if (answer.who != delivery.who || (answer.when_told != 0 && answer.when_told != told)) continue;
      if (delivery.text.find(answer.contains) == std::string::npos) continue;
      due_.push_back({now_s() + answer.after_s, delivery.to, delivery.by, answer.say});
    }
  }

  void say_what_is_due() {
    const double now = now_s();
    for (std::size_t i = 0; i < due_.size();) {
      if (due_[i].at_s > now) {
        ++i;
        continue;
      }
      const Due said = due_[i];
      due_.erase(due_.begin() + static_cast<std::ptrdiff_t>(i));
      const std::string text = fmt::format("{}  {} replies: {}\n", clock_text(), said.to, said.say);
      [[maybe_unused]] const auto shown = write(show_fd_, text.data(), text.size());
      reply(said.to, said.by, said.say);
    }
  }

  void on_step(double time) override {
    engine_s_ = time;
    read_replies();
    say_what_is_due();
  }

  std::optional<Clock::time_point> on_time(Clock::time_point now) override {
    read_replies();
    if (!engine_s_) say_what_is_due();
    if (replies_fd_ < 0 && (engine_s_ || due_.empty())) return std::nullopt;
    return now + std::chrono::milliseconds(200);
  }

  /// Lines "NUMBER-or-name TEXT"; a number may hold spaces, so the text begins at the first letter after it.
  void read_replies() {
    if (replies_fd_ < 0) return;
    std::array<char, 4096> bytes{};
    for (ssize_t count = 0; (count = read(replies_fd_, bytes.data(), bytes.size())) > 0;) {
      replies_.feed({bytes.data(), static_cast<std::size_t>(count)});
    }
    for (std::string_view line; replies_.next(line);) {
      const bool number = line.starts_with('+') || (!line.empty() && line[0] >= '0' && line[0] <= '9');
      const std::size_t end = number ? line.find_first_not_of("+0123456789 ") : line.find(' ');
      if (line.empty() || end == std::string_view::npos) continue;
      std::string_view from = line.substr(0, end);
      while (from.ends_with(' ')) from.remove_suffix(1);
      std::string_view text = line.substr(end);
      while (text.starts_with(' ')) text.remove_prefix(1);
      if (!text.empty()) reply(std::string(from), "text", std::string(text));
    }
  }

  /// Engine time from the first step on, before that the wall clock.
  [[nodiscard]] double now_s() const { return engine_s_ ? *engine_s_ : wall_seconds(); }

  /// "2026-03-02 02:14", UTC.
  [[nodiscard]] std::string clock_text() const {
    std::string text = write_rfc3339(now_s()).substr(0, 16);
    text[10] = ' ';
    return engine_s_ ? text.substr(11) : text;  // in a night that is played, the date is no news
  }

  std::optional<double> engine_s_;
  int show_fd_ = STDERR_FILENO;
  int replies_fd_ = -1;
  std::string replies_path_;
  LineReader replies_;
  std::vector<Answer> answers_;
  std::map<std::string, int> told_;
  std::vector<Due> due_;
};

}  // namespace
}  // namespace underwing

int main(int argc, char** argv) {
  if (const auto status = underwing::answer_options(argc, argv, "underwing-print", underwing::kHelp)) {
    return *status;
  }
  underwing::Print plugin;
  return plugin.run();
}
