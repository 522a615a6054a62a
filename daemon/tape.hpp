#pragma once

#include <cstdint>
#include <filesystem>
#include <memory>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "rules/base/result.hpp"
#include "rules/base/time.hpp"

/// Tapes: the inputs of the watch as it took them, SenML lines under zstd.
///
/// A folder holds a file an hour of engine time, `2026-03-02T02.senml.zst`. A file is a row of zstd frames
/// ("blocks"), each of whole lines, each written at once and synced. A writer never touches a file that an
/// earlier run wrote: where the name is taken, it goes on in `2026-03-02T02_02.senml.zst`; so a block that a
/// power cut tore stays the last one of its file. Every file begins with
/// `[{"n":"watch/zone","vs":"2025b"}]` and `[{"n":"watch/rules","t":…,"vs":"…"}]`.
namespace underwing {

/// What stands at the head of each file.
struct TapeHead {
  std::string zone_version;  ///< of the time zone data
  std::string rules_hash;    ///< of the rules in force
};

/// Writes tapes, in the caller's thread: close_block() waits for the disk. Lines wait in memory until their
/// block is closed; when the disk fails they go on waiting, up to 16 MiB, beyond which the oldest block is
/// dropped and counted.
class TapeWriter {
 public:
  /// Creates `folder` where it is missing when it first writes.
  TapeWriter(std::filesystem::path folder, TapeHead head);
  ~TapeWriter();
  TapeWriter(TapeWriter&&) noexcept;
  TapeWriter& operator=(TapeWriter&&) noexcept;

  /// Takes one line, without its newline. Only when a block is due (10 s of engine time or 1 MiB since the
  /// last, or a new hour) does it write, and only then can it fail; the line is kept all the same.
  Result<void> write(std::string_view line, Instant now);

  /// Closes the block if it has been open for 10 s. To be called at least once a second, so that lines reach
  /// the disk in quiet times too.
  Result<void> sync(Instant now);

  /// Closes the block now: everything taken so far is on the disk when it succeeds.
  Result<void> close_block();

  /// New rules: files begun from now on name this hash, and a mark is written here.
  Result<void> set_rules(std::string_view hash, Instant now);

  [[nodiscard]] std::uint64_t lines_lost() const;
  [[nodiscard]] std::filesystem::path current_file() const;  ///< empty before the first block

 private:
  struct Impl;
  std::unique_ptr<Impl> impl_;
};

/// Reads the lines of one tape, `.senml` or `.senml.zst`.
class TapeReader {
 public:
  static Result<TapeReader> open(const std::filesystem::path& path);
  ~TapeReader();
  TapeReader(TapeReader&&) noexcept;
  TapeReader& operator=(TapeReader&&) noexcept;

  /// The next line that is not empty, without its newline; nullopt at the end. Good until the next call.
  [[nodiscard]] std::optional<std::string_view> next();

  /// After the end: what could not be read, as a sentence; empty where nothing is missing. Of a torn last block
  /// the whole lines that could be read have been given; of a damaged one none, but the blocks after it are read.
  [[nodiscard]] const std::string& loss() const;

 private:
  struct Impl;
  explicit TapeReader(std::unique_ptr<Impl> impl);
  std::unique_ptr<Impl> impl_;
};

/// The tapes of a folder in the order of time; empty where the folder is missing.
[[nodiscard]] std::vector<std::filesystem::path> list_tapes(const std::filesystem::path& folder);

/// "2026-03-02T02": the hour that a tape's file name begins with.
[[nodiscard]] std::string tape_hour(Instant time);

}  // namespace underwing
