#pragma once

#include <chrono>
#include <functional>
#include <memory>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

/// A GSM modem through libgammu. Every call blocks: the modem belongs to one thread of its own.
namespace underwing {

struct ModemSettings {
  std::string device;                    ///< best a name under /dev/serial/by-id, which a new number does not change
  std::string connection = "at115200";   ///< libgammu's word for AT commands at a speed
  std::chrono::seconds send_within{30};  ///< for the modem's answer to one text
};

/// What came from the network.
struct Incoming {
  enum class Kind : std::uint8_t { text, report, other };
  Kind kind = Kind::text;
  std::string number;
  std::string text;   ///< UTF-8
  std::string stamp;  ///< the centre's time, to tell a copy from a second text
  std::optional<double> time;  ///< of a text, by the centre's clock: seconds since 1970; none: that clock is not set
  int reference = 0;  ///< of a report: TP-MR of the text that it is about
  int status = 0;     ///< of a report: TP-ST (3GPP TS 23.040, 9.2.3.15)
  int group = 0;      ///< of a part of a long text: what its parts have in common
  int part = 1, parts = 1;
  int location = 0;   ///< in the store; 0: it was pushed
};

/// What a refused text asks for, by the number of +CMS ERROR (3GPP TS 27.005, 3.2.5; TS 24.011, annex E).
enum class SendFault : std::uint8_t {
  none,
  passing,  ///< try again soon: congestion, temporary failure, busy SIM, no service at the moment
  full,     ///< the message store is full: free it, then try again
  broken,   ///< the modem itself: reset it
  number,   ///< this number: give up on it
  path,     ///< SIM, PIN, subscription or centre: no text will go out
  silent    ///< no answer: it may have gone out
};
[[nodiscard]] SendFault fault_of(int cms_error);

struct Sent {
  SendFault fault = SendFault::none;
  int reference = -1;
  std::string text;  ///< of a fault: what the modem said
};

enum class SimState : std::uint8_t { ready, wants_pin, wants_puk, unknown };

class Modem {
 public:
  Modem();
  ~Modem();
  Modem(const Modem&) = delete;
  Modem& operator=(const Modem&) = delete;

  /// Empty: open, and the modem answers. Else why not, in words.
  [[nodiscard]] std::string open(const ModemSettings& settings);
  void close();
  [[nodiscard]] bool is_open() const;

  [[nodiscard]] SimState sim();
  /// Enters the PIN once. False: refused, or no answer.
  [[nodiscard]] bool enter_pin(const std::string& pin);

  /// Sends one part with a delivery report asked for, valid for an hour, and waits for the modem's answer.
  [[nodiscard]] Sent send(const std::string& number, const std::string& text);
  /// Lets the number ring for so long, or until something comes in or `enough` says so, then hangs up. Empty: it rang, or
  /// was answered; both say nothing of the person.
  [[nodiscard]] std::string ring(const std::string& number, std::chrono::milliseconds how_long, const std::function<bool()>& enough);

  /// Takes what the modem has pushed. Returns at once. True: something waits in the store.
  [[nodiscard]] bool take_pushed(std::vector<Incoming>& taken);
  /// Reads the whole store. Empty: fine; else why it could not be read.
  [[nodiscard]] std::string read_store(std::vector<Incoming>& read);
  void remove(int location);

  /// "signal 60 %, home network"; nullopt where the modem does not answer.
  [[nodiscard]] std::optional<std::string> network(bool& registered);

  /// Steps of recovery, each harder, straight to the port: libgammu says nothing to a modem that did not greet it. They
  /// close the modem. True: it answered.
  bool resynchronise();  ///< ends a text that was begun, by the bytes of V.250 and TS 27.005
  bool radio_off_and_on();
  bool reset();

 private:
  [[nodiscard]] bool say_raw(std::string_view bytes, std::chrono::milliseconds wait);

  struct Impl;
  std::unique_ptr<Impl> impl_;
};

}  // namespace underwing
