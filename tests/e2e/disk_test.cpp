// Goal: with the disk full, failing or hanging a message goes out within 2 s all the same, the trouble is told, and what could not
// be written is written once the disk allows. Method: the real daemon; its files may grow no more (a limit of the kernel that acts
// as a full disk does), or another program holds its journal, so that each write waits and then fails.

#include <fmt/format.h>
#include <gtest/gtest.h>
#include <sqlite3.h>
#include <sys/resource.h>

#include <filesystem>
#include <fstream>

#include "daemon/journal.hpp"
#include "tests/e2e/gateway.hpp"

namespace underwing::test {
namespace {

using Clock = std::chrono::steady_clock;
using namespace std::chrono_literals;

/// The promise, and what this test's own parts take: the probe's second, a plugin, a shell that looks.
constexpr auto kTold = 2s + 4s;

FarmText plain_farm() {
  FarmText farm;
  farm.plugins = Gateway::probe_entry();
  farm.stale_after = "60 s";
  return farm;
}

Clock::duration time_until_told(Gateway& gateway, const std::string& who, const std::string& part) {
  const auto begun = Clock::now();
  EXPECT_TRUE(wait_until([&] { return gateway.count_texts(who, part) > 0; })) << gateway.log() << fmt::format("{}", fmt::join(gateway.texts(), "\n"));
  return Clock::now() - begun;
}

bool disk_is_in_trouble(const Gateway& gateway) { return !gateway.status().value("disk", "").empty(); }

TEST(Disk, FullMessagesGoOutAndItIsWrittenLater) {
  Gateway gateway(plain_farm());
  gateway.start("--ignore-signal=XFSZ");
  const rlimit none{0, RLIM_INFINITY}, enough{RLIM_INFINITY, RLIM_INFINITY};
  ASSERT_EQ(::prlimit(gateway.pid(), RLIMIT_FSIZE, &none, nullptr), 0);
  gateway.set_value(25);
  EXPECT_LT(time_until_told(gateway, "ines", "COLD"), kTold) << gateway.log();
  EXPECT_TRUE(wait_until([&] { return disk_is_in_trouble(gateway); })) << gateway.log();
  EXPECT_EQ(gateway.count_events("raised"), 0U) << "the disk was not full";
  EXPECT_TRUE(wait_until([&] { return gateway.count_texts("ines", "DISK") > 0; })) << gateway.log();
  // The next step, the answer and the end are told as well.
  EXPECT_LT(time_until_told(gateway, "tomas", "COLD"), 4s + kTold);
  EXPECT_EQ(gateway.tool("acknowledge " + gateway.alarm("cold-air").value("code", "") + " --who tomas").status, 0);
  gateway.set_value(33);
  EXPECT_LT(time_until_told(gateway, "tomas", "back to normal"), kTold);
  EXPECT_EQ(gateway.count_texts("ines", "COLD 25"), 1U);

  ASSERT_EQ(::prlimit(gateway.pid(), RLIMIT_FSIZE, &enough, nullptr), 0);
  EXPECT_TRUE(wait_until([&] { return gateway.count_events("raised") == 1 && gateway.count_events("returned") == 1; })) << gateway.log();
  EXPECT_TRUE(wait_until([&] { return !disk_is_in_trouble(gateway); })) << gateway.log();
  EXPECT_EQ(gateway.stop(), 0);
}

TEST(Disk, FailingFromTheStartTheWatchWatchesAndWritesLater) {
  Gateway gateway(plain_farm());
  // Where the journal should be there is something else.
  const std::filesystem::path journal = gateway.path("state/journal.db");
  std::filesystem::create_directories(journal);
  gateway.start();
  gateway.set_value(25);
  // The text about the disk came first; what is more for the same person waits for up to 20 s.
  EXPECT_LT(time_until_told(gateway, "tomas", "COLD"), 4s + kTold) << gateway.log();
  EXPECT_LT(time_until_told(gateway, "ines", "COLD"), 20s + kTold) << gateway.log();
  EXPECT_TRUE(disk_is_in_trouble(gateway));
  std::filesystem::remove(journal);
  EXPECT_TRUE(wait_until([&] { return gateway.count_events("raised") == 1; })) << gateway.log();
  EXPECT_TRUE(wait_until([&] { return !disk_is_in_trouble(gateway); })) << gateway.log();
}

/// Holds the journal, as a backup that never ends would.
class Holder {
 public:
  explicit Holder(const std::string& path) {
    if (sqlite3_open(path.c_str(), &database_) != SQLITE_OK) throw std::runtime_error("no journal");
    sqlite3_busy_timeout(database_, 5000);
    if (sqlite3_exec(database_, "BEGIN IMMEDIATE", nullptr, nullptr, nullptr) != SQLITE_OK) throw std::runtime_error(sqlite3_errmsg(database_));
  }
  ~Holder() { sqlite3_close(database_); }
  Holder(const Holder&) = delete;
  Holder& operator=(const Holder&) = delete;

 private:
  sqlite3* database_ = nullptr;
};

TEST(Disk, AJournalThatHangsHoldsNoMessageBack) {
  Gateway gateway(plain_farm());
  gateway.start();
  {
    const Holder holder(gateway.path("state/journal.db"));
    gateway.set_value(25);
    EXPECT_LT(time_until_told(gateway, "ines", "COLD"), kTold) << gateway.log();
    EXPECT_LT(time_until_told(gateway, "tomas", "COLD"), 4s + kTold);
    EXPECT_EQ(gateway.count_events("raised"), 0U) << "the journal was not held";
  }
  EXPECT_TRUE(wait_until([&] { return gateway.count_events("raised") == 1; })) << gateway.log();
  EXPECT_EQ(gateway.count_texts("ines", "COLD 25"), 1U) << "told again by the write that came late";
  EXPECT_EQ(gateway.stop(), 0);
}

// A plugin may let go of a reply only when a power cut cannot take it any more; what it hands over again is no second reply.
TEST(Disk, AReplyIsTakenWhenTheJournalHasItAndOnce) {
  FarmText farm = plain_farm();
  Gateway gateway(farm);
  farm.plugins += fmt::format("\n  hand: {{run: {}/tests/e2e/hand_on.sh, arguments: [{}, {}]}}", UNDERWING_SOURCE_DIR, gateway.path("lines"), gateway.path("said"));
  gateway.write_farm(farm);
  std::ofstream lines(gateway.path("lines"), std::ios::app);
  std::ofstream(gateway.path("said"), std::ios::app).flush();
  const auto hand = [&](int id) {
    lines << fmt::format(R"({{"jsonrpc":"2.0","id":{},"method":"reply","params":{{"from":"+44 7700 900102","by":"text","text":"OK","key":"m1"}}}})", id) << std::endl;
  };
  const auto is_taken = [&](int id) { return count_of(fmt::format("\"id\":{},", id), read_file(gateway.path("said"))) == 1; };
  const auto answers = [&] {
    auto journal = JournalReader::open(gateway.path("state/journal.db"));
    return journal.ok() ? journal->answers_since(Instant{})->size() : 0;
  };
  gateway.start();
  {
    const Holder holder(gateway.path("state/journal.db"));
    hand(1);
    EXPECT_TRUE(wait_until([&] { return gateway.count_texts("tomas", "Nothing is open") == 1; })) << "the watch itself does not wait for the disk\n" << gateway.log();
    EXPECT_FALSE(is_taken(1));
  }
  EXPECT_TRUE(wait_until([&] { return is_taken(1); })) << gateway.log();
  EXPECT_EQ(answers(), 1U);
  hand(2);
  EXPECT_TRUE(wait_until([&] { return is_taken(2); }));
  gateway.kill_hard();
  std::filesystem::resize_file(gateway.path("lines"), 0);
  gateway.start();
  hand(3);
  EXPECT_TRUE(wait_until([&] { return is_taken(3); })) << gateway.log();
  EXPECT_EQ(answers(), 1U);
  EXPECT_EQ(gateway.stop(), 0);
}

}  // namespace
}  // namespace underwing::test
