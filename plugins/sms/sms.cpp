#include <fmt/format.h>
#include <sodium.h>
#include <unistd.h>

#include <cstdio>
#include <cstdlib>

#include "plugins/shared/secret_file.hpp"
#include "plugins/sms/line.hpp"

namespace underwing {
namespace {

constexpr std::string_view kHelp =
    R"(underwing-sms: texts and calls through a GSM modem.

It speaks Underwing's line protocol on standard input and output; plugins/README.md describes it and every
setting. By hand:

  { echo '{"jsonrpc":"2.0","method":"settings","params":{"device":"/dev/ttyUSB2","memory":"sms-memory.json"}}'
    cat; } | underwing-sms

This program is linked with libgammu, so its binary is under the GNU General Public License, version 2 or later;
Underwing's own sources stay under the MIT licence.

Options: --help, --version.
)";

class Sms final : public Plugin {
 public:
  Sms() : Plugin("sms", {"deliver"}) {}

 private:
  static std::chrono::milliseconds span_of(Settings& settings, const char* key, std::chrono::milliseconds otherwise) {
    return std::chrono::milliseconds(static_cast<std::int64_t>(1000.0 * settings.span(key, static_cast<double>(otherwise.count()) / 1000.0)));
  }

  void on_settings(Settings& settings) override {
    LineSettings line;
    line.modem.device = settings.text("device");
    line.modem.connection = settings.text("connection", line.modem.connection);
    line.modem.send_within = std::chrono::duration_cast<std::chrono::seconds>(span_of(settings, "send_within", line.modem.send_within));
    line.pin = read_secret(settings, "pin_file", "underwing-sms");
    line.pace = span_of(settings, "pace", line.pace);
    line.read_store_every = span_of(settings, "read_store_every", line.read_store_every);
    line.ring_for = span_of(settings, "ring_for", line.ring_for);
    line.settle = span_of(settings, "settle", line.settle);
    std::string path = settings.text("memory", "");
    const char* state = std::getenv("STATE_DIRECTORY");  // systemd's, for the daemon and all that it starts
    if (path.empty() && state != nullptr && *state != '\0') path = std::string(state) + "/sms-memory.json";
    if (path.empty()) settings.refuse("memory", "is missing: a file in which the plugin remembers what it has sent, and a PIN that was refused");
    Memory memory;
    if (const std::string trouble = memory.open(path); !trouble.empty()) settings.refuse("memory", "cannot be used: " + trouble);
    if (const std::string trouble = memory.save(); !trouble.empty()) settings.refuse("memory", "cannot be written: " + trouble);
    settings.finish();
    line_ = std::make_unique<Line>(std::move(line), std::move(memory), [this] { wake(); });
  }

  void on_deliver(const Delivery& delivery) override {
    if (line_) line_->deliver(delivery);
  }

  void on_taken(const std::string& key) override {
    if (line_) line_->taken(key);
  }

  void on_wake() override {
    for (const Line::News& news : line_->take_news()) {
      switch (news.kind) {
        case Line::News::Kind::receipt: receipt(news.delivery, news.outcome, news.text); break;
        case Line::News::Kind::reply: reply(news.from, "text", news.text, news.time, news.key); break;
        case Line::News::Kind::health: health(news.ok, news.text); break;
      }
    }
  }

  void on_stop() override {
    if (line_) static_cast<void>(line_->stop());
  }

  std::unique_ptr<Line> line_;
};

}  // namespace
}  // namespace underwing

int main(int argc, char** argv) {
  if (const auto status = underwing::answer_options(argc, argv, "underwing-sms", underwing::kHelp)) return *status;
  if (sodium_init() < 0) return 2;
  // Not destroyed: the library may still wait for the modem.
  auto* plugin = new underwing::Sms();
  const int status = plugin->run();
  std::fflush(stderr);
  _exit(status);
}
