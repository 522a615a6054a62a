#include "tests/e2e/gateway.hpp"

#include <fmt/format.h>
#include <signal.h>
#include <sys/wait.h>

#include <array>
#include <cstdio>
#include <filesystem>
#include <fstream>
#include <sstream>
#include <stdexcept>
#include <thread>

#include "daemon/journal.hpp"

namespace underwing::test {
namespace {

const std::string kFarm = R"(format: 1
farm: Sandpiper Hollow
time_zone: UTC
houses:
  house-1: {{probes: {{air_temperature: [north]}}}}
plugins:
  phone: {{run: print, settings: {{show: {0}/texts, replies: {0}/replies}}}}
{1}
people:
  ines:  {{text: "+44 7700 900101"}}
  tomas: {{text: "+44 7700 900102"}}
  maud:  {{text: "+44 7700 900103"}}
duty: [{{who: ines}}]
call_out:
  urgent:
    - {{after: 0 s, tell: ines, by: text}}
    - {{after: 4 s, tell: tomas, by: text}}
    - {{after: 8 s, tell: maud, by: text, then_every: 5 min}}
  soon: [{{after: 0 s, tell: on-duty, by: text}}]
  note: {{daily: "06:30", tell: on-duty, by: text}}
)";

// Placed half a day ago at any time of the day that the test runs, so that the rule is in force.
const std::string kFlock = R"(format: 1
flock: spring
house: house-1
placed: {}
birds: 1000
chick_weight: 42 g
packs: [own]
)";

const std::string kPack = R"(format: 1
pack: own
measures:
  air_temperature: {{stale_after: {}}}
rules:
  cold-air:
    about: Air is too cold
    watch: air_temperature
    low: {}
    deadband: 0.5 K
    on_delay: {}
    blind_after: {}
    priority: urgent
    respond_within: 20 min
    do: Look at the chicks
)";

std::string half_a_day_ago() {
  const std::time_t then = std::time(nullptr) - 12 * 3600;
  std::array<char, 32> text{};
  std::tm parts{};
  std::strftime(text.data(), text.size(), "%Y-%m-%d %H:%M", gmtime_r(&then, &parts));
  return text.data();
}

}  // namespace

std::vector<std::string> lines_of(const std::string& text) {
  std::vector<std::string> lines;
  std::istringstream in(text);
  for (std::string line; std::getline(in, line);) lines.push_back(line);
  return lines;
}

Answer shell(const std::string& line) {
  const std::string command =
      fmt::format("exec 2>&1 </dev/null; export PATH='{}':\"$PATH\" LC_ALL=C.UTF-8; {}", UNDERWING_BINARY_DIR, line);
  Answer answer;
  FILE* pipe = ::popen(command.c_str(), "r");
  if (pipe == nullptr) throw std::runtime_error("popen");
  std::array<char, 4096> buffer{};
  for (std::size_t size; (size = std::fread(buffer.data(), 1, buffer.size(), pipe)) > 0;) answer.text.append(buffer.data(), size);
  const int raw = ::pclose(pipe);
  answer.status = WIFEXITED(raw) ? WEXITSTATUS(raw) : 1000;
  return answer;
}

bool wait_until(const std::function<bool()>& holds, std::chrono::seconds patience) {
  const auto deadline = std::chrono::steady_clock::now() + patience;
  while (!holds()) {
    if (std::chrono::steady_clock::now() > deadline) return false;
    std::this_thread::sleep_for(std::chrono::milliseconds(50));
  }
  return true;
}

std::size_t count_of(const std::string& text, const std::string& in) {
  std::size_t count = 0;
  for (std::size_t at = in.find(text); at != std::string::npos; at = in.find(text, at + text.size())) ++count;
  return count;
}

Gateway::Gateway(const FarmText& farm) {
  for (const char* name : {"flocks", "rules"}) std::filesystem::create_directories(path("farm/") + name);
  static_cast<void>(folder_.write("probe.sh", read_file(std::string(UNDERWING_SOURCE_DIR) + "/tests/e2e/probe.sh")));
  std::filesystem::permissions(path("probe.sh"), std::filesystem::perms::owner_all);
  static_cast<void>(folder_.write("texts", ""));
  static_cast<void>(folder_.write("replies", ""));
  static_cast<void>(folder_.write("farm/flocks/spring.yaml", fmt::format(fmt::runtime(kFlock), half_a_day_ago())));
  write_farm(farm);
  set_value(33);
}

Gateway::~Gateway() {
  if (daemon_ && daemon_->running()) stop();
}

std::string Gateway::probe_entry(const std::string& name) {
  return "  " + name + ": {run: FOLDER/probe.sh, arguments: [FOLDER/value, house-1/air_temperature/north, Cel]}";
}

void Gateway::write_farm(const FarmText& farm) const {
  std::string plugins = farm.plugins;
  for (std::size_t at; (at = plugins.find("FOLDER")) != std::string::npos;) plugins.replace(at, 6, folder_.path("."));
  static_cast<void>(folder_.write("farm/farm.yaml", fmt::format(fmt::runtime(kFarm), folder_.path("."), plugins)));
  static_cast<void>(folder_.write("farm/rules/own.yaml", fmt::format(fmt::runtime(kPack), farm.stale_after, farm.limit, farm.on_delay, farm.blind_after)));
}

void Gateway::set_value(double value) const {
  // Put in place whole: the probe reads whenever it likes.
  std::filesystem::rename(folder_.write("value.new", fmt::format("{}\n", value)), path("value"));
}

void Gateway::cut_wire() const { std::filesystem::remove(path("value")); }

void Gateway::start(const std::string& before, const std::string& options) {
  daemon_ = std::make_unique<Child>(std::vector<std::string>{
      "sh", "-c",
      fmt::format("exec env {0} {1}/underwingd --farm {2}/farm --state {2}/state --socket {2}/socket --trust-clock {3} >>{2}/log 2>&1", before,
                  UNDERWING_BINARY_DIR, folder_.path("."), options)});
  bool up = false;
  static_cast<void>(wait_until([&] { return (up = tool("status").status == 0) || !daemon_->running(); }));
  if (!up) throw std::runtime_error("the daemon does not start: " + log());
}

void Gateway::kill_hard() { daemon_->stop(SIGKILL); }

void Gateway::freeze() const { ::kill(daemon_->pid(), SIGSTOP); }

void Gateway::thaw() const { ::kill(daemon_->pid(), SIGCONT); }

int Gateway::stop() {
  daemon_->stop(SIGTERM);
  return daemon_->status();
}

Answer Gateway::tool(const std::string& command) const { return shell(fmt::format("underwing --socket {} {}", path("socket"), command)); }

std::vector<nlohmann::json> Gateway::alarms() const {
  std::vector<nlohmann::json> found;
  for (const std::string& line : lines_of(tool("--json alarms").text)) {
    const auto alarm = nlohmann::json::parse(line, nullptr, false);
    if (alarm.is_object()) found.push_back(alarm);
  }
  return found;
}

nlohmann::json Gateway::alarm(const std::string& rule, const std::string& subject) const {
  for (const auto& alarm : alarms()) {
    if (alarm.at("rule") == rule && alarm.at("subject") == subject) return alarm;
  }
  return nullptr;
}

nlohmann::json Gateway::status() const { return nlohmann::json::parse(tool("--json status").text, nullptr, false); }

std::vector<std::string> Gateway::events() const {
  std::vector<std::string> lines;
  auto reader = JournalReader::open(path("state/journal.db"));
  if (!reader.ok()) return lines;
  const auto rows = reader->events_since(Instant{});
  if (!rows.ok()) return lines;
  for (const EventRow& row : *rows) lines.push_back(row.json);
  return lines;
}

std::size_t Gateway::count_events(const std::string& kind) const {
  std::size_t count = 0;
  for (const std::string& line : events()) {
    if (nlohmann::json::parse(line).at("event") == kind) ++count;
  }
  return count;
}

std::vector<std::string> Gateway::texts() const { return lines_of(read_file(path("texts"))); }

std::size_t Gateway::count_texts(const std::string& who, const std::string& part) const {
  std::size_t count = 0;
  for (const std::string& line : texts()) {
    if (line.find("to " + who + " ") != std::string::npos && line.find(part) != std::string::npos) ++count;
  }
  return count;
}

std::size_t Gateway::plugins_running() const {
  const std::string folder = std::filesystem::path(path("x")).parent_path().filename().string();
  std::size_t count = 0;
  for (const auto& process : std::filesystem::directory_iterator("/proc")) {
    const std::string command = read_file((process.path() / "cmdline").string());
    if (command.find(folder) != std::string::npos && command.find("probe.sh") != std::string::npos) ++count;
  }
  return count;
}

}  // namespace underwing::test
