#include "daemon/control_server.hpp"

#include <algorithm>
#include <array>
#include <set>

#include <boost/asio/local/stream_protocol.hpp>
#include <boost/asio/write.hpp>
#include <nlohmann/json.hpp>
#include <sys/stat.h>
#include <unistd.h>

#include "daemon/event_loop_impl.hpp"
#include "daemon/line_buffer.hpp"

namespace underwing {

namespace asio = boost::asio;
using nlohmann::json;
using Protocol = asio::local::stream_protocol;

namespace {

constexpr std::size_t kLine_bytes_max = 1U << 20U;
constexpr std::size_t kConnections_max = 64;
/// A client that does not read its answers is let go.
constexpr std::size_t kUnsent_bytes_max = 64U << 20U;
constexpr int kParseError = -32700;
constexpr int kInvalidRequest = -32600;
constexpr int kInternalError = -32603;

json error_message(const json& id, int code, const std::string& text) {
  return {{"jsonrpc", "2.0"}, {"id", id}, {"error", {{"code", code}, {"message", text}}}};
}

}  // namespace

struct ControlCall::Impl {
  std::string method;
  json params, id;
  Send send;  ///< empty once answered
  void answer(const json& message) {
    const Send once = std::move(send);
    send = nullptr;
    // A notification has no id and gets no answer.
    if (once && !id.is_discarded()) once(message);
  }
};

ControlCall::ControlCall(std::string method, const json& params, const json& id, Send send)
    : impl_(new Impl{std::move(method), params, id, std::move(send)}) {}
ControlCall::~ControlCall() { fail(kInternalError, "the request was dropped without an answer"); }
const std::string& ControlCall::method() const { return impl_->method; }
const json& ControlCall::params() const { return impl_->params; }
void ControlCall::succeed(const json& result) { impl_->answer({{"jsonrpc", "2.0"}, {"id", impl_->id}, {"result", result}}); }
void ControlCall::fail(int code, const std::string& text) { impl_->answer(error_message(impl_->id, code, text)); }

namespace {

class Connection : public std::enable_shared_from_this<Connection> {
 public:
  Connection(Protocol::socket socket, ControlServer::Handler handler, std::function<void(Connection*)> on_closed)
      : socket_(std::move(socket)), handler_(std::move(handler)), on_closed_(std::move(on_closed)) {}

  void read() {
    socket_.async_read_some(asio::buffer(bytes_), [self = shared_from_this()](const auto& error, std::size_t count) {
      if (error) return self->close();
      self->lines_.feed({self->bytes_.data(), count}, [&](std::string_view line) { self->take(line); });
      if (self->socket_.is_open()) self->read();
    });
  }

  void close() {
    boost::system::error_code ignored;
    socket_.close(ignored);
    if (const auto told = std::exchange(on_closed_, nullptr)) told(this);
  }

 private:
  void take(std::string_view line) {
    if (line.find_first_not_of(" \t") == std::string_view::npos) return;
    const json message = json::parse(line, nullptr, false);
    if (message.is_discarded()) return send(error_message(nullptr, kParseError, "this is not JSON"));
    const json id = message.is_object() && message.contains("id") ? message["id"] : json(json::value_t::discarded);
    const json params = message.is_object() ? message.value("params", json::object()) : json();
    if (!message.is_object() || message.value("jsonrpc", json()) != "2.0" || !message.value("method", json()).is_string() ||
        !params.is_object()) {
      return send(error_message(id.is_discarded() ? json() : id, kInvalidRequest, "this is no JSON-RPC 2.0 request"));
    }
    handler_(std::make_shared<ControlCall>(message["method"].get<std::string>(), params, id,
                                           [weak = weak_from_this()](const json& answer) {
                                             if (const auto self = weak.lock()) self->send(answer);
                                           }));
  }

  void send(const json& message) {
    if (!socket_.is_open()) return;
    unsent_ += message.dump(-1, ' ', false, json::error_handler_t::replace) + "\n";
    if (unsent_.size() > kUnsent_bytes_max) return close();
    if (in_flight_.empty()) write();
  }

  void write() {
    in_flight_ = std::exchange(unsent_, {});
    if (in_flight_.empty()) return;
    asio::async_write(socket_, asio::buffer(in_flight_), [self = shared_from_this()](const auto& error, std::size_t) {
      if (error) return self->close();
      self->write();
    });
  }

  Protocol::socket socket_;
  ControlServer::Handler handler_;
  std::function<void(Connection*)> on_closed_;
  std::array<char, 65536> bytes_{};
  LineBuffer lines_{kLine_bytes_max};
  std::string in_flight_, unsent_;
};

/// True where somebody accepts at the socket file.
bool is_alive(asio::io_context& context, const Protocol::endpoint& endpoint) {
  Protocol::socket probe(context);
  boost::system::error_code error;
  probe.connect(endpoint, error);
  return !error;
}

}  // namespace

struct ControlServer::Impl : std::enable_shared_from_this<Impl> {
  Impl(asio::io_context& context, std::string socket_path, Handler the_handler)
      : acceptor(context), path(std::move(socket_path)), handler(std::move(the_handler)) {}
  Protocol::acceptor acceptor;
  std::string path;
  Handler handler;
  std::set<std::shared_ptr<Connection>> connections;

  void accept() {
    acceptor.async_accept([weak = weak_from_this()](const auto& error, Protocol::socket socket) {
      const auto self = weak.lock();
      if (!self || !self->acceptor.is_open()) return;
      if (!error && self->connections.size() < kConnections_max) self->welcome(std::move(socket));
      self->accept();
    });
  }

  void welcome(Protocol::socket socket) {
    const auto forget = [weak = weak_from_this()](Connection* gone) {
      const auto self = weak.lock();
      if (self) std::erase_if(self->connections, [&](const auto& one) { return one.get() == gone; });
    };
    const auto connection = std::make_shared<Connection>(std::move(socket), handler, forget);
    connections.insert(connection);
    connection->read();
  }

  Result<void> open(asio::io_context& context) {
    const std::string what = "cannot listen at " + path;
    if (path.size() >= sizeof(sockaddr_un::sun_path)) return Failure{what + ": the path is too long for a socket"};
    const Protocol::endpoint endpoint(path);
    if (is_alive(context, endpoint)) return Failure{what + ": an underwingd is running there already"};
    struct stat status {};
    if (::lstat(path.c_str(), &status) == 0 && S_ISSOCK(status.st_mode)) ::unlink(path.c_str());
    boost::system::error_code error;
    acceptor.open(endpoint.protocol(), error);
    // The mode must hold from the first moment.
    const mode_t before = ::umask(0117);
    if (!error) acceptor.bind(endpoint, error);
    ::umask(before);
    if (!error) acceptor.listen(asio::socket_base::max_listen_connections, error);
    if (error) return Failure{what + ": " + error.message()};
    return {};
  }
};

ControlServer::ControlServer(std::shared_ptr<Impl> impl) : impl_(std::move(impl)) {}

ControlServer::~ControlServer() {
  boost::system::error_code ignored;
  impl_->acceptor.close(ignored);
  ::unlink(impl_->path.c_str());
  for (const auto& connection : std::set(impl_->connections)) connection->close();
}

Result<std::unique_ptr<ControlServer>> ControlServer::listen(EventLoop& loop, const std::string& path, Handler handler) {
  auto impl = std::make_shared<Impl>(loop.impl().context, path, std::move(handler));
  if (auto opened = impl->open(loop.impl().context); !opened) return Failure{opened.error()};
  impl->accept();
  return std::unique_ptr<ControlServer>(new ControlServer(std::move(impl)));
}

}  // namespace underwing
