#include "daemon/tape.hpp"

#include <algorithm>
#include <cerrno>
#include <cstring>
#include <deque>

#include <fcntl.h>
#include <zstd.h>

#include "daemon/file_io.hpp"
#include "daemon/senml.hpp"

namespace underwing {
namespace {

constexpr Duration kBlockTime = std::chrono::seconds(10);
constexpr std::size_t kBlockSize_bytes = 1U << 20U;
constexpr std::size_t kWaiting_bytes_max = 16U << 20U;
constexpr std::size_t kLine_bytes_max = 16U << 20U;
constexpr int kParts_max = 999;
/// Level 1 was the smallest and the fastest on lines of this kind (measured: 4.5 bytes a reading).
constexpr int kLevel = 1;

Instant hour_of(Instant time) { return std::chrono::floor<std::chrono::hours>(time); }

struct CompressorDeleter {
  void operator()(ZSTD_CCtx* context) const { ZSTD_freeCCtx(context); }
};
struct DecompressorDeleter {
  void operator()(ZSTD_DCtx* context) const { ZSTD_freeDCtx(context); }
};

}  // namespace

std::string tape_hour(Instant time) {
  std::string text = to_rfc3339(hour_of(time));
  text.resize(std::strlen("2026-03-02T02"));
  return text;
}

struct TapeWriter::Impl {
  struct Block {
    Instant hour{};
    std::string head;
    std::string lines;
    std::uint64_t line_count = 0;
  };

  std::filesystem::path folder;
  TapeHead head;
  Block open;               ///< no lines: none is open
  Instant opened{};
  Instant tried{};          ///< when the disk last refused
  std::deque<Block> waiting;
  std::size_t waiting_bytes = 0;
  std::uint64_t lost = 0;

  std::unique_ptr<ZSTD_CCtx, CompressorDeleter> compressor{ZSTD_createCCtx()};
  std::string frame;
  Descriptor file;
  std::filesystem::path path;
  Instant file_hour{};
  off_t good_size = 0;      ///< up to here the file holds whole, synced blocks

  void begin_block(Instant now) {
    open.hour = hour_of(now);
    opened = now;
    open.head.clear();
    append_senml_mark(open.head, "watch/zone", std::nullopt, head.zone_version);
    open.head += '\n';
    append_senml_mark(open.head, "watch/rules", now, head.rules_hash);
    open.head += '\n';
  }

  void queue_open_block() {
    if (open.line_count == 0) return;
    waiting_bytes += open.lines.size();
    waiting.push_back(std::move(open));
    open = Block{};
    while (waiting_bytes > kWaiting_bytes_max) drop_oldest();
  }

  void drop_oldest() {
    lost += waiting.front().line_count;
    waiting_bytes -= waiting.front().lines.size();
    waiting.pop_front();
  }

  Result<void> create_file(Instant hour) {
    std::error_code code;
    std::filesystem::create_directories(folder, code);
    if (code) return Failure{"cannot make the folder " + folder.string() + ": " + code.message()};
    for (int part = 1; part <= kParts_max; ++part) {
      std::string name = tape_hour(hour);
      if (part > 1) name += (part < 10 ? "_0" : "_") + std::to_string(part);
      path = folder / (name + ".senml.zst");
      file.reset(::open(path.c_str(), O_WRONLY | O_CREAT | O_EXCL | O_CLOEXEC, 0640));
      if (file || errno != EEXIST) break;
    }
    if (!file) return system_failure("cannot make the tape", path);
    file_hour = hour;
    good_size = 0;
    return sync_folder(folder);
  }

  Result<void> compress(const Block& block) {
    const std::string text = (good_size == 0 ? block.head : std::string()) + block.lines;
    frame.resize(ZSTD_compressBound(text.size()));
    ZSTD_CCtx_setParameter(compressor.get(), ZSTD_c_compressionLevel, kLevel);
    ZSTD_CCtx_setParameter(compressor.get(), ZSTD_c_checksumFlag, 1);
    const std::size_t size = ZSTD_compress2(compressor.get(), frame.data(), frame.size(), text.data(), text.size());
    if (ZSTD_isError(size) != 0) return Failure{std::string("cannot compress the tape: ") + ZSTD_getErrorName(size)};
    frame.resize(size);
    return {};
  }

  /// Takes back what a failed write left behind. A file that could not be synced is given up: the kernel may
  /// count its lost pages as written.
  void take_back(bool give_up) {
    const bool cut = ::ftruncate(file.get(), good_size) == 0 && ::lseek(file.get(), good_size, SEEK_SET) >= 0;
    if (cut && !give_up && good_size > 0) return;
    file.reset();
    if (good_size == 0) ::unlink(path.c_str());
  }

  Result<void> write_block(const Block& block) {
    if (file && file_hour != block.hour) file.reset();
    if (!file) {
      if (auto made = create_file(block.hour); !made) return made;
    }
    if (auto compressed = compress(block); !compressed) return compressed;
    if (!write_all(file.get(), frame)) {
      const Failure failure = system_failure("cannot write the tape", path);
      take_back(false);
      return failure;
    }
    if (::fdatasync(file.get()) != 0) {
      const Failure failure = system_failure("cannot sync the tape", path);
      take_back(true);
      return failure;
    }
    good_size += static_cast<off_t>(frame.size());
    return {};
  }

  Result<void> write_waiting() {
    while (!waiting.empty()) {
      if (auto written = write_block(waiting.front()); !written) return written;
      waiting_bytes -= waiting.front().lines.size();
      waiting.pop_front();
    }
    return {};
  }

  [[nodiscard]] bool due(Instant now) const {
    return open.line_count > 0 && (now - opened >= kBlockTime || open.lines.size() >= kBlockSize_bytes);
  }
};

TapeWriter::TapeWriter(std::filesystem::path folder, TapeHead head) : impl_(std::make_unique<Impl>()) {
  impl_->folder = std::move(folder);
  impl_->head = std::move(head);
}
TapeWriter::~TapeWriter() = default;
TapeWriter::TapeWriter(TapeWriter&&) noexcept = default;
TapeWriter& TapeWriter::operator=(TapeWriter&&) noexcept = default;

Result<void> TapeWriter::write(std::string_view line, Instant now) {
  Result<void> result;
  if (impl_->open.line_count > 0 && impl_->open.hour != hour_of(now)) result = close_block();
  if (impl_->open.line_count == 0) impl_->begin_block(now);
  impl_->open.lines.append(line);
  impl_->open.lines += '\n';
  ++impl_->open.line_count;
  if (!result) return result;
  return sync(now);
}

Result<void> TapeWriter::sync(Instant now) {
  const bool retry = !impl_->waiting.empty() && now - impl_->tried >= kBlockTime;
  if (!impl_->due(now) && !retry) return {};
  impl_->tried = now;
  return close_block();
}

Result<void> TapeWriter::close_block() {
  impl_->queue_open_block();
  return impl_->write_waiting();
}

Result<void> TapeWriter::set_rules(std::string_view hash, Instant now) {
  impl_->head.rules_hash = hash;
  std::string mark;
  append_senml_mark(mark, "watch/rules", now, hash);
  return write(mark, now);
}

std::uint64_t TapeWriter::lines_lost() const { return impl_->lost; }
std::filesystem::path TapeWriter::current_file() const { return impl_->file ? impl_->path : std::filesystem::path(); }

struct TapeReader::Impl {
  std::filesystem::path path;
  Descriptor file;
  std::unique_ptr<ZSTD_DCtx, DecompressorDeleter> decompressor;  ///< none: plain lines
  std::vector<char> input, lines;
  ZSTD_inBuffer packed{};
  std::size_t begin = 0, end = 0;  ///< what of `lines` waits to be given
  std::size_t whole = 0;           ///< up to here `lines` holds the text of whole blocks: what may be given
  std::uint64_t line_count = 0;
  bool frame_open = false;
  bool ended = false;
  std::string loss;
  std::size_t damaged = 0;         ///< blocks that were passed over
  off_t frame_begin = 0;           ///< of the block under way, in the file
  off_t consumed = 0;              ///< bytes of the file that the decompressor has taken

  /// Those that were given, and those that wait to be.
  [[nodiscard]] std::uint64_t lines_so_far() const {
    return line_count + static_cast<std::uint64_t>(std::count(lines.data() + begin, lines.data() + end, '\n'));
  }

  void lose(const std::string& what) {
    if (loss.empty()) loss = path.string() + ": " + what + " after line " + std::to_string(lines_so_far());
    ended = true;
  }

  /// Passes over a block that cannot be read and goes on with the next one. None of its lines were given: only the
  /// checksum at its end says that they are true.
  void pass_over_block(off_t next) {
    ++damaged;
    end = whole;
    if (loss.empty()) loss = path.string() + ": a block is damaged after line " + std::to_string(lines_so_far());
    ZSTD_DCtx_reset(decompressor.get(), ZSTD_reset_session_only);
    packed.pos = packed.size = 0;
    frame_open = false;
    frame_begin = consumed = next;
    if (next < 0 || ::lseek(file.get(), next, SEEK_SET) < 0) finish();
  }

  /// The next place from `from` on at which a whole block stands; -1: there is none. That a block's first four bytes
  /// (RFC 8878, 3.1.1) also stand inside another one is possible, and found out by reading it.
  off_t find_block(off_t from) {
    static constexpr std::string_view kMagic("\x28\xB5\x2F\xFD", 4);
    std::string window;
    std::vector<char> bytes(1U << 18U);
    if (::lseek(file.get(), from, SEEK_SET) < 0) return -1;
    for (off_t base = from;;) {
      const std::size_t count = read_some(bytes.data(), bytes.size());
      if (count == 0) return -1;
      window.append(bytes.data(), count);
      for (std::size_t at = window.find(kMagic); at != std::string::npos; at = window.find(kMagic, at + 1)) {
        if (readable_at(base + static_cast<off_t>(at))) return base + static_cast<off_t>(at);
        if (::lseek(file.get(), base + static_cast<off_t>(window.size()), SEEK_SET) < 0) return -1;
      }
      const std::size_t keep = std::min<std::size_t>(window.size(), kMagic.size() - 1);
      base += static_cast<off_t>(window.size() - keep);
      window.erase(0, window.size() - keep);
    }
  }

  /// Whether a whole block with a true checksum stands there.
  bool readable_at(off_t at) {
    if (::lseek(file.get(), at, SEEK_SET) < 0) return false;
    const std::unique_ptr<ZSTD_DCtx, DecompressorDeleter> trial(ZSTD_createDCtx());
    std::vector<char> from(1U << 16U), to(ZSTD_DStreamOutSize());
    for (;;) {
      ZSTD_inBuffer source{from.data(), read_some(from.data(), from.size()), 0};
      if (source.size == 0) return false;
      while (source.pos < source.size) {
        ZSTD_outBuffer target{to.data(), to.size(), 0};
        const std::size_t left = ZSTD_decompressStream(trial.get(), &target, &source);
        if (ZSTD_isError(left) != 0) return false;
        if (left == 0) return true;
      }
    }
  }

  /// Reads bytes of the file; 0 at its end or when it fails.
  std::size_t read_some(char* target, std::size_t size) {
    for (;;) {
      const ssize_t count = ::read(file.get(), target, size);
      if (count < 0 && errno == EINTR) continue;
      if (count < 0) lose("the tape could not be read");
      return count < 0 ? 0 : static_cast<std::size_t>(count);
    }
  }

  void make_room() {
    if (begin > 0) {
      std::memmove(lines.data(), lines.data() + begin, end - begin);
      end -= begin;
      whole -= begin;
      begin = 0;
    }
    if (end == lines.size()) lines.resize(2 * lines.size());
  }

  /// Adds bytes after `end`, or sets `ended`.
  void fill() {
    make_room();
    if (lines.size() > 2 * kLine_bytes_max) {
      lose("a line is too long");
    } else if (decompressor) {
      unpack();
    } else {
      const std::size_t count = read_some(lines.data() + end, lines.size() - end);
      if (count == 0) ended = true;
      end += count;
    }
    // Of a torn last block the whole lines that could be read are given, too.
    if (!frame_open || ended) whole = end;
  }

  /// A block that is open here is torn; or its damage made it swallow those that follow.
  void end_of_file(std::size_t unpacked) {
    end += unpacked;
    if (frame_open) {
      if (const off_t next = find_block(frame_begin + 1); next >= 0) return pass_over_block(next);
      lose("the last block is torn");
    }
    finish();
  }

  void finish() {
    if (damaged > 1) loss += ", " + std::to_string(damaged) + " blocks in all";
    ended = true;
  }

  void unpack() {
    ZSTD_outBuffer target{lines.data() + end, lines.size() - end, 0};
    while ((target.pos == 0 || frame_open) && target.pos < target.size && !ended) {
      if (packed.pos == packed.size) {
        packed.size = read_some(input.data(), input.size());
        packed.pos = 0;
        if (packed.size == 0 && !ended) return end_of_file(target.pos);
        if (ended) break;
      }
      if (!frame_open) {
        frame_begin = consumed;
        whole = end + target.pos;
      }
      const std::size_t before = packed.pos;
      const std::size_t left = ZSTD_decompressStream(decompressor.get(), &target, &packed);
      consumed += static_cast<off_t>(packed.pos - before);
      if (ZSTD_isError(left) != 0) {
        end += target.pos;
        return pass_over_block(find_block(frame_begin + 1));
      }
      frame_open = left != 0;
    }
    end += target.pos;
  }
};

TapeReader::TapeReader(std::unique_ptr<Impl> impl) : impl_(std::move(impl)) {}
TapeReader::~TapeReader() = default;
TapeReader::TapeReader(TapeReader&&) noexcept = default;
TapeReader& TapeReader::operator=(TapeReader&&) noexcept = default;

Result<TapeReader> TapeReader::open(const std::filesystem::path& path) {
  auto impl = std::make_unique<Impl>();
  impl->path = path;
  impl->file.reset(::open(path.c_str(), O_RDONLY | O_CLOEXEC));
  if (!impl->file) return system_failure("cannot read the tape", path);
  if (std::filesystem::is_directory(path)) return Failure{"cannot read the tape " + path.string() + ": it is a folder"};
  impl->lines.resize(1U << 20U);
  if (path.extension() == ".zst") {
    impl->decompressor.reset(ZSTD_createDCtx());
    impl->input.resize(1U << 18U);
    impl->packed.src = impl->input.data();
  }
  return TapeReader(std::move(impl));
}

std::optional<std::string_view> TapeReader::next() {
  Impl& tape = *impl_;
  std::size_t searched = 0;
  for (;;) {
    const char* start = tape.lines.data() + tape.begin;
    const std::size_t size = tape.whole - tape.begin;
    const void* found = std::memchr(start + searched, '\n', size - searched);
    if (found == nullptr && !tape.ended) {
      searched = size;
      tape.fill();
      continue;
    }
    // A last line without a newline counts, unless what follows it was lost.
    if (found == nullptr && (size == 0 || !tape.loss.empty())) return std::nullopt;
    const std::size_t length = found != nullptr ? static_cast<std::size_t>(static_cast<const char*>(found) - start) : size;
    tape.begin += found != nullptr ? length + 1 : length;
    searched = 0;
    if (length == 0) continue;
    ++tape.line_count;
    return std::string_view(start, length);
  }
}

const std::string& TapeReader::loss() const { return impl_->loss; }

std::vector<std::filesystem::path> list_tapes(const std::filesystem::path& folder) {
  std::vector<std::filesystem::path> tapes;
  std::error_code code;
  for (std::filesystem::directory_iterator it(folder, code), last; !code && it != last; it.increment(code)) {
    if (it->path().string().ends_with(".senml.zst")) tapes.push_back(it->path());
  }
  std::sort(tapes.begin(), tapes.end(), [](const auto& a, const auto& b) {
    const std::string left = a.filename().string(), right = b.filename().string();
    const std::size_t hour = std::strlen("2026-03-02T02");
    const int by_hour = left.compare(0, hour, right, 0, hour);
    if (by_hour != 0) return by_hour < 0;
    // Within an hour the part without a number is the first; more digits are a later part.
    return left.size() != right.size() ? left.size() < right.size() : left < right;
  });
  return tapes;
}

}  // namespace underwing
