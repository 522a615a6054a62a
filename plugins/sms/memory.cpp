#include "plugins/sms/memory.hpp"

#include <fcntl.h>
#include <fmt/format.h>
#include <sys/stat.h>
#include <unistd.h>

#include <cerrno>
#include <cstring>
#include <fstream>
#include <nlohmann/json.hpp>

#include "plugins/shared/short_hash.hpp"

namespace underwing {

namespace {

constexpr std::size_t kTextsMax = 500;
constexpr double kReportsWithin_s = 24 * 3600;

/// Numbers as people and networks write them differ by spaces and by "+" and "00"; their ends do not.
bool same_number(const std::string& a, const std::string& b) {
  const auto digits = [](const std::string& number) {
    std::string out;
    for (const char c : number) {
      if (c >= '0' && c <= '9') out += c;
    }
    return out.size() > 9 ? out.substr(out.size() - 9) : out;
  };
  return digits(a) == digits(b);
}

}  // namespace

std::string Memory::open(std::string path) {
  path_ = std::move(path);
  std::ifstream file(path_);
  if (!file) return errno == ENOENT ? "" : fmt::format("{}: {}", path_, std::strerror(errno));
  const auto json = nlohmann::json::parse(file, nullptr, false);
  if (!json.is_object()) return fmt::format("{} is not this plugin's memory", path_);
  pin_hash_ = json.value("pin_spent", "");
  for (const auto& one : json.value("texts", nlohmann::json::array())) {
    texts_.push_back({one.value("delivery", ""), one.value("number", ""), one.value("reference", -1), one.value("time", 0.0),
                      one.value("outcome", ""), one.value("words", "")});
  }
  return "";
}

const Memory::Text* Memory::find(const std::string& delivery) const {
  for (const Text& text : texts_) {
    if (text.delivery == delivery) return &text;
  }
  return nullptr;
}

Memory::Text* Memory::about(int reference, const std::string& number, double now) {
  for (auto text = texts_.rbegin(); text != texts_.rend(); ++text) {
    if (text->reference == reference && text->outcome == "sent" && now - text->time < kReportsWithin_s && same_number(text->number, number)) return &*text;
  }
  return nullptr;
}

void Memory::add(Text text) {
  std::erase_if(texts_, [&](const Text& old) { return old.delivery == text.delivery; });
  texts_.push_back(std::move(text));
  if (texts_.size() > kTextsMax) texts_.pop_front();
}

bool Memory::pin_spent(const std::string& pin) const { return pin_hash_ == short_hash(pin); }
void Memory::spend_pin(const std::string& pin) { pin_hash_ = short_hash(pin); }
void Memory::forget_pin() { pin_hash_.clear(); }

std::string Memory::save() const {
  nlohmann::json texts = nlohmann::json::array();
  for (const Text& text : texts_) {
    texts.push_back({{"delivery", text.delivery}, {"number", text.number}, {"reference", text.reference}, {"time", text.time}, {"outcome", text.outcome}, {"words", text.words}});
  }
  const std::string bytes = nlohmann::json({{"pin_spent", pin_hash_}, {"texts", texts}}).dump(-1, ' ', false, nlohmann::json::error_handler_t::replace) + "\n";
  const std::string fresh = path_ + ".new";
  const auto wrong = [&](const std::string& name) { return fmt::format("{}: {}", name, std::strerror(errno)); };
  const int fd = ::open(fresh.c_str(), O_WRONLY | O_CREAT | O_TRUNC | O_CLOEXEC, 0600);
  if (fd < 0) return wrong(fresh);
  const bool written = ::write(fd, bytes.data(), bytes.size()) == static_cast<ssize_t>(bytes.size()) && ::fsync(fd) == 0;
  const std::string trouble = written ? "" : wrong(fresh);
  ::close(fd);
  if (!written) return trouble;
  if (::rename(fresh.c_str(), path_.c_str()) != 0) return wrong(path_);
  const std::size_t slash = path_.rfind('/');
  const int folder = ::open(slash == std::string::npos ? "." : path_.substr(0, slash + 1).c_str(), O_RDONLY | O_DIRECTORY | O_CLOEXEC);
  if (folder >= 0) {
    ::fsync(folder);
    ::close(folder);
  }
  return "";
}

}  // namespace underwing
