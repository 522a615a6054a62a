#pragma once

#include <sys/types.h>

#include <chrono>
#include <functional>
#include <nlohmann/json.hpp>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "plugins/shared/line_reader.hpp"

namespace underwing::test {

/// Everything that waits, waits for something and fails after this.
inline constexpr std::chrono::seconds kPatience{20};

/// A program with pipes to its input and from its output; ends with the object.
class Child {
 public:
  explicit Child(std::vector<std::string> command);
  ~Child();
  Child(const Child&) = delete;
  Child& operator=(const Child&) = delete;

  void send(std::string_view line);  ///< adds the line end
  void send_message(const nlohmann::json& message) { send(message.dump()); }
  void close_input();
  /// The next line; nullopt after kPatience or at the end of the output.
  std::optional<std::string> line();
  /// Skips lines until one fits; that line as JSON, null where none came.
  nlohmann::json line_where(const std::function<bool(const nlohmann::json&)>& fits);
  nlohmann::json message(const std::string& method);  ///< skips to the next message with this method
  nlohmann::json reading();                           ///< skips to the next SenML record
  /// All lines until the output ends.
  std::vector<std::string> lines_to_end();
  /// Waits for the end; the exit status, or 1000 + the signal.
  int status();
  void stop(int signal);
  [[nodiscard]] bool running();
  [[nodiscard]] pid_t pid() const { return pid_; }

 private:
  pid_t pid_ = -1;
  int input_ = -1;
  int output_ = -1;
  std::optional<int> status_;
  LineReader reader_;
};

/// The path of a bundled plugin in this build.
std::string plugin(const std::string& name);

nlohmann::json settings_message(const nlohmann::json& settings);

/// A folder of its own, removed with the object.
class TemporaryFolder {
 public:
  TemporaryFolder();
  ~TemporaryFolder();
  TemporaryFolder(const TemporaryFolder&) = delete;
  TemporaryFolder& operator=(const TemporaryFolder&) = delete;
  [[nodiscard]] std::string path(const std::string& name) const { return folder_ + "/" + name; }
  std::string write(const std::string& name, std::string_view text) const;

 private:
  std::string folder_;
};

std::string read_file(const std::string& path);

}  // namespace underwing::test
