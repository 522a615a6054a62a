#include "daemon/tapes_ahead.hpp"

#include <cstring>

#include "daemon/tape.hpp"

namespace underwing {

namespace {
constexpr std::size_t kPieceBytes = 1U << 20U;
constexpr std::size_t kPiecesAhead = 4;
}  // namespace

TapesAhead::TapesAhead(std::vector<std::filesystem::path> tapes) : tapes_(std::move(tapes)), thread_([this] { read(); }) {}

TapesAhead::~TapesAhead() {
  {
    const std::lock_guard lock(mutex_);
    unwanted_ = true;
  }
  changed_.notify_all();
  thread_.join();
}

void TapesAhead::read() {
  for (const auto& path : tapes_) {
    read_tape(path);
    const std::lock_guard lock(mutex_);
    if (failure_ || unwanted_) break;
  }
  const std::lock_guard lock(mutex_);
  ended_ = true;
  changed_.notify_all();
}

void TapesAhead::read_tape(const std::filesystem::path& path) {
  auto tape = TapeReader::open(path);
  if (!tape.ok()) {
    const std::lock_guard lock(mutex_);
    failure_ = tape.failure_in(path.string());
    return;
  }
  std::string lines;
  while (const auto line = tape->next()) {
    lines.append(*line).push_back('\n');
    if (lines.size() >= kPieceBytes && !hand_over(lines)) return;
  }
  if (!hand_over(lines) || tape->loss().empty()) return;
  const std::lock_guard lock(mutex_);
  losses_.push_back(tape->loss());
}

bool TapesAhead::hand_over(std::string& lines) {
  std::unique_lock lock(mutex_);
  changed_.wait(lock, [&] { return unwanted_ || waiting_.size() < kPiecesAhead; });
  if (unwanted_) return false;
  if (!lines.empty()) waiting_.push_back(std::move(lines));
  lines.clear();
  changed_.notify_all();
  return true;
}

std::optional<std::string_view> TapesAhead::next() {
  if (begin_ == lines_.size()) {
    std::unique_lock lock(mutex_);
    changed_.wait(lock, [&] { return ended_ || !waiting_.empty(); });
    if (waiting_.empty()) return std::nullopt;
    lines_ = std::move(waiting_.front());
    waiting_.pop_front();
    begin_ = 0;
    changed_.notify_all();
  }
  const char* start = lines_.data() + begin_;
  const auto* end = static_cast<const char*>(std::memchr(start, '\n', lines_.size() - begin_));
  const auto length = static_cast<std::size_t>(end - start);
  begin_ += length + 1;
  return std::string_view(start, length);
}

}  // namespace underwing
