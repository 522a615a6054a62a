#include "daemon/tapes_ahead.hpp"

#include "daemon/senml_line.hpp"
#include "daemon/tape.hpp"

namespace underwing {

namespace {
constexpr std::size_t kPieceBytes = 1U << 20U;
constexpr std::size_t kPiecesAhead = 4;
constexpr std::size_t kUsualLineBytes = 64;
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
  for (std::size_t tape = 0; tape < tapes_.size(); ++tape) {
    read_tape(tape);
    const std::lock_guard lock(mutex_);
    if (failure_ || unwanted_) break;
  }
  const std::lock_guard lock(mutex_);
  ended_ = true;
  changed_.notify_all();
}

void TapesAhead::read_tape(std::size_t number) {
  const std::filesystem::path& path = tapes_[number];
  auto tape = TapeReader::open(path);
  if (!tape.ok()) {
    const std::lock_guard lock(mutex_);
    failure_ = tape.failure_in(path.string());
    return;
  }
  std::string text;
  while (const auto line = tape->next()) {
    text.append(*line).push_back('\n');
    if (text.size() >= kPieceBytes && !hand_over(number, text)) return;
  }
  if (!hand_over(number, text) || tape->loss().empty()) return;
  const std::lock_guard lock(mutex_);
  losses_.push_back(tape->loss());
}

bool TapesAhead::hand_over(std::size_t number, std::string& text) {
  if (text.empty()) return true;
  auto piece = std::make_unique<Piece>();
  piece->tape = number;
  piece->text = std::move(text);
  text.clear();
  piece->lines.reserve(piece->text.size() / kUsualLineBytes);
  for (std::string_view left = piece->text; !left.empty();) {
    TapeLine& line = piece->lines.emplace_back();
    line.text = left.substr(0, left.find('\n'));
    left.remove_prefix(line.text.size() + 1);
    if (!read_senml_line(line.text, line.reading.emplace())) line.reading.reset();
  }
  std::unique_lock lock(mutex_);
  changed_.wait(lock, [&] { return unwanted_ || waiting_.size() < kPiecesAhead; });
  if (unwanted_) return false;
  waiting_.push_back(std::move(piece));
  changed_.notify_all();
  return true;
}

const TapeLine* TapesAhead::next() {
  if (!piece_ || line_ == piece_->lines.size()) {
    std::unique_lock lock(mutex_);
    changed_.wait(lock, [&] { return ended_ || !waiting_.empty(); });
    if (waiting_.empty()) return nullptr;
    piece_ = std::move(waiting_.front());
    waiting_.pop_front();
    line_ = 0;
    changed_.notify_all();
  }
  return &piece_->lines[line_++];
}

}  // namespace underwing
