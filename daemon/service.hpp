#pragma once

#include <filesystem>
#include <memory>
#include <string>

namespace underwing {

struct ServiceOptions {
  std::filesystem::path farm;       ///< folder with farm.yaml, flocks/ and rules/
  std::filesystem::path state;      ///< folder for the journal and the tapes; created where it is missing
  std::string socket;               ///< where commands are taken; empty: nowhere
  /// Engine time is the readings' time, and steps are settled before they are answered: for demonstrations and
  /// tests. Nothing moves between readings.
  bool time_from_readings = false;
  bool trust_clock = false;         ///< the gateway's clock is right though no time server sets it
  std::filesystem::path story;      ///< a file that plain sentences are appended to; empty: none
};

/// The service: owns time, the journal, the tapes, the plugins and the control socket around one `Watch`.
class Service {
 public:
  explicit Service(ServiceOptions options);
  ~Service();
  Service(const Service&) = delete;
  Service& operator=(const Service&) = delete;

  /// Runs until it is told to stop. Returns the exit status: 0 stopped as asked, 1 the farm's files are wrong,
  /// 2 could not run.
  int run();

 private:
  struct Impl;
  std::unique_ptr<Impl> impl_;
};

}  // namespace underwing
