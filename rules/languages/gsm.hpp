#pragma once

#include <string>
#include <string_view>
#include <vector>

namespace underwing {

/// Characters that one text message carries in the GSM 7-bit alphabet (3GPP TS 23.038, 23.040).
inline constexpr std::size_t kTextSeptetsMax = 160;
/// Characters that a locked telephone shows: house, what is wrong, value (common practice).
inline constexpr std::size_t kLockedScreen = 40;
/// Of those, what is wrong in a rule's own words: room is left for the house, AGAIN and the value.
inline constexpr std::size_t kHeadSeptetsMax = 20;

/// The text in the GSM 7-bit alphabet: the degree sign and typographic marks are replaced or dropped,
/// characters that the alphabet does not have become '?'.
[[nodiscard]] std::string to_gsm(std::string_view text);

/// Where the first character stands that the alphabet does not have as it is; npos: all of them are in it.
[[nodiscard]] std::size_t first_not_gsm(std::string_view text);

/// The character that begins at `at`, with all of its bytes.
[[nodiscard]] std::string_view character_at(std::string_view text, std::size_t at);

/// Length in septets; characters of the extension table count two.
[[nodiscard]] std::size_t gsm_length(std::string_view text);

/// The first of `variants` that fits one message; the last one is cut to fit.
[[nodiscard]] std::string fit(const std::vector<std::string>& variants);

/// As much of the text as `septets_max` have room for, as it stands, whole characters only.
[[nodiscard]] std::string_view within(std::string_view text, std::size_t septets_max);

/// The same, but whole words only; the first word is cut where even that has no room.
[[nodiscard]] std::string_view words_within(std::string_view text, std::size_t septets_max);

/// As within(), in the GSM 7-bit alphabet.
[[nodiscard]] std::string cut_to(std::string_view text, std::size_t septets_max);

}  // namespace underwing
