#pragma once

#include <chrono>
#include <functional>
#include <memory>
#include <nlohmann/json.hpp>
#include <string>
#include <vector>

#include "tests/plugins/child.hpp"

/// A gateway for tests: a farm's folder, the real `underwingd` over it, and the tool to ask it.
namespace underwing::test {

/// What a command line gave: standard output and error, as they came, and the exit status.
struct Answer {
  std::string text;
  int status = -1;
};

/// Runs a line of the shell with `underwing` and `underwingd` on the path.
[[nodiscard]] Answer shell(const std::string& line);

/// Waits until it holds; false where it does not within `patience`.
[[nodiscard]] bool wait_until(const std::function<bool()>& holds, std::chrono::seconds patience = std::chrono::seconds(60));

[[nodiscard]] std::vector<std::string> lines_of(const std::string& text);

/// How often a text stands in another.
[[nodiscard]] std::size_t count_of(const std::string& text, const std::string& in);

struct FarmText {
  std::string plugins;                          ///< entries under `plugins`, besides the phone
  std::string stale_after = "30 s";
  std::string on_delay = "0 s";
  std::string blind_after = "10 min";
  std::string limit = "30 °C";
};

class Gateway {
 public:
  /// Writes the farm: one house, one flock, one probe, one urgent rule `cold-air`, three steps two seconds apart to
  /// ines, tomas and maud.
  explicit Gateway(const FarmText& farm);
  ~Gateway();
  Gateway(const Gateway&) = delete;
  Gateway& operator=(const Gateway&) = delete;

  /// Plugins entry of a probe that reports what `set_value` has set.
  [[nodiscard]] static std::string probe_entry(const std::string& name = "climate");
  void write_farm(const FarmText& farm) const;
  void set_value(double value) const;
  void cut_wire() const;                        ///< the probe reports no more

  /// Starts the daemon and waits until it answers. `before`: environment as for env(1); `options`: of the daemon, besides.
  void start(const std::string& before = "", const std::string& options = "");
  void kill_hard();                             ///< kill -9, as when the power goes
  void freeze() const;                          ///< the daemon alone is stuck; its plugins live on
  void thaw() const;
  [[nodiscard]] int pid() const { return daemon_->pid(); }
  int stop();                                   ///< as asked; its exit status

  /// A command of the tool to this daemon.
  [[nodiscard]] Answer tool(const std::string& command) const;
  [[nodiscard]] std::vector<nlohmann::json> alarms() const;
  /// The alarm of that rule that is listed, null where there is none.
  [[nodiscard]] nlohmann::json alarm(const std::string& rule, const std::string& subject = "condition") const;
  [[nodiscard]] nlohmann::json status() const;
  /// Events in the journal, the lines that `replay --json` prints.
  [[nodiscard]] std::vector<std::string> events() const;
  [[nodiscard]] std::size_t count_events(const std::string& kind) const;
  /// What the phones got: one line a text.
  [[nodiscard]] std::vector<std::string> texts() const;
  [[nodiscard]] std::size_t count_texts(const std::string& who, const std::string& part) const;
  /// Processes whose command line names this gateway's folder, the daemon besides.
  [[nodiscard]] std::size_t plugins_running() const;

  [[nodiscard]] std::string path(const std::string& name) const { return folder_.path(name); }
  [[nodiscard]] std::string log() const { return read_file(path("log")); }

 private:
  TemporaryFolder folder_;
  std::unique_ptr<Child> daemon_;
};

}  // namespace underwing::test
