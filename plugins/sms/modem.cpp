#include "plugins/sms/modem.hpp"

#include <fcntl.h>
#include <fmt/format.h>
#include <gammu.h>
#include <poll.h>
#include <termios.h>
#include <unistd.h>

#include <algorithm>
#include <array>
#include <cstring>
#include <ctime>
#include <set>
#include <thread>
#include <utility>

#include "plugins/shared/clock.hpp"

namespace underwing {

namespace {

using Clock = std::chrono::steady_clock;

constexpr auto kTurn = std::chrono::milliseconds(20);
constexpr int kRepliesAwaited = 1;  ///< libgammu's number of tries for one command
constexpr std::size_t kTextMax = 160;
constexpr auto kGreetingWithin = std::chrono::seconds(2);

std::string utf8(const unsigned char* text) {
  std::string out(2 * GSM_MAX_SMS_LENGTH + 4, '\0');
  out.resize(4 * UnicodeLength(text) + 4);
  EncodeUTF8(out.data(), text);
  out.resize(std::strlen(out.c_str()));
  return out;
}

std::string digits_of(const std::string& number) {
  std::string digits;
  for (const char c : number) {
    if ((c >= '0' && c <= '9') || (c == '+' && digits.empty())) digits += c;
  }
  return digits;
}

/// The centre gives its local time and how far that is ahead of UTC (3GPP TS 23.040, 9.2.3.11). A clock that was never
/// set, or is a day ahead of ours, tells nothing.
std::optional<double> seconds_of(const GSM_DateTime& at) {
  constexpr int kEarliestYear = 2020;
  constexpr double kAheadMax = 86400;
  if (at.Year < kEarliestYear) return std::nullopt;
  std::tm fields{};
  fields.tm_year = at.Year - 1900;
  fields.tm_mon = at.Month - 1;
  fields.tm_mday = at.Day;
  fields.tm_hour = at.Hour;
  fields.tm_min = at.Minute;
  fields.tm_sec = at.Second;
  const double seconds = static_cast<double>(timegm(&fields)) - at.Timezone;
  return seconds < wall_seconds() + kAheadMax ? std::optional(seconds) : std::nullopt;
}

Incoming to_incoming(const GSM_SMSMessage& message) {
  Incoming in;
  in.kind = message.PDU == SMS_Status_Report ? Incoming::Kind::report : message.PDU == SMS_Deliver ? Incoming::Kind::text : Incoming::Kind::other;
  in.location = message.Location;
  in.number = utf8(message.Number);
  in.reference = message.MessageReference;
  in.status = message.DeliveryStatus;
  const GSM_DateTime& at = message.DateTime;
  in.stamp = fmt::format("{:04}-{:02}-{:02} {:02}:{:02}:{:02}", at.Year, at.Month, at.Day, at.Hour, at.Minute, at.Second);
  if (in.kind == Incoming::Kind::text) {
    in.text = utf8(message.Text);
    in.time = seconds_of(at);
  }
  const GSM_UDHHeader& header = message.UDH;
  if (header.Type != UDH_NoUDH && header.AllParts > 1) {
    in.group = header.ID16bit > 0 ? header.ID16bit : header.ID8bit;
    in.part = header.PartNumber;
    in.parts = header.AllParts;
  }
  return in;
}

}  // namespace

SendFault fault_of(int error) {
  static const std::set<int> kPassing{27, 38, 41, 42, 47, 192, 194, 314, 331, 332};
  static const std::set<int> kFull{208, 211, 322};
  static const std::set<int> kNumber{1, 21, 28, 30, 195, 196};
  static const std::set<int> kPath{8, 10, 50, 193, 310, 311, 312, 313, 316, 317, 318, 330};
  if (kPassing.contains(error)) return SendFault::passing;
  if (kFull.contains(error)) return SendFault::full;
  if (kNumber.contains(error)) return SendFault::number;
  if (kPath.contains(error)) return SendFault::path;
  return SendFault::broken;
}

struct Modem::Impl {
  GSM_StateMachine* machine = nullptr;
  ModemSettings settings;
  bool answered = false;  ///< the modem has said what became of the text
  int status = 0, reference = -1;
  bool waiting = false;   ///< something lies in the store
  std::vector<Incoming> pushed;

  static void on_sent(GSM_StateMachine*, int status, int reference, void* self) {
    auto* impl = static_cast<Impl*>(self);
    impl->answered = true;
    impl->status = status;
    impl->reference = reference;
  }

  static void on_incoming(GSM_StateMachine*, GSM_SMSMessage* message, void* self) {
    auto* impl = static_cast<Impl*>(self);
    // A notice that something was stored has no text of its own, and no state.
    if (message->State == 0 || (message->PDU != SMS_Deliver && message->PDU != SMS_Status_Report)) {
      impl->waiting = true;
      return;
    }
    impl->pushed.push_back(to_incoming(*message));
    impl->pushed.back().location = 0;  // of a text that it hands over, libgammu leaves the place as memory had it
  }

  void turn() const {
    GSM_ReadDevice(machine, FALSE);
    std::this_thread::sleep_for(kTurn);
  }
};

Modem::Modem() : impl_(std::make_unique<Impl>()) { GSM_InitLocales(nullptr); }
Modem::~Modem() { close(); }

bool Modem::is_open() const { return impl_->machine != nullptr; }

std::string Modem::open(const ModemSettings& settings) {
  close();
  impl_->settings = settings;
  // libgammu would wait for long on a device that is not there.
  if (::access(settings.device.c_str(), R_OK | W_OK) != 0) return fmt::format("{}: {}", settings.device, std::strerror(errno));
  // It takes libgammu most of a minute to find that nobody answers.
  if (!say_raw("AT\r", kGreetingWithin) && !say_raw("AT\r", kGreetingWithin)) return fmt::format("{}: the modem does not answer", settings.device);
  impl_->machine = GSM_AllocStateMachine();
  if (impl_->machine == nullptr) return "no memory for the modem";
  GSM_Config* config = GSM_GetConfig(impl_->machine, 0);
  // libgammu frees these.
  config->Device = ::strdup(settings.device.c_str());
  config->Connection = ::strdup(settings.connection.c_str());
  config->DebugFile = ::strdup("");
  std::strncpy(config->Model, "at", sizeof config->Model - 1);
  config->SyncTime = config->LockDevice = config->StartInfo = config->UseGlobalDebugFile = FALSE;
  // New texts as a notice, reports at once (TS 27.005, 3.4.1): what libgammu chooses by itself may store reports unread.
  constexpr std::array<int, 5> kNotices{2, 1, 0, 1, 0};
  std::copy(kNotices.begin(), kNotices.end(), config->CNMIParams);
  GSM_SetConfigNum(impl_->machine, 1);
  const GSM_Error error = GSM_InitConnection(impl_->machine, kRepliesAwaited);
  if (error != ERR_NONE) {
    close();
    return fmt::format("{}: {}", settings.device, GSM_ErrorString(error));
  }
  GSM_SetSendSMSStatusCallback(impl_->machine, &Impl::on_sent, impl_.get());
  GSM_SetIncomingSMSCallback(impl_->machine, &Impl::on_incoming, impl_.get());
  // A modem that refuses these gets libgammu's choice; where it does not push at all, the store is read every minute.
  if (GSM_SetIncomingSMS(impl_->machine, TRUE) != ERR_NONE) {
    for (int& parameter : config->CNMIParams) parameter = -1;
    static_cast<void>(GSM_SetIncomingSMS(impl_->machine, TRUE));
  }
  return "";
}

void Modem::close() {
  if (impl_->machine == nullptr) return;
  if (GSM_IsConnected(impl_->machine)) GSM_TerminateConnection(impl_->machine);
  GSM_FreeStateMachine(impl_->machine);
  impl_->machine = nullptr;
}

SimState Modem::sim() {
  GSM_SecurityCodeType wanted{};
  if (GSM_GetSecurityStatus(impl_->machine, &wanted) != ERR_NONE) return SimState::unknown;
  if (wanted == SEC_None) return SimState::ready;
  return wanted == SEC_Pin ? SimState::wants_pin : SimState::wants_puk;
}

bool Modem::enter_pin(const std::string& pin) {
  GSM_SecurityCode code{};
  code.Type = SEC_Pin;
  std::strncpy(code.Code, pin.c_str(), sizeof code.Code - 1);
  return GSM_EnterSecurityCode(impl_->machine, &code) == ERR_NONE && sim() == SimState::ready;
}

Sent Modem::send(const std::string& number, const std::string& text) {
  GSM_SMSMessage message{};
  message.PDU = SMS_Status_Report;  // libgammu's way of asking for a report on a text that is submitted
  message.UDH.Type = UDH_NoUDH;
  message.Coding = SMS_Coding_Default_No_Compression;
  message.Class = -1;
  GSM_SMSC centre{};
  centre.Location = 1;
  if (GSM_GetSMSC(impl_->machine, &centre) == ERR_NONE) std::memcpy(message.SMSC.Number, centre.Number, sizeof centre.Number);
  message.SMSC.Validity.Format = SMS_Validity_RelativeFormat;
  message.SMSC.Validity.Relative = SMS_VALID_1_Hour;
  const std::string digits = digits_of(number);
  DecodeUTF8(message.Number, digits.data(), digits.size());
  DecodeUTF8(message.Text, text.data(), text.size());
  message.Length = static_cast<int>(std::min(UnicodeLength(message.Text), kTextMax));
  impl_->answered = false;
  const GSM_Error error = GSM_SendSMS(impl_->machine, &message);
  const auto until = Clock::now() + impl_->settings.send_within;
  // An error of the library can come with the modem's own number for it, which says more.
  while (error == ERR_NONE && !impl_->answered && Clock::now() < until) impl_->turn();
  if (impl_->answered && impl_->status == 0 && error == ERR_NONE) return {SendFault::none, impl_->reference, ""};
  if (impl_->answered && impl_->status > 0) return {fault_of(impl_->status), -1, fmt::format("the modem refused it (CMS error {})", impl_->status)};
  if (error != ERR_NONE && error != ERR_TIMEOUT) return {SendFault::broken, -1, fmt::format("the modem refused it ({})", GSM_ErrorString(error))};
  return {SendFault::silent, -1, "the modem did not say what became of it; it may have gone out"};
}

std::string Modem::ring(const std::string& number, std::chrono::milliseconds how_long, const std::function<bool()>& enough) {
  std::string digits = digits_of(number);
  const GSM_Error error = GSM_DialVoice(impl_->machine, digits.data(), GSM_CALL_DefaultNumberPresence);
  if (error != ERR_NONE) return fmt::format("the modem does not call ({})", GSM_ErrorString(error));
  const auto until = Clock::now() + how_long;
  while (Clock::now() < until && !impl_->waiting && impl_->pushed.empty() && !enough()) impl_->turn();
  static_cast<void>(GSM_CancelCall(impl_->machine, 0, TRUE));
  return "";
}

bool Modem::take_pushed(std::vector<Incoming>& taken) {
  impl_->turn();
  for (Incoming& one : impl_->pushed) taken.push_back(std::move(one));
  impl_->pushed.clear();
  return std::exchange(impl_->waiting, false);
}

std::string Modem::read_store(std::vector<Incoming>& read) {
  auto messages = std::make_unique<GSM_MultiSMSMessage>();
  std::vector<Incoming> found;
  for (bool first = true;; first = false) {
    messages->SMS[0].Folder = 0;
    const GSM_Error error = GSM_GetNextSMS(impl_->machine, messages.get(), first ? TRUE : FALSE);
    if (error == ERR_EMPTY) break;
    if (error != ERR_NONE) return fmt::format("the message store cannot be read ({})", GSM_ErrorString(error));
    for (int i = 0; i < messages->Number; ++i) found.push_back(to_incoming(messages->SMS[i]));
  }
  read = std::move(found);
  return "";
}

void Modem::remove(int location) {
  GSM_SMSMessage message{};
  message.Location = location;
  static_cast<void>(GSM_DeleteSMS(impl_->machine, &message));
}

std::optional<std::string> Modem::network(bool& registered) {
  GSM_SignalQuality signal{};
  if (GSM_GetSignalQuality(impl_->machine, &signal) != ERR_NONE) return std::nullopt;
  GSM_NetworkInfo info{};
  const bool told = GSM_GetNetworkInfo(impl_->machine, &info) == ERR_NONE;
  const bool home = told && info.State == GSM_HomeNetwork;
  const bool roaming = told && info.State == GSM_RoamingNetwork;
  // A modem that does not say is believed until a text fails.
  registered = !told || home || roaming || info.State == GSM_NetworkStatusUnknown;
  const std::string strength = signal.SignalPercent < 0 ? "signal unknown" : fmt::format("signal {} %", signal.SignalPercent);
  return strength + (home ? ", home network" : roaming ? ", roaming" : registered ? "" : ", NO NETWORK");
}

bool Modem::say_raw(std::string_view bytes, std::chrono::milliseconds wait) {
  close();
  const int fd = ::open(impl_->settings.device.c_str(), O_RDWR | O_NOCTTY | O_NONBLOCK | O_CLOEXEC);
  if (fd < 0) return false;
  // A terminal left to itself would echo the modem's own words back to it.
  termios raw{};
  if (::tcgetattr(fd, &raw) == 0) {
    ::cfmakeraw(&raw);
    ::cfsetspeed(&raw, B115200);
    ::tcsetattr(fd, TCSANOW, &raw);
  }
  const bool written = ::write(fd, bytes.data(), bytes.size()) == static_cast<ssize_t>(bytes.size());
  std::string answer;
  std::array<char, 256> some;
  const auto until = Clock::now() + wait;
  while (written && answer.find("OK") == std::string::npos && Clock::now() < until) {
    pollfd ready{fd, POLLIN, 0};
    if (::poll(&ready, 1, 100) <= 0) continue;
    const ssize_t count = ::read(fd, some.data(), some.size());
    if (count <= 0) break;
    answer.append(some.data(), static_cast<std::size_t>(count));
  }
  ::close(fd);
  return answer.find("OK") != std::string::npos;
}

bool Modem::resynchronise() { return say_raw("\x1b\r\nAT\r", std::chrono::milliseconds(500)); }

bool Modem::radio_off_and_on() {
  static_cast<void>(say_raw("AT+CFUN=0\r", std::chrono::seconds(5)));
  return say_raw("AT+CFUN=1\r", std::chrono::seconds(10));
}

bool Modem::reset() { return say_raw("AT+CFUN=1,1\r", std::chrono::seconds(5)); }

}  // namespace underwing
