// Goal: the command-line tool and the daemon understand one another, and no client can hurt the daemon.
// Method: the real server in its loop on a thread, real clients beside it.

#include <sys/socket.h>
#include <sys/stat.h>
#include <sys/un.h>

#include <cstring>
#include <fstream>
#include <thread>

#include <gtest/gtest.h>
#include <nlohmann/json.hpp>

#include "daemon/control_client.hpp"
#include "daemon/control_server.hpp"
#include "tests/daemon/temporary_folder.hpp"

namespace underwing {
namespace {

using nlohmann::json;
using namespace std::chrono_literals;

class ControlTest : public testing::Test {
 protected:
  void SetUp() override { ASSERT_TRUE(open()); }
  void TearDown() override { close(); }
  bool open() {
    auto listening = ControlServer::listen(loop, path, [this](std::shared_ptr<ControlCall> call) { answer(std::move(call)); });
    if (!listening) return false;
    server = std::move(listening).value();
    thread = std::thread([this] { loop.run(); });
    return true;
  }
  void close() {
    if (!thread.joinable()) return;
    loop.post([this] {
      server.reset();
      loop.stop();
    });
    thread.join();
  }
  void answer(std::shared_ptr<ControlCall> call) {
    if (call->method() == "echo") return call->succeed(call->params());
    if (call->method() == "large") return call->succeed(std::string(5'000'000, 'x'));
    if (call->method() == "drop") return;
    if (call->method() == "later") {
      held = std::move(call);
      later.after(50ms, [this] { held->succeed("later"); });
      return;
    }
    if (call->method() == "never") {
      held = std::move(call);
      return;
    }
    call->fail(kMethodUnknown, "there is no method '" + call->method() + "'");
  }
  /// Sends raw bytes, gives the first line that comes back.
  [[nodiscard]] std::string raw(const std::string& bytes) const {
    const Descriptor socket(::socket(AF_UNIX, SOCK_STREAM, 0));
    sockaddr_un address{};
    address.sun_family = AF_UNIX;
    std::memcpy(address.sun_path, path.data(), path.size());
    EXPECT_EQ(::connect(socket.get(), reinterpret_cast<const sockaddr*>(&address), sizeof address), 0);
    EXPECT_TRUE(write_all(socket.get(), bytes));
    std::string line;
    for (char c = 0; ::read(socket.get(), &c, 1) == 1 && c != '\n';) line += c;
    return line;
  }

  TemporaryFolder folder;
  std::string path = (folder.path() / "control").string();
  EventLoop loop;
  LoopTimer later{loop};
  std::shared_ptr<ControlCall> held;
  std::unique_ptr<ControlServer> server;
  std::thread thread;
};

TEST_F(ControlTest, AnswersSeveralClientsAndSeveralCalls) {
  auto one = ControlClient::connect(path), two = ControlClient::connect(path);
  ASSERT_TRUE(one && two);
  EXPECT_EQ(one->call("echo", {{"a", 1}}).value().dump(), R"({"a":1})");
  EXPECT_EQ(two->call("echo", {{"b", "°C"}}).value().dump(), R"({"b":"°C"})");
  EXPECT_EQ(one->call("later", json::object()).value(), "later");
  EXPECT_EQ(two->call("large", json::object()).value().get<std::string>().size(), 5'000'000U);
}

TEST_F(ControlTest, SaysWhatWentWrong) {
  auto client = ControlClient::connect(path);
  ASSERT_TRUE(client);
  EXPECT_EQ(client->call("nonsense", json::object()).error(), "there is no method 'nonsense'");
  EXPECT_EQ(client->call("drop", json::object()).error(), "the request was dropped without an answer");
  EXPECT_EQ(client->call("never", json::object(), 100ms).error(), "underwingd at " + path + " did not answer within 100 ms");
}

TEST_F(ControlTest, AnswersInJsonRpc) {
  EXPECT_EQ(raw("hello\n"), R"({"error":{"code":-32700,"message":"this is not JSON"},"id":null,"jsonrpc":"2.0"})");
  EXPECT_EQ(raw("[1]\n"), R"({"error":{"code":-32600,"message":"this is no JSON-RPC 2.0 request"},"id":null,"jsonrpc":"2.0"})");
  EXPECT_EQ(raw("{\"jsonrpc\":\"2.0\",\"id\":\"x\",\"method\":\"echo\"}\n"), R"({"id":"x","jsonrpc":"2.0","result":{}})");
  EXPECT_EQ(raw("{\"jsonrpc\":\"2.0\",\"id\":3,\"method\":\"echo\",\"params\":[1]}\n"),
            R"({"error":{"code":-32600,"message":"this is no JSON-RPC 2.0 request"},"id":3,"jsonrpc":"2.0"})");
  // A notification gets no answer; the request after it does.
  EXPECT_EQ(raw("{\"jsonrpc\":\"2.0\",\"method\":\"echo\"}\n{\"jsonrpc\":\"2.0\",\"id\":1,\"method\":\"echo\"}\n"),
            R"({"id":1,"jsonrpc":"2.0","result":{}})");
}

TEST_F(ControlTest, TheSocketIsForOwnerAndGroup) {
  struct stat status {};
  ASSERT_EQ(::stat(path.c_str(), &status), 0);
  EXPECT_EQ(status.st_mode & 0777U, 0660U);
}

TEST_F(ControlTest, OneDaemonAtATimeAndNoSocketLeftBehind) {
  EventLoop other;
  EXPECT_EQ(ControlServer::listen(other, path, nullptr).error(),
            "cannot listen at " + path + ": an underwingd is running there already");
  close();
  EXPECT_FALSE(std::filesystem::exists(path));
  EXPECT_EQ(ControlClient::connect(path).error(), "cannot reach underwingd at " + path + ": No such file or directory");
}

TEST_F(ControlTest, ASocketThatNobodyListensAtIsReplaced) {
  close();
  {
    const Descriptor dead(::socket(AF_UNIX, SOCK_STREAM, 0));
    sockaddr_un address{};
    address.sun_family = AF_UNIX;
    std::memcpy(address.sun_path, path.data(), path.size());
    ASSERT_EQ(::bind(dead.get(), reinterpret_cast<const sockaddr*>(&address), sizeof address), 0);
  }
  EXPECT_EQ(ControlClient::connect(path).error(), "cannot reach underwingd at " + path + ": Connection refused");
  ASSERT_TRUE(open());
  EXPECT_TRUE(ControlClient::connect(path)->call("echo", json::object()));
}

TEST_F(ControlTest, AFileThatIsNoSocketIsLeftAlone) {
  close();
  std::ofstream(path) << "somebody's file";
  EventLoop other;
  EXPECT_EQ(ControlServer::listen(other, path, nullptr).error(), "cannot listen at " + path + ": Address already in use");
  EXPECT_EQ(read_file(path).value(), "somebody's file");
}

}  // namespace
}  // namespace underwing
