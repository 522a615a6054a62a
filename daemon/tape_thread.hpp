#pragma once

#include <filesystem>
#include <functional>
#include <memory>
#include <string>
#include <string_view>

#include "daemon/tape.hpp"
#include "daemon/tape_keep.hpp"

namespace underwing {

/// A tape writer in a thread of its own, so that the watch never waits for the disk. At most 64 MiB of lines
/// wait; beyond that new ones are dropped and the trouble is told.
class TapeThread {
 public:
  /// `on_problem` hears, through `post`, that the tape cannot be written (a sentence), and that it can again
  /// (empty); once for each change.
  TapeThread(std::filesystem::path folder, TapeHead head, std::function<void(std::function<void()>)> post,
             std::function<void(const std::string& problem)> on_problem);
  /// Writes what waits, then closes the block.
  ~TapeThread();
  TapeThread(const TapeThread&) = delete;
  TapeThread& operator=(const TapeThread&) = delete;

  void write(std::string_view line, Instant now);
  /// New rules from here on.
  void set_rules(const std::string& hash, Instant now);
  /// Closes the block if it has been open for 10 s.
  void sync(Instant now);
  /// Lets go of old tapes, in its own thread; `told` hears, through `post`, how many.
  void forget(const TapeKeep& keep, Instant now, Instant needed_from, std::function<void(const TapesForgotten&)> told);

 private:
  struct Impl;
  std::unique_ptr<Impl> impl_;
};

}  // namespace underwing
