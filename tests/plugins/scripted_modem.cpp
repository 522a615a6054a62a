#include "tests/plugins/scripted_modem.hpp"

#include <fcntl.h>
#include <fmt/format.h>
#include <poll.h>
#include <stdlib.h>
#include <termios.h>
#include <unistd.h>

#include <algorithm>
#include <chrono>
#include <filesystem>
#include <stdexcept>
#include <utility>

namespace underwing::test {

namespace {

using namespace std::chrono_literals;
constexpr auto kPatience = 60s;  // the ladder takes its time

std::string hex(const std::vector<int>& octets) {
  std::string text;
  for (const int octet : octets) text += fmt::format("{:02X}", octet & 0xff);
  return text;
}

std::vector<int> octets_of(const std::string& hex) {
  std::vector<int> octets;
  for (std::size_t i = 0; i + 1 < hex.size(); i += 2) octets.push_back(std::stoi(hex.substr(i, 2), nullptr, 16));
  return octets;
}

// TS 23.040, 9.1.2.5: half octets, the low one first; 0x91 international, 0x81 unknown.
void add_address(std::vector<int>& out, const std::string& number) {
  const bool international = number.starts_with('+');
  const std::string digits = number.substr(international ? 1 : 0);
  out.push_back(static_cast<int>(digits.size()));
  out.push_back(international ? 0x91 : 0x81);
  for (std::size_t i = 0; i < digits.size(); i += 2) {
    const int high = i + 1 < digits.size() ? digits[i + 1] - '0' : 0xf;
    out.push_back(high << 4 | (digits[i] - '0'));
  }
}

std::string read_address(const std::vector<int>& octets, std::size_t& at) {
  const auto length = static_cast<std::size_t>(octets.at(at++));
  std::string number = octets.at(at++) == 0x91 ? "+" : "";
  for (std::size_t i = 0; i < length; ++i) {
    const int octet = octets.at(at + i / 2);
    number += static_cast<char>('0' + (i % 2 == 0 ? octet & 0xf : octet >> 4));
  }
  at += (length + 1) / 2;
  return number;
}

// TS 23.038, 6.1.2.1: septets packed from the low bit up. ASCII letters, digits and most marks are themselves.
void add_septets(std::vector<int>& out, const std::string& text, int fill_bits) {
  unsigned bits = 0;
  int count = fill_bits;
  for (const char c : text) {
    bits |= static_cast<unsigned>(c == '@' ? 0 : c) << count;
    count += 7;
    for (; count >= 8; count -= 8, bits >>= 8) out.push_back(static_cast<int>(bits & 0xff));
  }
  if (count > 0) out.push_back(static_cast<int>(bits & 0xff));
}

std::string read_septets(const std::vector<int>& octets, std::size_t at, std::size_t count) {
  std::string text;
  for (std::size_t i = 0; i < count; ++i) {
    const std::size_t bit = 7 * i;
    const int low = octets.at(at + bit / 8);
    const int high = at + bit / 8 + 1 < octets.size() ? octets[at + bit / 8 + 1] : 0;
    const int septet = ((low | high << 8) >> (bit % 8)) & 0x7f;
    text += septet == 0 ? '@' : static_cast<char>(septet);
  }
  return text;
}

void add_stamp(std::vector<int>& out) { out.insert(out.end(), {0x62, 0x30, 0x30, 0x20, 0x90, 0x00, 0x40}); }

Submitted read_submit(const std::string& pdu) {
  const std::vector<int> octets = octets_of(pdu);
  std::size_t at = static_cast<std::size_t>(octets.at(0)) + 1;  // the centre's number
  Submitted out;
  const int first = octets.at(at);
  at += 2;  // and the reference, which the modem gives
  out.wants_report = (first & 0x20) != 0;
  out.number = read_address(octets, at);
  ++at;  // protocol
  out.coding = octets.at(at++);
  if ((first & 0x18) == 0x10) out.validity = octets.at(at++);
  const auto length = static_cast<std::size_t>(octets.at(at++));
  out.text = read_septets(octets, at, length);
  out.septets = static_cast<int>(length);
  out.user_data = hex({octets.begin() + static_cast<std::ptrdiff_t>(at), octets.end()});
  return out;
}

}  // namespace

std::string deliver_pdu(const std::string& number, const std::string& text) {
  std::vector<int> out{0x00, 0x04};
  add_address(out, number);
  out.insert(out.end(), {0x00, 0x00});
  add_stamp(out);
  out.push_back(static_cast<int>(text.size()));
  add_septets(out, text, 0);
  return hex(out);
}

std::string deliver_part_pdu(const std::string& number, const std::string& text, int group, int part, int parts) {
  std::vector<int> out{0x00, 0x44};
  add_address(out, number);
  out.insert(out.end(), {0x00, 0x00});
  add_stamp(out);
  // Seven septets of header: five octets and its length, then one fill bit (TS 23.040, 9.2.3.24.1).
  out.push_back(static_cast<int>(text.size()) + 7);
  out.insert(out.end(), {0x05, 0x00, 0x03, group, parts, part});
  add_septets(out, text, 1);
  return hex(out);
}

std::string report_pdu(const std::string& number, int reference, int status) {
  std::vector<int> out{0x00, 0x06, reference};
  add_address(out, number);
  add_stamp(out);
  add_stamp(out);
  out.push_back(status);
  return hex(out);
}

ScriptedModem::ScriptedModem() {
  std::string name = (std::filesystem::temp_directory_path() / "underwing-modem.XXXXXX").string();
  if (mkdtemp(name.data()) == nullptr) throw std::runtime_error("no temporary folder");
  folder_ = name;
  link_ = folder_ + "/usb-modem";
  plug_in();
  thread_ = std::thread([this] { run(); });
}

ScriptedModem::~ScriptedModem() {
  stop_ = true;
  thread_.join();
  unplug();
  std::filesystem::remove_all(folder_);
}

void ScriptedModem::plug_in() {
  const std::lock_guard lock(mutex_);
  master_ = posix_openpt(O_RDWR | O_NOCTTY | O_CLOEXEC);
  if (master_ < 0 || grantpt(master_) != 0 || unlockpt(master_) != 0) throw std::runtime_error("no pseudo-terminal");
  termios raw{};
  tcgetattr(master_, &raw);
  cfmakeraw(&raw);
  tcsetattr(master_, TCSANOW, &raw);
  std::filesystem::remove(link_);
  std::filesystem::create_symlink(ptsname(master_), link_);
  line_.clear();
  in_pdu_ = false;
}

void ScriptedModem::unplug() {
  const std::lock_guard lock(mutex_);
  std::filesystem::remove(link_);
  if (master_ >= 0) ::close(master_);
  master_ = -1;
}

void ScriptedModem::run() {
  while (!stop_) {
    int fd = -1;
    {
      const std::lock_guard lock(mutex_);
      fd = master_;
    }
    pollfd ready{fd, POLLIN, 0};
    if (fd < 0 || ::poll(&ready, 1, 20) <= 0 || (ready.revents & POLLIN) == 0) {
      std::this_thread::sleep_for(5ms);  // nobody has it open, or nothing comes
      continue;
    }
    char bytes[512];
    const std::lock_guard lock(mutex_);
    if (master_ != fd) continue;
    const ssize_t count = ::read(fd, bytes, sizeof bytes);
    for (ssize_t i = 0; i < count; ++i) take(bytes[i]);
  }
}

void ScriptedModem::say(const std::string& text) {
  const std::lock_guard lock(mutex_);
  if (master_ < 0 || deaf) return;
  [[maybe_unused]] const auto written = ::write(master_, text.data(), text.size());
}

void ScriptedModem::take(char c) {
  if (in_pdu_) {
    if (c == 0x1a) {
      in_pdu_ = false;
      take_pdu(std::exchange(pdu_, ""));
    } else if (c == 0x1b) {
      in_pdu_ = false;
      pdu_.clear();
      ok();
    } else {
      say(std::string(1, c));
      pdu_ += c;
    }
    return;
  }
  if (c == 0x1b || c == '\n') return;
  say(std::string(1, c));
  if (c != '\r') {
    line_ += c;
    return;
  }
  const std::string line = std::exchange(line_, "");
  if (!line.empty()) command(line);
}

void ScriptedModem::command(const std::string& line) {
  commands_.push_back(line);
  changed_.notify_all();
  const auto is = [&](const char* begin) { return line.starts_with(begin); };
  if (is("AT+CPIN?")) return say(fmt::format("\r\n+CPIN: {}\r\n\r\nOK\r\n", wants_pin ? "SIM PIN" : "READY"));
  if (is("AT+CPIN=")) {
    const bool right = line.find(pin) != std::string::npos;
    if (right) wants_pin = false;
    return say(right ? "\r\nOK\r\n" : "\r\n+CME ERROR: 16\r\n");
  }
  if (is("AT+CGMI")) return say("\r\nScripted\r\n\r\nOK\r\n");
  if (is("AT+CGMM")) return say("\r\nModem\r\n\r\nOK\r\n");
  if (is("AT+CGMR")) return say("\r\n1.0\r\n\r\nOK\r\n");
  if (is("AT+CGSN")) return say("\r\n490154203237518\r\n\r\nOK\r\n");
  if (is("AT+CSCS?")) return say("\r\n+CSCS: \"GSM\"\r\n\r\nOK\r\n");
  if (is("AT+CSCS=?")) return say("\r\n+CSCS: (\"GSM\",\"UCS2\")\r\n\r\nOK\r\n");
  if (is("AT+CPMS=?")) return say("\r\n+CPMS: (\"SM\"),(\"SM\"),(\"SM\")\r\n\r\nOK\r\n");
  if (is("AT+CPMS?")) return say(fmt::format("\r\n+CPMS: \"SM\",{0},20,\"SM\",{0},20,\"SM\",{0},20\r\n\r\nOK\r\n", store_.size()));
  if (is("AT+CPMS=")) return say(fmt::format("\r\n+CPMS: {0},20,{0},20,{0},20\r\n\r\nOK\r\n", store_.size()));
  if (is("AT+CNMI=?")) return say("\r\n+CNMI: (0-3),(0-3),(0-3),(0-2),(0,1)\r\n\r\nOK\r\n");
  if (is("AT+CSCA?")) return say("\r\n+CSCA: \"+447700900999\",145\r\n\r\nOK\r\n");
  if (is("AT+CSQ")) return say("\r\n+CSQ: 20,0\r\n\r\nOK\r\n");
  if (is("AT+CREG?")) return say("\r\n+CREG: 2,1,\"00A1\",\"0042\"\r\n\r\nOK\r\n");
  if (is("AT+CGATT?")) return say("\r\n+CGATT: 1\r\n\r\nOK\r\n");
  if (is("AT+CGREG?")) return say("\r\n+CGREG: 0,1\r\n\r\nOK\r\n");
  if (is("AT+COPS?")) return say("\r\n+COPS: 0,2,\"23491\"\r\n\r\nOK\r\n");
  if (is("AT+CMGL=")) {
    std::string all;
    for (const auto& [index, pdu] : store_) all += fmt::format("\r\n+CMGL: {},0,,{}\r\n{}", index, pdu.size() / 2 - 1, pdu);
    return say(all + "\r\n\r\nOK\r\n");
  }
  if (is("AT+CMGR=")) {
    const auto found = store_.find(std::stoi(line.substr(8)));
    if (found == store_.end()) return say("\r\n+CMS ERROR: 321\r\n");
    return say(fmt::format("\r\n+CMGR: 0,,{}\r\n{}\r\n\r\nOK\r\n", found->second.size() / 2 - 1, found->second));
  }
  if (is("AT+CMGD=")) {
    store_.erase(std::stoi(line.substr(8)));
    return ok();
  }
  if (is("AT+CMGS=")) {
    if (no_prompt) return;
    in_pdu_ = true;
    return say("\r\n> ");
  }
  if (is("AT+MODE=2") || is("AT+CPROT=?") || is("AT+SYNCML=?") || is("AT$TSSPCSW=?")) return say("\r\nERROR\r\n");
  ok();
}

void ScriptedModem::take_pdu(const std::string& pdu) {
  if (errors > 0) {
    --errors;
    return say(fmt::format("\r\n+CMS ERROR: {}\r\n", error.load()));
  }
  submitted_.push_back(read_submit(pdu));
  ++submitted_count_;
  ++reference_;
  changed_.notify_all();
  if (lose_ok) return;
  std::this_thread::sleep_for(std::chrono::milliseconds(late_ms));
  say(fmt::format("\r\n+CMGS: {}\r\n", reference_));
  if (notice_between) say("\r\n+CREG: 1\r\n");
  ok();
}

std::optional<Submitted> ScriptedModem::submitted() {
  std::unique_lock lock(mutex_);
  if (!changed_.wait_for(lock, kPatience, [&] { return !submitted_.empty(); })) return std::nullopt;
  Submitted first = submitted_.front();
  submitted_.pop_front();
  return first;
}

std::size_t ScriptedModem::submitted_count() {
  const std::lock_guard lock(mutex_);
  return submitted_count_;
}

std::size_t ScriptedModem::count_of(const std::string& command) {
  const std::lock_guard lock(mutex_);
  return static_cast<std::size_t>(std::count_if(commands_.begin(), commands_.end(), [&](const std::string& line) { return line.starts_with(command); }));
}

bool ScriptedModem::wait_for(const std::string& command, std::size_t times) {
  std::unique_lock lock(mutex_);
  return changed_.wait_for(lock, kPatience, [&] { return count_of(command) >= times; });
}

void ScriptedModem::push_text(const std::string& pdu) { say(fmt::format("\r\n+CMT: ,{}\r\n{}\r\n", pdu.size() / 2 - 1, pdu)); }
void ScriptedModem::push_report(const std::string& pdu) { say(fmt::format("\r\n+CDS: {}\r\n{}\r\n", pdu.size() / 2 - 1, pdu)); }

void ScriptedModem::store_text(const std::string& pdu, bool notice) {
  const std::lock_guard lock(mutex_);
  const int index = store_.empty() ? 1 : store_.rbegin()->first + 1;
  store_[index] = pdu;
  if (notice) say(fmt::format("\r\n+CMTI: \"SM\",{}\r\n", index));
}

std::size_t ScriptedModem::stored() {
  const std::lock_guard lock(mutex_);
  return store_.size();
}

int ScriptedModem::last_reference() {
  const std::lock_guard lock(mutex_);
  return reference_;
}

}  // namespace underwing::test
