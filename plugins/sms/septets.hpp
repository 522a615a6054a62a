#pragma once

#include <cstddef>
#include <string>

namespace underwing {

/// Septets of the GSM 7-bit alphabet (3GPP TS 23.038, 6.2.1): those of its extension table take two.
[[nodiscard]] std::size_t septets_of(const std::string& utf8);
/// As much of the text as fits into one part of 160 septets, whole characters only.
[[nodiscard]] std::string one_part(const std::string& utf8);

}  // namespace underwing
