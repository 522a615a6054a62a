#pragma once

#include <chrono>
#include <cstddef>

/// Every limit of the core in one place, so that a farm's files can ask for a lot but never for everything.
namespace underwing::limits {

inline constexpr std::size_t kFileBytes = 1 << 20;      ///< of one YAML file
inline constexpr std::size_t kYamlDepth = 32;           ///< maps and lists inside one another
inline constexpr std::size_t kYamlNodes = 100'000;      ///< in one file
inline constexpr std::size_t kExpressionBytes = 2'000;  ///< text of one expression
inline constexpr std::size_t kExpressionDepth = 48;     ///< brackets and signs inside one another
inline constexpr std::size_t kExpressionNodes = 500;    ///< of one expression, values written out
inline constexpr std::size_t kCurvePoints = 1'000;      ///< of one curve
inline constexpr std::chrono::hours kWindow{7 * 24};    ///< longest `over`
inline constexpr std::chrono::hours kDelay{14 * 24};    ///< longest delay of a rule
inline constexpr std::chrono::hours kAge{200 * 24};     ///< oldest flock that a file may speak of
inline constexpr std::chrono::hours kCrossingCheck{
    60 * 24};  ///< ages for which limits are held against each other

static_assert(kWindow < kDelay && kDelay < kAge && kCrossingCheck < kAge);
static_assert(kExpressionNodes < kExpressionBytes);

}  // namespace underwing::limits
