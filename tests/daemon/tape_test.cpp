// Goal: a tape gives back what was put on it, whatever the power and the disk did.
// Method: tapes written into a temporary folder, then cut at every length; a folder that refuses writes, made
// by putting a file in its place.

#include "daemon/tape.hpp"

#include <fstream>
#include <string>
#include <vector>

#include <fmt/format.h>
#include <gtest/gtest.h>

#include "daemon/file_io.hpp"
#include "daemon/tape_order.hpp"
#include "daemon/tapes_ahead.hpp"
#include "tests/daemon/temporary_folder.hpp"

namespace underwing {
namespace {

using std::chrono::seconds;

constexpr Instant kStart{Duration(1'772'416'800'000)};  // 2026-03-02T02:00:00Z

struct Content {
  std::vector<std::string> lines;
  std::string loss;
};

Content content_of(const std::filesystem::path& path) {
  auto reader = TapeReader::open(path);
  EXPECT_TRUE(reader);
  Content content;
  if (!reader) return content;
  while (const auto line = reader->next()) content.lines.emplace_back(*line);
  content.loss = reader->loss();
  return content;
}

void put(const std::filesystem::path& path, std::string_view bytes) {
  std::ofstream(path, std::ios::binary) << bytes;
}

TEST(Tape, WritesAFileAnHourThatBeginsWithZoneAndRules) {
  const TemporaryFolder folder;
  TapeWriter writer(folder.path() / "tapes", {"2025b", "0123456789abcdef"});
  ASSERT_TRUE(writer.write("one", kStart));
  ASSERT_TRUE(writer.write("two", kStart + seconds(3599)));
  ASSERT_TRUE(writer.write("three", kStart + seconds(3600)));
  ASSERT_TRUE(writer.close_block());
  const auto tapes = list_tapes(folder.path() / "tapes");
  ASSERT_EQ(tapes.size(), 2U);
  EXPECT_EQ(tapes[0].filename(), "2026-03-02T02.senml.zst");
  EXPECT_EQ(tapes[1].filename(), "2026-03-02T03.senml.zst");
  EXPECT_EQ(content_of(tapes[0]).lines,
            (std::vector<std::string>{R"([{"n":"watch/zone","vs":"2025b"}])",
                                      R"([{"n":"watch/rules","t":1772416800,"vs":"0123456789abcdef"}])", "one", "two"}));
  EXPECT_EQ(content_of(tapes[1]).lines.at(2), "three");
  EXPECT_EQ(content_of(tapes[1]).loss, "");
}

TEST(Tape, ABlockIsClosedAfterTenSeconds) {
  const TemporaryFolder folder;
  TapeWriter writer(folder.path(), {"2025b", "00"});
  ASSERT_TRUE(writer.write("one", kStart));
  ASSERT_TRUE(writer.sync(kStart + Duration(9'999)));
  EXPECT_TRUE(list_tapes(folder.path()).empty());
  ASSERT_TRUE(writer.sync(kStart + seconds(10)));
  ASSERT_EQ(list_tapes(folder.path()).size(), 1U);
  EXPECT_EQ(content_of(writer.current_file()).lines.back(), "one");
}

TEST(Tape, NewRulesAreMarkedAndHeadTheNextFile) {
  const TemporaryFolder folder;
  TapeWriter writer(folder.path(), {"2025b", "aa"});
  ASSERT_TRUE(writer.write("one", kStart));
  ASSERT_TRUE(writer.set_rules("bb", kStart + seconds(1)));
  ASSERT_TRUE(writer.write("two", kStart + seconds(3600)));
  ASSERT_TRUE(writer.close_block());
  const auto tapes = list_tapes(folder.path());
  ASSERT_EQ(tapes.size(), 2U);
  EXPECT_EQ(content_of(tapes[0]).lines.back(), R"([{"n":"watch/rules","t":1772416801,"vs":"bb"}])");
  EXPECT_EQ(content_of(tapes[1]).lines.at(1), R"([{"n":"watch/rules","t":1772420400,"vs":"bb"}])");
}

TEST(Tape, ALaterRunLeavesEarlierFilesAlone) {
  const TemporaryFolder folder;
  for (int run = 0; run < 12; ++run) {
    TapeWriter writer(folder.path(), {"2025b", "00"});
    ASSERT_TRUE(writer.write(fmt::format("run {}", run), kStart));
    ASSERT_TRUE(writer.close_block());
  }
  const auto tapes = list_tapes(folder.path());
  ASSERT_EQ(tapes.size(), 12U);
  EXPECT_EQ(tapes[1].filename(), "2026-03-02T02_02.senml.zst");
  for (std::size_t run = 0; run < 12; ++run) EXPECT_EQ(content_of(tapes[run]).lines.back(), fmt::format("run {}", run));
}

TEST(Tape, CutAtEveryLengthGivesWholeBlocksAndSaysWhatIsMissing) {
  const TemporaryFolder folder;
  TapeWriter writer(folder.path(), {"2025b", "00"});
  std::vector<std::string> all = {R"([{"n":"watch/zone","vs":"2025b"}])", R"([{"n":"watch/rules","t":1772416800,"vs":"00"}])"};
  std::vector<std::size_t> block_ends, lines_at_end;
  for (int block = 0; block < 4; ++block) {
    for (int i = 0; i < 5; ++i) {
      all.push_back(fmt::format("block {} line {}", block, i));
      ASSERT_TRUE(writer.write(all.back(), kStart));
    }
    ASSERT_TRUE(writer.close_block());
    block_ends.push_back(std::filesystem::file_size(writer.current_file()));
    lines_at_end.push_back(all.size());
  }
  const std::string bytes = read_file(writer.current_file()).value();
  const auto cut_path = folder.path() / "cut.senml.zst";
  for (std::size_t length = 0; length <= bytes.size(); ++length) {
    put(cut_path, bytes.substr(0, length));
    std::size_t kept = 0;
    bool at_end = length == 0;
    for (std::size_t i = 0; i < block_ends.size(); ++i) {
      if (block_ends[i] <= length) kept = lines_at_end[i];
      at_end = at_end || block_ends[i] == length;
    }
    const Content content = content_of(cut_path);
    ASSERT_GE(content.lines.size(), kept) << length;
    for (std::size_t i = 0; i < content.lines.size(); ++i) ASSERT_EQ(content.lines[i], all[i]) << length;
    EXPECT_EQ(content.loss, at_end ? ""
                                   : fmt::format("{}: the last block is torn after line {}", cut_path.string(),
                                                 content.lines.size()));
  }
}

TEST(Tape, ADamagedBlockIsSaid) {
  const TemporaryFolder folder;
  TapeWriter writer(folder.path(), {"2025b", "00"});
  ASSERT_TRUE(writer.write("first block", kStart));
  ASSERT_TRUE(writer.close_block());
  const auto size = std::filesystem::file_size(writer.current_file());
  ASSERT_TRUE(writer.write("second block", kStart));
  ASSERT_TRUE(writer.close_block());
  std::string bytes = read_file(writer.current_file()).value();
  bytes[size] = 'x';
  put(folder.path() / "bad.senml.zst", bytes);
  const Content content = content_of(folder.path() / "bad.senml.zst");
  EXPECT_EQ(content.lines.back(), "first block");
  EXPECT_EQ(content.loss, (folder.path() / "bad.senml.zst").string() + ": a block is damaged after line 3");
}

/// Any byte of a block in the middle may be wrong: none of its lines is given, all others are, and the loss is said.
TEST(Tape, ADamagedBlockInTheMiddleCostsItsOwnLinesOnly) {
  const TemporaryFolder folder;
  TapeWriter writer(folder.path(), {"2025b", "00"});
  std::vector<std::string> others = {R"([{"n":"watch/zone","vs":"2025b"}])", R"([{"n":"watch/rules","t":1772416800,"vs":"00"}])"};
  std::vector<std::size_t> ends;
  for (int block = 0; block < 4; ++block) {
    for (int i = 0; i < 3; ++i) {
      const std::string line = fmt::format("block {} line {}", block, i);
      ASSERT_TRUE(writer.write(line, kStart));
      if (block != 1) others.push_back(line);
    }
    ASSERT_TRUE(writer.close_block());
    ends.push_back(std::filesystem::file_size(writer.current_file()));
  }
  const std::string good = read_file(writer.current_file()).value();
  const auto path = folder.path() / "bad.senml.zst";
  for (std::size_t at = ends[0]; at < ends[1]; ++at) {
    std::string bytes = good;
    bytes[at] = static_cast<char>(bytes[at] ^ 0x55);
    put(path, bytes);
    const Content content = content_of(path);
    ASSERT_EQ(content.lines, others) << at;
    ASSERT_EQ(content.loss, path.string() + ": a block is damaged after line 5") << at;
  }
  std::string bytes = good;
  bytes[ends[0] + 5] = static_cast<char>(bytes[ends[0] + 5] ^ 0x55);
  bytes[ends[2] + 5] = static_cast<char>(bytes[ends[2] + 5] ^ 0x55);
  put(path, bytes);
  const Content twice = content_of(path);
  EXPECT_EQ(twice.lines.back(), "block 2 line 2");
  EXPECT_EQ(twice.loss, path.string() + ": a block is damaged after line 5, 2 blocks in all");
}

TEST(Tape, AFailingDiskIsSaidAndCaughtUpLater) {
  const TemporaryFolder folder;
  const auto place = folder.path() / "tapes";
  put(place, "a file where the folder should be");
  TapeWriter writer(place, {"2025b", "00"});
  ASSERT_TRUE(writer.write("one", kStart));
  const auto refused = writer.sync(kStart + seconds(10));
  ASSERT_FALSE(refused);
  EXPECT_NE(refused.error().find("cannot make the"), std::string::npos) << refused.error();
  ASSERT_TRUE(writer.write("two", kStart + seconds(11)));
  EXPECT_FALSE(writer.sync(kStart + seconds(21)));

  std::filesystem::remove(place);
  ASSERT_TRUE(writer.sync(kStart + seconds(31)));
  const auto tapes = list_tapes(place);
  ASSERT_EQ(tapes.size(), 1U);
  const auto lines = content_of(tapes[0]).lines;
  EXPECT_EQ(std::vector<std::string>(lines.begin() + 2, lines.end()), (std::vector<std::string>{"one", "two"}));
  EXPECT_EQ(writer.lines_lost(), 0U);
}

TEST(Tape, ADiskThatNeverComesBackCostsTheOldestLinesOnly) {
  const TemporaryFolder folder;
  const auto place = folder.path() / "tapes";
  put(place, "a file where the folder should be");
  TapeWriter writer(place, {"2025b", "00"});
  const std::string line(100'000, 'a');
  bool refused = false;
  for (int i = 0; i < 200; ++i) refused = !writer.write(line, kStart) || refused;
  EXPECT_TRUE(refused);
  EXPECT_FALSE(writer.close_block());
  EXPECT_GT(writer.lines_lost(), 0U);
  std::filesystem::remove(place);
  ASSERT_TRUE(writer.close_block());
  EXPECT_EQ(content_of(list_tapes(place).at(0)).lines.size() - 2 + writer.lines_lost(), 200U);
}

TEST(Tape, ReadsPlainLines) {
  const TemporaryFolder folder;
  const auto path = folder.path() / "a.senml";
  put(path, "one\n\ntwo\nthree without a newline");
  EXPECT_EQ(content_of(path).lines, (std::vector<std::string>{"one", "two", "three without a newline"}));
  std::string many;
  for (int i = 0; i < 100'000; ++i) many += fmt::format("line {}\n", i);
  many += std::string(3'000'000, 'x') + "\nend\n";
  put(path, many);
  const Content content = content_of(path);
  ASSERT_EQ(content.lines.size(), 100'002U);
  EXPECT_EQ(content.lines[99'999], "line 99999");
  EXPECT_EQ(content.lines[100'000].size(), 3'000'000U);
  EXPECT_EQ(content.lines.back(), "end");
}

TEST(Tape, SaysWhyItCannotOpen) {
  const TemporaryFolder folder;
  EXPECT_EQ(TapeReader::open(folder.path() / "none").error(),
            "cannot read the tape " + (folder.path() / "none").string() + ": No such file or directory");
  EXPECT_EQ(TapeReader::open(folder.path()).error(), "cannot read the tape " + folder.path().string() + ": it is a folder");
  EXPECT_TRUE(list_tapes(folder.path() / "none").empty());
}

TEST(TapesAhead, GivesTapeAfterTapeUpToTheOneThatIsMissing) {
  const TemporaryFolder folder;
  std::string many;
  for (int i = 0; i < 400'000; ++i) many += fmt::format("line {}\n", i);
  put(folder.path() / "a.senml", many);
  put(folder.path() / "b.senml", "");
  put(folder.path() / "c.senml", "last\n\nwithout a newline");
  TapesAhead lines({folder.path() / "a.senml", folder.path() / "b.senml", folder.path() / "c.senml", folder.path() / "none", folder.path() / "a.senml"});
  const auto text = [&] {
    const TapeLine* line = lines.next();
    return line ? std::optional(std::string(line->text)) : std::nullopt;
  };
  for (int i = 0; i < 400'000; ++i) ASSERT_EQ(text(), fmt::format("line {}", i));
  EXPECT_EQ(text(), "last");
  EXPECT_EQ(text(), "without a newline");
  EXPECT_EQ(text(), std::nullopt);
  EXPECT_EQ(text(), std::nullopt);
  ASSERT_TRUE(lines.failure());
  EXPECT_TRUE(lines.failure()->text.ends_with("none: No such file or directory")) << lines.failure()->text;
  EXPECT_TRUE(lines.losses().empty());
}

TEST(TapesAhead, SaysOnWhichTapeALineStands) {
  const TemporaryFolder folder;
  put(folder.path() / "a.senml", "one\ntwo\n");
  put(folder.path() / "b.senml", "");
  TapesAhead lines({folder.path() / "a.senml", folder.path() / "b.senml", folder.path() / "a.senml"});
  std::string tapes;
  while (lines.next()) tapes += fmt::format("{} ", lines.tape());
  EXPECT_EQ(tapes, "0 0 2 2 ");
}

TEST(TapeOrder, GoesByTheFirstTimeThatATapeSays) {
  const TemporaryFolder folder;
  const auto at = [&](const char* name) { return folder.path() / name; };
  put(at("late"), "[{\"n\":\"watch/zone\",\"vs\":\"2025b\"}]\n[{\"n\":\"watch/rules\",\"t\":1772447400,\"vs\":\"\"}]\n");
  put(at("early"), "no line\n[{\"n\":\"h1/water/main\",\"t\":-5,\"v\":1}]\n[{\"bn\":\"h1/\",\"n\":\"water/main\",\"t\":1772443800.5,\"v\":1},{\"n\":\"feed/auger\",\"t\":1772443800,\"v\":1}]\n");
  put(at("timeless"), "[{\"n\":\"h1/water/main\",\"v\":1}]\n");
  put(at("same"), "[{\"n\":\"h1/water/main\",\"t\":1772443800,\"v\":1}]\n");
  const auto order = [](const std::vector<std::filesystem::path>& tapes) {
    std::string text;
    for (const OrderedTape& tape : in_order_of_time(tapes)) {
      text += fmt::format("{} {}; ", tape.path.filename().string(), tape.begin ? std::to_string(tape.begin->time_since_epoch().count()) : "-");
    }
    return text;
  };
  EXPECT_EQ(order({at("late"), at("early")}), "early 1772443800000; late 1772447400000; ");
  EXPECT_EQ(order({at("same"), at("early")}), "same 1772443800000; early 1772443800000; ");
  EXPECT_EQ(order({at("late"), at("timeless"), at("early")}), "early 1772443800000; late 1772447400000; timeless -; ");
  EXPECT_EQ(order({at("timeless"), at("late"), at("none"), at("early")}), "timeless -; early 1772443800000; late 1772447400000; none -; ");
  EXPECT_EQ(order({at("late")}), "late -; ");
}

TEST(TapesAhead, HasReadWhatIsPlainAndLeavesTheRestToTheParser) {
  const TemporaryFolder folder;
  put(folder.path() / "a.senml", "[{\"n\":\"house-1/air_temperature/north\",\"u\":\"Cel\",\"v\":31.2,\"t\":1772443800.5}]\n"
                                 "[{\"n\":\"house-1/air_temperature/north\",\"v\":31.2}]\n[{\"n\":\n");
  TapesAhead lines({folder.path() / "a.senml"});
  const TapeLine* plain = lines.next();
  ASSERT_TRUE(plain && plain->reading);
  EXPECT_EQ(plain->reading->name, "house-1/air_temperature/north");
  EXPECT_EQ(plain->reading->unit, "Cel");
  EXPECT_EQ(plain->reading->value, 31.2);
  EXPECT_EQ(plain->reading->time, Instant(Duration(1'772'443'800'500)));
  for (const char* text : {"[{\"n\":\"house-1/air_temperature/north\",\"v\":31.2}]", "[{\"n\":"}) {
    const TapeLine* line = lines.next();
    ASSERT_TRUE(line);
    EXPECT_EQ(line->text, text);
    EXPECT_FALSE(line->reading);
  }
}

TEST(TapesAhead, CanBeLeftInTheMiddle) {
  const TemporaryFolder folder;
  put(folder.path() / "a.senml", std::string(20'000'000, 'x') + "\n" + std::string(20'000'000, '\n') + "end\n");
  TapesAhead lines({folder.path() / "a.senml", folder.path() / "a.senml"});
  ASSERT_TRUE(lines.next());
}

}  // namespace
}  // namespace underwing
