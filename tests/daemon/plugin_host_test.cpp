// Goal: whatever a plugin does, the watch gets its readings, messages go out, and nothing is left behind.
// Method: the real host with small shell scripts as plugins, limits shortened, and waits that end as soon as
// what they wait for has come.

#include "daemon/plugin_host.hpp"

#include <csignal>
#include <filesystem>
#include <fstream>
#include <functional>
#include <string>
#include <thread>
#include <vector>

#include <fmt/format.h>
#include <gtest/gtest.h>
#include <nlohmann/json.hpp>
#include <sys/wait.h>
#include <unistd.h>

#include "tests/daemon/temporary_folder.hpp"

namespace underwing {
namespace {

using nlohmann::json;
using namespace std::chrono_literals;

constexpr Instant kNow{Duration(1'772'443'800'000)};

class PluginHostTest : public testing::Test {
 protected:
  PluginHostTest() {
    limits.deliver_within = 400ms;
    limits.stop_within = 300ms;
    limits.back_off_min = 50ms;
    limits.back_off_max = 200ms;
    limits.silent_after = 300ms;
    handlers.on_reading = [this](const std::string& plugin, const SenmlRecord& reading) {
      seen.push_back(fmt::format("{}: {} {} {}", plugin, reading.name, reading.unit.value_or("-"), reading.value));
    };
    handlers.on_message = [this](const std::string& plugin, const std::string& method, const json& params) {
      seen.push_back(fmt::format("{}: {} {}", plugin, method, params.dump()));
    };
    handlers.on_request = [this](const std::string& plugin, const json& id, const std::string& method, const json&) {
      seen.push_back(fmt::format("{}: {}?", plugin, method));
      host->respond(plugin, id, json::object());
    };
    handlers.on_answer = [this](const std::string& plugin, std::uint64_t id, const json& result) {
      seen.push_back(fmt::format("{}: answer {} {}", plugin, id, result.dump()));
    };
    handlers.on_state = [this](const PluginStatus& status) {
      states.push_back(fmt::format("{} {} {}", status.name, to_string(status.state), status.text));
    };
    handlers.on_log = [this](const std::string&, const std::string& line) { log.push_back(line); };
  }

  void start(const std::string& name, const std::string& script) {
    if (!host) host.emplace(loop, folder.path(), [] { return kNow; }, handlers, limits);
    std::ofstream(folder.path() / name) << "#!/bin/sh\n" << script;
    std::filesystem::permissions(folder.path() / name, std::filesystem::perms::owner_all);
    host->start({name, "./" + name, {}, R"({"broker":"here"})"});
  }
  /// Runs the loop until the condition holds; false after ten seconds.
  bool until(const std::function<bool()>& holds) {
    for (const auto end = std::chrono::steady_clock::now() + 10s; std::chrono::steady_clock::now() < end;) {
      if (holds()) return true;
      loop.run_for(10ms);
    }
    return false;
  }
  [[nodiscard]] PluginStatus status(const std::string& name) const {
    for (auto& one : host->statuses()) {
      if (one.name == name) return one;
    }
    return {};
  }
  static bool contains(const std::vector<std::string>& lines, const std::string& part) {
    return std::any_of(lines.begin(), lines.end(), [&](const auto& line) { return line.find(part) != std::string::npos; });
  }
  [[nodiscard]] std::string text_of(const std::string& name) const {
    std::ifstream file(folder.path() / name);
    return {std::istreambuf_iterator<char>(file), {}};
  }

  TemporaryFolder folder;
  EventLoop loop;
  PluginLimits limits;
  PluginHandlers handlers;
  std::vector<std::string> seen, states, log;
  std::optional<PluginHost> host;
};

TEST_F(PluginHostTest, GivesSettingsFirstAndTakesReadingsAndMessages) {
  start("p", R"(read line; echo "$line" > "$0.settings"
echo '{"jsonrpc":"2.0","method":"hello","params":{"plugin":"p","version":"1","does":["read"]}}'
echo '[{"n":"h1/air_temperature/north","u":"Cel","v":31.5}]'
echo 'this is no line of ours'
echo '[{"n":"h1/mains/main","vb":true}]'
read line
)");
  ASSERT_TRUE(until([&] { return seen.size() == 3; }));
  EXPECT_EQ(text_of("p.settings"), "{\"jsonrpc\":\"2.0\",\"method\":\"settings\",\"params\":{\"broker\":\"here\"}}\n");
  EXPECT_EQ(seen[0], R"(p: hello {"does":["read"],"plugin":"p","version":"1"})");
  EXPECT_EQ(seen[1], "p: h1/air_temperature/north Cel 31.5");
  EXPECT_EQ(seen[2], "p: h1/mains/main - 1");
  EXPECT_EQ(status("p").not_understood, 1U);
  EXPECT_EQ(status("p").not_understood_last, "this is no line of ours");
  EXPECT_EQ(status("p").does, std::vector<std::string>{"read"});
  EXPECT_TRUE(contains(log, "1 line not understood; the last: this is no line of ours"));
  EXPECT_EQ(states, (std::vector<std::string>{"p started ", "p ready "}));
}

TEST_F(PluginHostTest, ObjectsGoAheadOfReadingsAndRequestsKeepTheirPlace) {
  start("p", R"(cat > /dev/null & exec 3<&0
printf '[{"n":"a","v":1}]\n[{"n":"a","v":2}]\n{"jsonrpc":"2.0","id":1,"method":"step","params":{}}\n[{"n":"a","v":3}]\n{"jsonrpc":"2.0","method":"reply","params":{"text":"OK"}}\n{"jsonrpc":"2.0","id":2,"method":"reply","params":{}}\n'
sleep 5
)");
  ASSERT_TRUE(until([&] { return seen.size() == 6; }));
  EXPECT_EQ(seen, (std::vector<std::string>{R"(p: reply {"text":"OK"})", "p: reply?", "p: a - 1", "p: a - 2", "p: step?", "p: a - 3"}));
}

TEST_F(PluginHostTest, AsksAndIsAnswered) {
  start("p", R"(read settings; read question; echo '{"jsonrpc":"2.0","id":1,"result":{"done":true}}'; read line)");
  EXPECT_EQ(host->request("p", "step", {{"time", 5}}), 1U);
  ASSERT_TRUE(until([&] { return seen.size() == 1; }));
  EXPECT_EQ(seen[0], R"(p: answer 1 {"done":true})");
  EXPECT_EQ(host->request("nobody", "step", json::object()), 0U);
}

TEST_F(PluginHostTest, StartsAgainWithBackOff) {
  start("p", "exit 3\n");
  ASSERT_TRUE(until([&] { return status("p").starts == 4; }));
  EXPECT_TRUE(contains(states, "p exited ended with status 3"));
  EXPECT_EQ(log.at(0), "ended with status 3; started again in 50 ms");
  EXPECT_EQ(log.at(1), "ended with status 3; started again in 100 ms");
  EXPECT_EQ(log.at(2), "ended with status 3; started again in 200 ms");
}

TEST_F(PluginHostTest, APluginThatClosesItsOutputIsStartedAgain) {
  start("p", "exec > /dev/null; while :; do sleep 0.05; done\n");
  ASSERT_TRUE(until([&] { return status("p").starts == 2; }));
  EXPECT_EQ(log.at(0), "closed its output; it is killed");
  EXPECT_TRUE(contains(states, "p exited was ended by signal 9"));
}

TEST_F(PluginHostTest, SaysWhyAPluginCannotStart) {
  host.emplace(loop, folder.path(), [] { return kNow; }, handlers, limits);
  host->start({"p", "./none", {}, "{}"});
  EXPECT_EQ(states.at(0), "p exited cannot start " + (folder.path() / "none").string() + ": No such file or directory");
  EXPECT_EQ(host->request("p", "step", json::object()), 0U);
}

TEST_F(PluginHostTest, ASilentPluginIsSaidAndForgivenWhenItSpeaks) {
  start("p", "sleep 0.6; echo '[{\"n\":\"a\",\"v\":1}]'; read a; read b\n");
  ASSERT_TRUE(until([&] { return seen.size() == 1; }));
  EXPECT_EQ(states, (std::vector<std::string>{"p started ", "p silent runs, but says nothing that is understood", "p ready "}));
}

TEST_F(PluginHostTest, AFloodOfErrorsIsDrainedAndCut) {
  start("p", "i=0; while [ $i -lt 20000 ]; do echo \"trouble $i\" >&2; i=$((i+1)); done; echo '[{\"n\":\"a\",\"v\":1}]'; read a; read b\n");
  ASSERT_TRUE(until([&] { return seen.size() == 1; }));
  ASSERT_TRUE(until([&] { return contains(log, "more lines of its log left out"); }));
  EXPECT_EQ(log.at(0), "trouble 0");
  EXPECT_LT(log.size(), 2'000U);
}

TEST_F(PluginHostTest, TooLongALineIsPassedOver) {
  limits.line_bytes = 1000;
  start("p", "head -c 300000 /dev/zero | tr '\\0' x; echo; echo '[{\"n\":\"a\",\"v\":1}]'; read a; read b\n");
  ASSERT_TRUE(until([&] { return seen.size() == 1; }));
  EXPECT_EQ(seen[0], "p: a - 1");
  EXPECT_EQ(status("p").not_understood, 1U);
}

TEST_F(PluginHostTest, TheOldestReadingsAreDroppedWhenTooManyWait) {
  limits.readings_waiting = 100;
  limits.readings_a_turn = 1;
  start("p", "i=0; while [ $i -lt 3000 ]; do echo '[{\"n\":\"a\",\"v\":'$i'}]'; i=$((i+1)); done; echo '[{\"n\":\"last\",\"v\":1}]'; read a; read b\n");
  ASSERT_TRUE(until([&] { return contains(seen, "p: last - 1"); }));
  EXPECT_EQ(status("p").readings, 3001U);
  EXPECT_EQ(status("p").readings_dropped + seen.size(), 3001U);
  EXPECT_LE(host->readings_waiting(), 100U);
}

TEST_F(PluginHostTest, ADeliveryNotTakenKillsThePluginAndIsGivenAgain) {
  // The first life reads nothing and its pipe is full; the second one reads.
  limits.deliver_within = 1s;
  start("p", R"(if [ -e "$0.again" ]; then exec cat >> "$0.got"; fi
touch "$0.again"; sleep 30
)");
  ASSERT_TRUE(until([&] { return std::filesystem::exists(folder.path() / "p.again"); }));
  for (int i = 0; i < 3; ++i) {
    EXPECT_TRUE(host->deliver("p", fmt::format("d-{}", i), {{"delivery", fmt::format("d-{}", i)}, {"text", std::string(30'000, 'x')}}));
  }
  ASSERT_TRUE(until([&] { return text_of("p.got").find("d-2") != std::string::npos; }));
  const std::string got = text_of("p.got");
  // Those that the first life's pipe took had no receipt, so all come again, in order, after the settings.
  EXPECT_LT(got.find("settings"), got.find("d-0"));
  EXPECT_LT(got.find("d-0"), got.find("d-1"));
  EXPECT_LT(got.find("d-1"), got.find("d-2"));
  EXPECT_TRUE(contains(log, "did not take a message within 1 s; it is killed and started again"));
  EXPECT_FALSE(host->deliver("nobody", "d-9", json::object()));
}

TEST_F(PluginHostTest, AReceiptEndsADelivery) {
  start("p", R"(while read line; do echo "$line" >> "$0.got"
case "$line" in *'"deliver"'*) echo '{"jsonrpc":"2.0","method":"receipt","params":{"delivery":"d-1","outcome":"sent"}}'; sleep 0.1; exit 1;; esac; done
)");
  EXPECT_TRUE(host->deliver("p", "d-1", {{"delivery", "d-1"}}));
  ASSERT_TRUE(until([&] { return status("p").starts == 2; }));
  loop.run_for(200ms);
  const std::string got = text_of("p.got");
  EXPECT_NE(got.find("d-1"), std::string::npos);
  EXPECT_EQ(got.find("d-1"), got.rfind("d-1")) << got;
}

TEST_F(PluginHostTest, AlarmsAreMergedWhileTheyWait) {
  start("p", R"(sleep 0.5; while read line; do echo "$line" >> "$0.got"; done)");
  for (int i = 0; i < 5000; ++i) host->alarm("p", "k", {{"value", i}, {"text", std::string(100, 'x')}});
  ASSERT_TRUE(until([&] { return text_of("p.got").find("\"value\":4999") != std::string::npos; }));
  const std::string got = text_of("p.got");
  EXPECT_LT(std::count(got.begin(), got.end(), '\n'), 1000);
}

TEST_F(PluginHostTest, StopsPolitelyThenFirmly) {
  start("good", "while read line; do case \"$line\" in *'\"stop\"'*) exit 0;; esac; done; exit 9\n");
  start("bad", "trap '' TERM; while :; do sleep 0.05; done\n");
  ASSERT_TRUE(until([&] { return states.size() >= 2; }));
  loop.run_for(100ms);
  bool done = false;
  host->stop_all([&] { done = true; });
  ASSERT_TRUE(until([&] { return done; }));
  EXPECT_TRUE(contains(states, "good stopped ended with status 0"));
  EXPECT_TRUE(contains(states, "bad stopped was ended by signal 9"));
  EXPECT_TRUE(host->statuses().empty());
}

TEST_F(PluginHostTest, ChildrenOfAPluginEndWithIt) {
  start("p", "sleep 300 & echo $! > \"$0.child\"; exit 0\n");
  ASSERT_TRUE(until([&] { return status("p").starts == 2; }));
  const std::string name = text_of("p.child");
  ASSERT_FALSE(name.empty());
  ASSERT_TRUE(until([&] { return contains(states, "exited"); }));
  // The first life's child: the file may name the second one's by now, which ends with the host.
  const pid_t child = std::stoi(name);
  host.reset();
  ASSERT_TRUE(until([&] {
    std::ifstream stat(fmt::format("/proc/{}/stat", child));
    std::string id, command, state;
    return !(stat >> id >> command >> state) || state == "Z";
  }));
}

TEST_F(PluginHostTest, PluginsDieWithTheHostThatIsKilled) {
  const auto script = folder.path() / "p";
  std::ofstream(script) << "#!/bin/sh\ntrap '' TERM HUP INT\necho $$ > \"$0.pid\"\nwhile :; do :; done\n";
  std::filesystem::permissions(script, std::filesystem::perms::owner_all);
  const pid_t child = ::fork();
  ASSERT_GE(child, 0);
  if (child == 0) {
    EventLoop own;
    PluginHost lonely(own, folder.path(), [] { return kNow; }, {}, limits);
    lonely.start({"p", "./p", {}, "{}"});
    own.run();
    ::_exit(0);
  }
  ASSERT_TRUE(until([&] { return text_of("p.pid").ends_with('\n'); }));
  const pid_t plugin = std::stoi(text_of("p.pid"));
  EXPECT_EQ(::kill(plugin, 0), 0);
  ::kill(child, SIGKILL);
  ::waitpid(child, nullptr, 0);
  EXPECT_TRUE(until([&] {
    std::ifstream stat(fmt::format("/proc/{}/stat", plugin));
    std::string id, command, state;
    return !(stat >> id >> command >> state) || state == "Z";
  }));
}

TEST(PluginProgram, IsAWordOrAPath) {
  ::setenv("UNDERWING_PLUGINS", "/plugins", 1);
  EXPECT_EQ(plugin_program("mqtt", "/farm"), "/plugins/underwing-mqtt");
  EXPECT_EQ(plugin_program("./scripts/mine", "/farm"), "/farm/scripts/mine");
  EXPECT_EQ(plugin_program("/usr/bin/mine", "/farm"), "/usr/bin/mine");
  ::unsetenv("UNDERWING_PLUGINS");
}

}  // namespace
}  // namespace underwing
