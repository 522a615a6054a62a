#pragma once

#include <deque>
#include <optional>
#include <string>

namespace underwing {

/// What the plugin must not forget when it is started again: texts that it has handed over, by the modem's
/// reference, so that a repeated delivery is answered and not sent twice, and reports find their text; and a
/// PIN that was refused, since three wrong ones lock the SIM. A small file, replaced whole.
class Memory {
 public:
  struct Text {
    std::string delivery, number;
    int reference = -1;
    double time = 0;      ///< seconds since 1970
    std::string outcome;  ///< sent, delivered, failed
    std::string words;
  };

  /// Empty: read, or there is none yet. Else why it cannot be used.
  [[nodiscard]] std::string open(std::string path);

  [[nodiscard]] const Text* find(const std::string& delivery) const;
  /// The newest text with this reference to this number that is younger than a day and has no end yet.
  [[nodiscard]] Text* about(int reference, const std::string& number, double now);
  void add(Text text);

  /// Whether this PIN was refused, or tried without a known end. Of the PIN only a hash is kept.
  [[nodiscard]] bool pin_spent(const std::string& pin) const;
  void spend_pin(const std::string& pin);
  void forget_pin();

  /// Written and synced. Empty: done; else why not.
  [[nodiscard]] std::string save() const;

 private:
  std::string path_;
  std::deque<Text> texts_;
  std::string pin_hash_;
};

}  // namespace underwing
