#pragma once

#include <functional>
#include <memory>
#include <string>

#include <nlohmann/json_fwd.hpp>

#include "daemon/event_loop.hpp"
#include "rules/base/result.hpp"

namespace underwing {

/// One request on the control socket, to be answered once, now or later. Dropped without an answer, it is
/// answered with an error, so that nobody waits in vain.
class ControlCall {
 public:
  using Send = std::function<void(const nlohmann::json& message)>;
  ControlCall(std::string method, const nlohmann::json& params, const nlohmann::json& id, Send send);
  ~ControlCall();
  ControlCall(const ControlCall&) = delete;
  ControlCall& operator=(const ControlCall&) = delete;

  [[nodiscard]] const std::string& method() const;
  [[nodiscard]] const nlohmann::json& params() const;  ///< an object
  void succeed(const nlohmann::json& result);
  /// `code` as in JSON-RPC 2.0; our own ones are positive.
  void fail(int code, const std::string& text);

 private:
  struct Impl;
  std::unique_ptr<Impl> impl_;
};

inline constexpr int kMethodUnknown = -32601;
inline constexpr int kParamsWrong = -32602;

/// Serves JSON-RPC 2.0, a message a line, on a Unix socket that its owner and group may use (mode 0660).
class ControlServer {
 public:
  using Handler = std::function<void(std::shared_ptr<ControlCall> call)>;

  /// Listens at `path`. A socket file that nobody listens at any more is taken away first; one that is alive is
  /// a failure. `handler` runs in the loop.
  static Result<std::unique_ptr<ControlServer>> listen(EventLoop& loop, const std::string& path, Handler handler);
  /// Closes all connections and takes the socket file away.
  ~ControlServer();
  ControlServer(const ControlServer&) = delete;
  ControlServer& operator=(const ControlServer&) = delete;

 private:
  struct Impl;
  explicit ControlServer(std::shared_ptr<Impl> impl);
  std::shared_ptr<Impl> impl_;
};

}  // namespace underwing
