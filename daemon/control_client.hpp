#pragma once

#include <memory>
#include <string>

#include <nlohmann/json_fwd.hpp>

#include "daemon/file_io.hpp"
#include "rules/base/result.hpp"
#include "rules/base/time.hpp"

namespace underwing {

/// Talks to underwingd over its control socket, a request at a time, and waits for the answer.
class ControlClient {
 public:
  static Result<ControlClient> connect(const std::string& path);

  /// The `result` of the answer. A failure carries the daemon's own words, or says that it did not answer in
  /// time; after that the connection is of no more use.
  Result<nlohmann::json> call(const std::string& method, const nlohmann::json& params,
                              Duration timeout = std::chrono::seconds(10));

 private:
  ControlClient(Descriptor socket, std::string path) : socket_(std::move(socket)), path_(std::move(path)) {}
  Descriptor socket_;
  std::string path_;
  std::string held_;
  std::uint64_t calls_ = 0;
};

}  // namespace underwing
