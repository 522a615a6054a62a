#pragma once

#include <filesystem>
#include <cstdint>
#include <memory>
#include <string>

#include "rules/base/time.hpp"

namespace underwing {

/// How long the state folder keeps what it holds. Bytes are limits of their own.
struct ServiceKeep {
  Duration tapes = std::chrono::days(400);
  Duration minutes = std::chrono::days(400);     ///< of the journal, for plots
  Duration records = std::chrono::days(1100);    ///< all else of the journal: three years, as the law wants of records (2007/43/EC, Annex I, from memory)
  std::uint64_t tape_bytes = 4'000'000'000;
  std::uint64_t journal_bytes = 4'000'000'000;
};

struct ServiceOptions {
  std::filesystem::path farm;       ///< folder with farm.yaml, flocks/ and rules/
  std::filesystem::path state;      ///< folder for the journal and the tapes; created where it is missing
  std::string socket;               ///< where commands are taken; empty: nowhere
  /// Engine time is the readings' time, and steps are settled before they are answered: for demonstrations and
  /// tests. Nothing moves between readings.
  bool time_from_readings = false;
  bool trust_clock = false;         ///< the gateway's clock is right though no time server sets it
  ServiceKeep keep;
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
