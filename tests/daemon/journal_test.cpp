// Goal: what the journal reported as written is there, whatever happened to the process or the disk, and nobody
// waits for it. Method: a child that is killed in the midst of writing; a disk made full by a limit on the size
// of files; a database overwritten with rubbish.

#include "daemon/journal.hpp"

#include <csignal>
#include <fstream>
#include <mutex>
#include <thread>

#include <gtest/gtest.h>
#include <sys/resource.h>
#include <sys/wait.h>
#include <unistd.h>

#include "tests/daemon/temporary_folder.hpp"

namespace underwing {
namespace {

using namespace std::chrono_literals;

constexpr Instant kNow{Duration(1'772'443'800'000)};

/// Runs what the journal posts when the test says so.
class Posted {
 public:
  void operator()(std::function<void()> work) {
    const std::lock_guard lock(mutex_);
    work_.push_back(std::move(work));
  }
  bool run_until(const std::function<bool()>& holds) {
    for (const auto end = std::chrono::steady_clock::now() + 10s; std::chrono::steady_clock::now() < end;) {
      std::vector<std::function<void()>> now;
      {
        const std::lock_guard lock(mutex_);
        now.swap(work_);
      }
      for (auto& work : now) work();
      if (holds()) return true;
      std::this_thread::sleep_for(1ms);
    }
    return false;
  }

 private:
  std::mutex mutex_;
  std::vector<std::function<void()>> work_;
};

EventRow event(std::uint64_t id) { return {id, kNow + Duration(id), "raised", "h1", "cold-air", "{}"}; }

class JournalTest : public testing::Test {
 protected:
  JournalOptions options() {
    return {path, [this](std::function<void()> work) { posted(std::move(work)); },
            [this](const std::string& problem) { problems.push_back(problem); }, 20ms, 100};
  }
  /// While it lives, no file can grow: as on a full disk.
  struct FullDisk {
    FullDisk() {
      ::signal(SIGXFSZ, SIG_IGN);
      ::getrlimit(RLIMIT_FSIZE, &before);
      const rlimit none{0, before.rlim_max};
      ::setrlimit(RLIMIT_FSIZE, &none);
    }
    ~FullDisk() { ::setrlimit(RLIMIT_FSIZE, &before); }
    rlimit before{};
  };

  TemporaryFolder folder;
  std::filesystem::path path = folder.path() / "state" / "journal.db";
  Posted posted;
  std::vector<std::string> problems;
};

TEST_F(JournalTest, KeepsEveryKindOfRow) {
  bool done = false;
  {
    Journal journal(options());
    journal.submit({{AlarmRow{7, "K7", "h1", "cold-air", "", "unacknowledged", "urgent", kNow, std::nullopt, "{\"a\":1}"},
                     event(3), DeliveryRow{"d-1", kNow, "ines", "text", "open", "{}"},
                     DeliveryRow{"d-2", kNow, "ines", "call", "open", "{}"},
                     AnswerRow{2, kNow, "ines", "text", "OK K7", "{}"}, RoundRow{4, kNow, "h1", "crop_fill", 85.5, "ines", "{}"},
                     MinuteRow{kNow, "h1/air_temperature/north", 30, 31, 32, 6}, SnapshotRow{kNow, "first"}},
                    false,
                    [&](const Result<void>& result) { done = result.ok(); }});
    journal.submit({{AlarmRow{7, "K7", "h1", "cold-air", "", "acknowledged", "urgent", kNow, kNow + 5min, "{}"},
                     DeliveryRow{"d-1", kNow, "ines", "text", "sent", "{}"}, SnapshotRow{kNow + 1min, "second"}},
                    false, nullptr});
    ASSERT_TRUE(posted.run_until([&] { return done && journal.waiting() == 0; }));
  }
  auto reader = JournalReader::open(path);
  ASSERT_TRUE(reader) << reader.error();
  EXPECT_EQ(reader->check().value(), "");
  EXPECT_EQ(reader->last_snapshot().value()->json, "second");
  const auto ids = reader->last_ids().value();
  EXPECT_EQ(ids.alarm, 7U);
  EXPECT_EQ(ids.event, 3U);
  EXPECT_EQ(ids.answer, 2U);
  EXPECT_EQ(ids.round, 4U);
  const auto open = reader->open_deliveries().value();
  ASSERT_EQ(open.size(), 1U);
  EXPECT_EQ(open[0].id, "d-2");
  const auto alarms = reader->alarms_since(kNow).value();
  ASSERT_EQ(alarms.size(), 1U);
  EXPECT_EQ(alarms[0].state, "acknowledged");
  EXPECT_EQ(alarms[0].returned, kNow + 5min);
  EXPECT_TRUE(reader->alarms_since(kNow + 1min).value().empty());
  EXPECT_EQ(reader->events_since(kNow).value().at(0).kind, "raised");
  EXPECT_EQ(reader->answers_since(kNow).value().at(0).text, "OK K7");
  EXPECT_EQ(reader->rounds_since(kNow).value().at(0).value, 85.5);
  const auto minutes = reader->minutes("h1/air_temperature/north", kNow, kNow + 1min).value();
  ASSERT_EQ(minutes.size(), 1U);
  EXPECT_EQ(minutes[0].count, 6U);
  EXPECT_TRUE(problems.empty());
}

TEST_F(JournalTest, OnlyTheNewestSnapshotsStay) {
  {
    Journal journal(options());
    for (int i = 0; i < 10; ++i) journal.submit({{SnapshotRow{kNow + Duration(i), std::to_string(i)}}, false, nullptr});
  }
  EXPECT_EQ(JournalReader::open(path)->last_snapshot().value()->json, "9");
  EXPECT_LT(std::filesystem::file_size(path), 200'000U);
}

TEST_F(JournalTest, KilledInTheMidstItLosesNothingThatItReported) {
  for (int round = 0; round < 5; ++round) {
    std::array<int, 2> pipe{};
    ASSERT_EQ(::pipe(pipe.data()), 0);
    const pid_t child = ::fork();
    if (child == 0) {
      const int out = pipe[1];
      // `done` runs where it is posted: at once, in the journal's thread.
      Journal journal({path, [](const std::function<void()>& work) { work(); }, nullptr, 20ms, 100});
      for (std::uint64_t id = 1;; ++id) {
        journal.submit({{event(id), DeliveryRow{std::to_string(id), kNow, "ines", "text", "open", "{}"}}, false,
                        [id, out](const Result<void>&) { [[maybe_unused]] auto n = ::write(out, &id, sizeof id); }});
        if (id % 10 == 0) std::this_thread::sleep_for(100us);
      }
    }
    ::close(pipe[1]);
    std::uint64_t reported = 0, id = 0;
    for (int i = 0; i < 300 * (round + 1) && ::read(pipe[0], &id, sizeof id) == sizeof id; ++i) reported = std::max(reported, id);
    ::kill(child, SIGKILL);
    ::waitpid(child, nullptr, 0);
    while (::read(pipe[0], &id, sizeof id) == sizeof id) reported = std::max(reported, id);
    ::close(pipe[0]);

    auto reader = JournalReader::open(path);
    ASSERT_TRUE(reader) << reader.error();
    EXPECT_EQ(reader->check().value(), "");
    EXPECT_GE(reported, 300U);
    EXPECT_GE(reader->last_ids().value().event, reported);
    const auto events = reader->events_since(kNow).value();
    // Both rows of each transaction or none.
    EXPECT_EQ(events.size(), reader->open_deliveries().value().size());
    EXPECT_GE(events.size(), reported);
  }
}

TEST_F(JournalTest, AFullDiskIsSaidOnceHoldsNobodyUpAndIsCaughtUp) {
  Journal journal(options());
  int done = 0;
  {
    const FullDisk full;
    const auto begin = std::chrono::steady_clock::now();
    for (std::uint64_t id = 1; id <= 1000; ++id) {
      journal.submit({{event(id)}, false, [&](const Result<void>& result) { done += result.ok() ? 1 : 0; }});
    }
    for (int i = 0; i < 1000; ++i) journal.submit({{MinuteRow{kNow + i * 1min, "s", 1, 2, 3, 4}}, true, nullptr});
    EXPECT_LT(std::chrono::steady_clock::now() - begin, 1s);
    ASSERT_TRUE(posted.run_until([&] { return !problems.empty(); }));
    std::this_thread::sleep_for(100ms);
    EXPECT_EQ(done, 0);
    EXPECT_NE(journal.problem(), "");
  }
  ASSERT_TRUE(posted.run_until([&] { return done == 1000 && journal.waiting() == 0; }));
  ASSERT_TRUE(posted.run_until([&] { return problems.size() == 2; }));
  EXPECT_EQ(problems[0].substr(0, 25), "cannot write the journal:") << problems[0];
  EXPECT_EQ(problems[1], "");
  auto reader = JournalReader::open(path);
  EXPECT_EQ(reader->events_since(kNow).value().size(), 1000U);
  const auto minutes = reader->minutes("s", kNow, kNow + 1000min).value();
  EXPECT_EQ(minutes.size() + journal.rows_dropped(), 1000U);
  EXPECT_GE(journal.rows_dropped(), 400U);
  EXPECT_EQ(minutes.back().minute, kNow + 999min);
}

TEST_F(JournalTest, StartsWithoutADiskAndCatchesUp) {
  std::ofstream(folder.path() / "state") << "a file where the folder should be";
  Journal journal(options());
  bool done = false;
  journal.submit({{event(1)}, false, [&](const Result<void>& result) { done = result.ok(); }});
  ASSERT_TRUE(posted.run_until([&] { return !problems.empty(); }));
  EXPECT_EQ(problems[0], "cannot open the journal " + path.string() + ": unable to open database file");
  std::filesystem::remove(folder.path() / "state");
  ASSERT_TRUE(posted.run_until([&] { return done; }));
}

TEST_F(JournalTest, ClosedWithAFailingDiskItSaysWhatWasNotWritten) {
  std::ofstream(folder.path() / "state") << "a file where the folder should be";
  std::string answer;
  {
    Journal journal(options());
    journal.submit({{event(1)}, false, [&](const Result<void>& result) { answer = result.ok() ? "written" : result.error(); }});
  }
  EXPECT_EQ(answer, "the journal was closed before it was written");
}

TEST_F(JournalTest, ADamagedDatabaseIsSetAside) {
  std::filesystem::create_directories(path.parent_path());
  std::ofstream(path) << std::string(10'000, 'x');
  bool done = false;
  Journal journal(options());
  journal.submit({{event(1)}, false, [&](const Result<void>& result) { done = result.ok(); }});
  ASSERT_TRUE(posted.run_until([&] { return done; }));
  EXPECT_TRUE(std::filesystem::exists(path.string() + ".damaged"));
  EXPECT_EQ(JournalReader::open(path)->events_since(kNow).value().size(), 1U);
}

TEST_F(JournalTest, ReaderSaysWhatIsMissing) {
  EXPECT_EQ(JournalReader::open(path).error(), "cannot read the journal " + path.string() + ": unable to open database file");
}

}  // namespace
}  // namespace underwing
