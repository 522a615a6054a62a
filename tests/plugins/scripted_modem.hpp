#pragma once

#include <atomic>
#include <condition_variable>
#include <deque>
#include <map>
#include <mutex>
#include <optional>
#include <string>
#include <thread>
#include <vector>

namespace underwing::test {

/// A text that the modem was given, as its PDU says (3GPP TS 23.040, 9.2.2.2).
struct Submitted {
  std::string number, text;  ///< digits with "+" where international; the text where it is 7-bit
  bool wants_report = false;
  int validity = -1;         ///< TP-VP, relative; -1: none
  int coding = -1;           ///< TP-DCS
  std::string user_data;     ///< TP-UD, in hex
  int septets = 0;           ///< TP-UDL
};

/// A GSM modem on a pseudo-terminal: echoes, and speaks the commands of 3GPP TS 27.005 and 27.007 in PDU mode as
/// libgammu demands them. Faults by switch.
class ScriptedModem {
 public:
  ScriptedModem();
  ~ScriptedModem();
  ScriptedModem(const ScriptedModem&) = delete;
  ScriptedModem& operator=(const ScriptedModem&) = delete;

  [[nodiscard]] const std::string& device() const { return link_; }  ///< a stable name for the terminal
  /// The cable is pulled, and the modem comes back as another device under the same stable name.
  void unplug();
  void plug_in();

  /// The next text that the modem took; nullopt after a while.
  std::optional<Submitted> submitted();
  [[nodiscard]] std::size_t submitted_count();
  /// How often a command that begins so was given.
  [[nodiscard]] std::size_t count_of(const std::string& command);
  bool wait_for(const std::string& command, std::size_t times = 1);

  /// Pushes an incoming text; stored: puts it into the store instead and pushes a notice.
  void push_text(const std::string& pdu);
  void store_text(const std::string& pdu, bool notice = true);
  void push_report(const std::string& pdu);
  [[nodiscard]] std::size_t stored();
  /// The modem's reference of the newest text.
  [[nodiscard]] int last_reference();

  std::atomic<int> errors{0};            ///< so many texts are refused with `error`
  std::atomic<int> error{38};
  std::atomic<bool> no_prompt{false};
  std::atomic<bool> lose_ok{false};      ///< takes the text and says nothing
  std::atomic<int> late_ms{0};           ///< the answer to a text comes so late
  std::atomic<bool> notice_between{false};  ///< an unasked line stands between the reference and OK
  std::atomic<bool> deaf{false};         ///< answers nothing
  std::atomic<bool> wants_pin{false};
  std::string pin = "1234";

 private:
  void run();
  void open_terminal();
  void close_terminal();
  void take(char c);
  void command(const std::string& line);
  void take_pdu(const std::string& hex);
  void say(const std::string& text);
  void ok() { say("\r\nOK\r\n"); }

  std::string folder_, link_;
  std::recursive_mutex mutex_;
  std::condition_variable_any changed_;
  int master_ = -1;
  std::string line_, pdu_;
  bool in_pdu_ = false;
  std::deque<Submitted> submitted_;
  std::size_t submitted_count_ = 0;
  std::vector<std::string> commands_;
  std::map<int, std::string> store_;
  int reference_ = 40;
  std::atomic<bool> stop_{false};
  std::thread thread_;
};

/// PDUs as a network makes them: texts in the 7-bit alphabet, by an independent reading of TS 23.040.
std::string deliver_pdu(const std::string& number, const std::string& text);
/// Part `part` of `parts` of a long text, 8-bit reference.
std::string deliver_part_pdu(const std::string& number, const std::string& text, int group, int part, int parts);
std::string report_pdu(const std::string& number, int reference, int status);

}  // namespace underwing::test
