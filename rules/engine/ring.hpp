#pragma once

#include <cstddef>
#include <utility>
#include <vector>

namespace underwing {

/// A queue in one block of memory that grows by doubling: what a window keeps. Beside a deque it finds an item
/// without a division and asks for no memory while its length stays what it is.
template <typename Item>
class Ring {
 public:
  [[nodiscard]] bool empty() const { return size_ == 0; }
  [[nodiscard]] std::size_t size() const { return size_; }
  /// `index` from the front, below size().
  [[nodiscard]] const Item& operator[](std::size_t index) const { return items_[(front_ + index) & mask()]; }
  [[nodiscard]] Item& operator[](std::size_t index) { return items_[(front_ + index) & mask()]; }
  [[nodiscard]] const Item& front() const { return items_[front_]; }
  [[nodiscard]] const Item& back() const { return (*this)[size_ - 1]; }

  void push_back(Item item) {
    if (size_ == items_.size()) grow();
    items_[(front_ + size_) & mask()] = std::move(item);
    ++size_;
  }
  void pop_front() {
    front_ = (front_ + 1) & mask();
    --size_;
  }
  void pop_back() { --size_; }

 private:
  static constexpr std::size_t kFirst = 8;

  [[nodiscard]] std::size_t mask() const { return items_.size() - 1; }
  void grow() {
    std::vector<Item> larger(items_.empty() ? kFirst : 2 * items_.size());
    for (std::size_t i = 0; i < size_; ++i) larger[i] = std::move((*this)[i]);
    items_ = std::move(larger);
    front_ = 0;
  }

  std::vector<Item> items_;  ///< their number is a power of two, or none
  std::size_t front_ = 0;
  std::size_t size_ = 0;
};

}  // namespace underwing
