#pragma once

#include <algorithm>
#include <array>
#include <cstddef>
#include <memory>
#include <vector>

namespace underwing {

/// A queue in blocks of memory that stay where they are: what a series keeps. It never copies what it holds, so that no
/// reading is dearer than another, and asks for memory in small steps; the block that empties in front serves again
/// behind. Whoever fills it keeps the place in its last block, close to what else is touched then.
template <typename Item, std::size_t kItems>
class Chunks {
 public:
  /// `index` from the front.
  [[nodiscard]] const Item& operator[](std::size_t index) const {
    const std::size_t place = front_ + index;
    return (*chunks_[place / kItems])[place % kItems];
  }
  [[nodiscard]] const Item& front() const { return (*this)[0]; }
  /// How many items there are once the last block is full.
  [[nodiscard]] std::size_t places() const { return used_ * kItems - front_; }

  /// Begins a block behind, the last one being full: where its kItems items go, one after another.
  Item* begin_block() {
    if (used_ == chunks_.size()) chunks_.push_back(std::make_unique_for_overwrite<Chunk>());
    return chunks_[used_++]->data();
  }
  /// Not the last item.
  void pop_front() {
    if (++front_ < kItems) return;
    front_ = 0;
    --used_;
    std::rotate(chunks_.begin(), chunks_.begin() + 1, chunks_.end());
  }

 private:
  using Chunk = std::array<Item, kItems>;
  std::vector<std::unique_ptr<Chunk>> chunks_;
  std::size_t used_ = 0;
  std::size_t front_ = 0;  ///< place of the first item in the first block
};

}  // namespace underwing
