// Goal: tapes and journal do not grow for ever, and lose nothing that is needed: the open hour, what a restart takes back, alarms that
// stand, messages on their way. Method: folders of made-up tapes, and real journals with rows of several years.

#include <gtest/gtest.h>

#include <filesystem>
#include <fstream>

#include "daemon/journal.hpp"
#include "daemon/tape.hpp"
#include "daemon/tape_keep.hpp"
#include "tests/daemon/temporary_folder.hpp"

namespace underwing {
namespace {

using namespace std::chrono_literals;

Instant march(int day, int hour = 0) { return std::chrono::sys_days(std::chrono::year(2026) / 3 / 1) + std::chrono::days(day - 1) + std::chrono::hours(hour); }

void make_tape(const std::filesystem::path& folder, Instant hour, const std::string& part = "") {
  std::ofstream(folder / (tape_hour(hour) + part + ".senml.zst")) << std::string(1000, 'x');
}

std::string left_in(const std::filesystem::path& folder) {
  std::string hours;
  for (const auto& tape : list_tapes(folder)) hours += tape.filename().string().substr(8, 5) + " ";
  return hours;
}

TEST(KeepTapes, ByAge) {
  const TemporaryFolder folder;
  for (int day = 1; day <= 5; ++day) make_tape(folder.path(), march(day, 7));
  make_tape(folder.path(), march(1, 7), "_02");
  const TapesForgotten forgotten = forget_tapes(folder.path(), {48h, 1'000'000}, march(5, 8), march(5, 1));
  EXPECT_EQ(left_in(folder.path()), "04T07 05T07 ");
  EXPECT_EQ(forgotten.count, 4U);
  EXPECT_EQ(forgotten.bytes, 4000U);
  EXPECT_FALSE(forgotten.over_size);
  EXPECT_EQ(forget_tapes(folder.path(), {48h, 1'000'000}, march(5, 8), march(5, 1)).count, 0U);
}

TEST(KeepTapes, BySizeTheOldestFirst) {
  const TemporaryFolder folder;
  for (int day = 1; day <= 5; ++day) make_tape(folder.path(), march(day, 7));
  const TapesForgotten forgotten = forget_tapes(folder.path(), {240h, 3500}, march(5, 8), march(5, 1));
  EXPECT_EQ(left_in(folder.path()), "03T07 04T07 05T07 ");
  EXPECT_EQ(forgotten.count, 2U);
}

TEST(KeepTapes, NeverTheOpenHourNorWhatARestartNeeds) {
  const TemporaryFolder folder;
  for (int hour = 0; hour <= 8; ++hour) make_tape(folder.path(), march(5, hour));
  const TapesForgotten forgotten = forget_tapes(folder.path(), {0h, 0}, march(5, 8) + 30min, march(5, 6) + 30min);
  EXPECT_EQ(left_in(folder.path()), "05T06 05T07 05T08 ");
  EXPECT_TRUE(forgotten.over_size);
  // Nor where the clock went back behind what is there.
  EXPECT_EQ(forget_tapes(folder.path(), {0h, 0}, march(4), march(5)).count, 0U);
}

TEST(KeepTapes, NothingElseInTheFolder) {
  const TemporaryFolder folder;
  std::ofstream(folder.path() / "2020-01-01T00.notes") << "mine";
  EXPECT_EQ(forget_tapes(folder.path(), {0h, 0}, march(5), march(5)).count, 0U);
  EXPECT_TRUE(std::filesystem::exists(folder.path() / "2020-01-01T00.notes"));
  EXPECT_EQ(forget_tapes(folder.path() / "missing", {0h, 0}, march(5), march(5)).count, 0U);
}

/// A journal with a row of each kind a day, and what it had to say when it was closed.
class KeptJournal {
 public:
  explicit KeptJournal(const std::filesystem::path& path) : path_(path) {}

  void write(JournalTransaction transaction) {
    JournalOptions options;
    options.path = path_;
    options.on_forgotten = [this](const JournalForgotten& gone) {
      minutes += gone.minutes;
      records += gone.records;
    };
    // Everything is posted before the journal is gone.
    options.post = [this](std::function<void()> work) {
      const std::lock_guard lock(mutex_);
      posted_.push_back(std::move(work));
    };
    { Journal(std::move(options)).submit(std::move(transaction)); }
    for (const auto& work : posted_) work();
    posted_.clear();
  }
  void forget(Instant records_before, Instant minutes_before, Instant minutes_needed, std::uint64_t bytes = 1'000'000'000) {
    JournalTransaction transaction;
    transaction.rows.emplace_back(ForgetRow{records_before, minutes_before, minutes_needed, bytes});
    write(std::move(transaction));
  }
  [[nodiscard]] JournalReader reader() const {
    auto opened = JournalReader::open(path_);
    if (!opened.ok()) throw std::runtime_error(opened.error());
    return std::move(*opened);
  }

  std::size_t minutes = 0, records = 0;

 private:
  std::filesystem::path path_;
  std::mutex mutex_;
  std::vector<std::function<void()>> posted_;
};

void fill(KeptJournal& journal) {
  JournalTransaction transaction;
  for (int day = 1; day <= 20; ++day) {
    const auto id = static_cast<std::uint64_t>(day);
    const bool stands = day == 3;
    transaction.rows.emplace_back(AlarmRow{id, "K7", "house-1", "cold-air", "", stands ? "acknowledged" : "normal", "urgent", march(day),
                                           stands ? std::nullopt : std::optional(march(day, 1)), "{}"});
    transaction.rows.emplace_back(EventRow{id, march(day), "raised", "house-1", "cold-air", "{}"});
    transaction.rows.emplace_back(DeliveryRow{"d-" + std::to_string(day), march(day), "ines", "text", day == 2 ? "open" : "sent", "{}"});
    transaction.rows.emplace_back(AnswerRow{id, march(day), "ines", "text", "OK", "{}"});
    transaction.rows.emplace_back(RoundRow{id, march(day), "house-1", "dead_birds", 3, "ines", "{}"});
    transaction.rows.emplace_back(MinuteRow{march(day), "house-1/air_temperature/north", 30, 31, 32, 4});
  }
  transaction.rows.emplace_back(SnapshotRow{march(1), "{}"});
  journal.write(std::move(transaction));
}

TEST(KeepJournal, ByAgeButWhatStandsOrIsOnItsWay) {
  const TemporaryFolder folder;
  KeptJournal journal(folder.path() / "journal.db");
  fill(journal);
  journal.forget(march(11), march(16), march(19));
  JournalReader reader = journal.reader();
  EXPECT_EQ(reader.events_since(Instant{})->size(), 10U);
  EXPECT_EQ(reader.answers_since(Instant{})->size(), 10U);
  EXPECT_EQ(reader.rounds_since(Instant{})->size(), 10U);
  EXPECT_EQ(reader.minutes("house-1/air_temperature/north", Instant{}, march(30))->size(), 5U);
  EXPECT_EQ(reader.open_deliveries()->size(), 1U);
  const auto alarms = reader.alarms_since(Instant{});
  ASSERT_EQ(alarms->size(), 11U);
  EXPECT_EQ(alarms->front().id, 3U) << "one that stands was let go of";
  EXPECT_TRUE(reader.last_snapshot()->has_value());
  EXPECT_EQ(reader.last_ids()->event, 20U);
  EXPECT_EQ(journal.minutes, 15U);
  EXPECT_EQ(journal.records, 10U + 10U + 10U + 9U + 9U);
}

TEST(KeepJournal, BySizeTheMinutesGoFirst) {
  const TemporaryFolder folder;
  KeptJournal journal(folder.path() / "journal.db");
  fill(journal);
  journal.forget(Instant{}, Instant{}, march(19), 1);
  EXPECT_EQ(journal.minutes, 18U);
  EXPECT_EQ(journal.records, 0U);
  EXPECT_EQ(journal.reader().minutes("house-1/air_temperature/north", Instant{}, march(30))->size(), 2U);
}

TEST(KeepJournal, ALittleAtATimeSoThatNobodyWaits) {
  const TemporaryFolder folder;
  KeptJournal journal(folder.path() / "journal.db");
  JournalTransaction transaction;
  for (int minute = 0; minute < 5000; ++minute) transaction.rows.emplace_back(MinuteRow{march(1) + std::chrono::minutes(minute), "a", 1, 1, 1, 1});
  journal.write(std::move(transaction));
  journal.forget(march(20), march(20), march(20));
  EXPECT_EQ(journal.minutes, 2000U);
  journal.forget(march(20), march(20), march(20));
  EXPECT_EQ(journal.minutes, 4000U);
}

}  // namespace
}  // namespace underwing
