#include <fcntl.h>
#include <fmt/format.h>
#include <unistd.h>
#include <zstd.h>

#include <array>
#include <cerrno>
#include <cstring>
#include <memory>
#include <vector>

#include "plugins/shared/clock.hpp"
#include "plugins/shared/line_reader.hpp"
#include "plugins/shared/plugin.hpp"
#include "plugins/shared/senml.hpp"

namespace underwing {
namespace {

constexpr std::string_view kHelp =
    R"(underwing-tape: plays a recorded tape (.senml, .senml.zst) as if its probes reported again.

It speaks Underwing's line protocol on standard input and output; plugins/README.md describes it and every
setting (file, speed, times). By hand:

  { echo '{"jsonrpc":"2.0","method":"settings","params":{"file":"night.senml.zst","speed":60}}'; cat; } |
  underwing-tape

Options: --help, --version.
)";

/// The lines of a tape, plain or under zstd, read a piece at a time.
class TapeFile {
 public:
  explicit TapeFile(const std::string& path)
      : fd_(open(path.c_str(), O_RDONLY | O_CLOEXEC)),
        input_(ZSTD_DStreamInSize()),
        output_(ZSTD_DStreamOutSize()) {
    if (path.ends_with(".zst")) stream_.reset(ZSTD_createDStream());
  }
  ~TapeFile() {
    if (fd_ >= 0) close(fd_);
  }
  TapeFile(const TapeFile&) = delete;
  TapeFile& operator=(const TapeFile&) = delete;

  [[nodiscard]] bool is_open() const { return fd_ >= 0; }
  [[nodiscard]] const std::string& problem() const { return problem_; }

  /// False at the end, or where `problem` says so. `line` holds until the next call.
  bool next(std::string_view& line) {
    while (!lines_.next(line)) {
      if (ended_) return false;
      read_piece();
    }
    return true;
  }

 private:
  void read_piece() {
    const ssize_t count = read(fd_, input_.data(), input_.size());
    if (count <= 0) {
      ended_ = true;
      if (count < 0) problem_ = std::strerror(errno);
      if (inside_frame_) problem_ = "the file is cut short";
      // A last line without its end counts, too.
      if (!lines_.rest().empty()) lines_.feed("\n");
      return;
    }
    const std::string_view bytes(input_.data(), static_cast<std::size_t>(count));
    if (!stream_) return lines_.feed(bytes);
    ZSTD_inBuffer in{bytes.data(), bytes.size(), 0};
    while (in.pos < in.size) {
      ZSTD_outBuffer out{output_.data(), output_.size(), 0};
      const std::size_t result = ZSTD_decompressStream(stream_.get(), &out, &in);
      lines_.feed({output_.data(), out.pos});
      if (ZSTD_isError(result) != 0) {
        problem_ = ZSTD_getErrorName(result);
        ended_ = true;
        return;
      }
      inside_frame_ = result != 0;
    }
  }

  struct Free {
    void operator()(ZSTD_DStream* stream) const { ZSTD_freeDStream(stream); }
  };

  int fd_;
  std::unique_ptr<ZSTD_DStream, Free> stream_;
  std::vector<char> input_, output_;
  LineReader lines_;
  bool ended_ = false;
  bool inside_frame_ = false;  ///< zstd waits for more
  std::string problem_;
};

class Tape final : public Plugin {
 public:
  Tape() : Plugin("tape", {"read"}) {}

 private:
  void on_settings(Settings& settings) override {
    const std::string path = settings.text("file");
    file_ = std::make_unique<TapeFile>(path);
    if (!file_->is_open()) {
      settings.refuse("file", fmt::format("'{}' cannot be opened: {}", path, std::strerror(errno)));
    }
    speed_ = settings.number("speed", 1, 0, 1e6);
    const std::string times = settings.text("times", "now");
    if (times != "now" && times != "kept") settings.refuse("times", "must be now or kept");
    shifted_ = times == "now" && speed_ > 0;
    if (times == "now" && speed_ == 0 && settings.has("times")) {
      settings.refuse("times", "cannot be now at speed 0, which has no pace");
    }
    begun_wall_s_ = wall_seconds();
    begun_ = Clock::now();
    health(true, fmt::format("plays {}", path));
  }

  std::optional<Clock::time_point> on_time(Clock::time_point now) override {
    if (finished_) return std::nullopt;
    for (std::size_t taken = 0; taken < kLinesAtOnce; ++taken) {
      if (records_.empty() && !read_line()) return std::nullopt;
      if (const auto due = due_at(); due > now) return due;
      play_line();
    }
    return now;  // The input is looked at in between.
  }

  /// The next line that holds readings. Lines of the watch itself (its clock, its marks) are not replayed.
  bool read_line() {
    std::string_view line;
    while (file_->next(line)) {
      std::string why;
      auto records = read_senml(line, why);
      if (!records) {
        ++passed_over_;
        continue;
      }
      std::erase_if(*records, [](const SenmlRecord& record) {
        return record.kind == SenmlRecord::Kind::other || record.name.starts_with("watch/") ||
               !record.time_is_absolute();
      });
      if (records->empty()) continue;
      records_ = std::move(*records);
      if (first_s_ == 0) first_s_ = records_.front().time;
      return true;
    }
    finished_ = true;
    const std::string& problem = file_->problem();
    health(problem.empty(), fmt::format("the tape has ended{}{}; {} lines were played, {} not understood",
                                        problem.empty() ? "" : " early: ", problem, played_, passed_over_));
    return false;
  }

  [[nodiscard]] Clock::time_point due_at() const {
    if (speed_ == 0) return begun_;
    const double into_s = (records_.front().time - first_s_) / speed_;
    return begun_ + std::chrono::milliseconds(static_cast<std::int64_t>(into_s * 1000));
  }

  void play_line() {
    for (SenmlRecord& record : records_) {
      if (shifted_) record.time = begun_wall_s_ + (record.time - first_s_) / speed_;
      append_senml(lines(), record);
    }
    records_.clear();
    ++played_;
  }

  static constexpr std::size_t kLinesAtOnce = 1000;

  std::unique_ptr<TapeFile> file_;
  double speed_ = 1;
  bool shifted_ = true;
  bool finished_ = false;
  double begun_wall_s_ = 0;
  Clock::time_point begun_{};
  double first_s_ = 0;
  std::vector<SenmlRecord> records_;
  std::size_t played_ = 0;
  std::size_t passed_over_ = 0;
};

}  // namespace
}  // namespace underwing

int main(int argc, char** argv) {
  if (const auto status = underwing::answer_options(argc, argv, "underwing-tape", underwing::kHelp)) {
    return *status;
  }
  underwing::Tape plugin;
  return plugin.run();
}
