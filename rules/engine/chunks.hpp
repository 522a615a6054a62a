#pragma once

#include <algorithm>
#include <array>
#include <cstddef>
#include <memory>
#include <utility>
#include <vector>

namespace underwing {

/// A queue in blocks of memory that stay where they are: what a series keeps. It never copies what it holds, so that no
/// reading is dearer than another, and asks for memory in small steps; the block that empties in front serves again
/// behind.
template <typename Item, std::size_t kItems>
class Chunks {
 public:
  [[nodiscard]] bool empty() const { return size_ == 0; }
  [[nodiscard]] std::size_t size() const { return size_; }
  /// `index` from the front, below size().
  [[nodiscard]] const Item& operator[](std::size_t index) const {
    const std::size_t place = front_ + index;
    return (*chunks_[place / kItems])[place % kItems];
  }
  [[nodiscard]] const Item& front() const { return (*this)[0]; }

  void push_back(const Item& item) {
    if (next_ == end_) begin_chunk();
    *next_++ = item;
    ++size_;
  }
  void pop_front() {
    --size_;
    if (++front_ < kItems) return;
    front_ = 0;
    std::rotate(chunks_.begin(), chunks_.begin() + 1, chunks_.end());
  }

 private:
  using Chunk = std::array<Item, kItems>;

  void begin_chunk() {
    const std::size_t used = (front_ + size_) / kItems;
    if (used == chunks_.size()) chunks_.push_back(std::make_unique_for_overwrite<Chunk>());
    next_ = chunks_[used]->data();
    end_ = next_ + kItems;
  }

  Item* next_ = nullptr;  ///< where the next item goes, and the end of its block
  Item* end_ = nullptr;
  std::size_t size_ = 0;
  std::size_t front_ = 0;  ///< of the first item, within the first block
  std::vector<std::unique_ptr<Chunk>> chunks_;
};

}  // namespace underwing
