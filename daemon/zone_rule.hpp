#pragma once

#include <string_view>
#include <vector>

#include "rules/base/zone.hpp"

namespace underwing {

/// The periods of a POSIX TZ rule such as "GMT0BST,M3.5.0/1,M10.5.0" (IEEE 1003.1, section 8.3), as it stands at
/// the end of a zone's file for the years after its table (RFC 9636 section 3.3), which begin in the years
/// `first` to `last`. Empty where the rule has no summer time or is of another form than `Mm.w.d`.
[[nodiscard]] std::vector<Zone::Period> periods_of_rule(std::string_view rule, int first, int last);

}  // namespace underwing
